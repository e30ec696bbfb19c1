"""The demo shop's rigs: a simulated piece for every serial, which feels the cuts in the ledger."""

from __future__ import annotations

import zlib
from typing import Any

import numpy as np

from ...quantities.durable import write_text
from ...sim.cartridge import SIZES, Cartridge, Size, make_cartridge
from ...sim.supports import LooseRotor, MachineSettings
from ...sources.live import LiveSource, ReplayLive, SimulatedLive, StandingLive
from ...sources.simulated import simulated_rotor_recording
from ..model import add_model
from ..rig.simulated import add_simulated_rigs, is_practice
from ..rotor import add_rotor_model, rotor_story
from ..shop import Workshop, find_piece

DEMO_ROTORS: tuple[dict[str, Any], ...] = (
    {
        "kind": "rotor", "name": "Larch 52 shaft and wheel", "rotation": "clockwise",
        "mass_kg": 0.35, "service_speed_rpm": 150_000, "measuring_speed_rpm": 2_400,
        "support_b_mm": 60.0, "mass_centre_mm": 12.0, "rule": "grade", "grade": 6.3,
        "plane": [
            {"name": "hub", "at_mm": -14.0, "radius_mm": 10.0, "cutter": "scallop",
             "tool_mm": 8.0, "width_mm": 3.0, "material": "inconel 713c", "max_depth_mm": 1.5},
            {"name": "shoulder", "at_mm": 30.0, "radius_mm": 8.0, "cutter": "flat",
             "width_mm": 4.0, "max_depth_mm": 0.5},
        ],
    },
    {
        "kind": "rotor", "name": "Blower 900", "rotation": "clockwise", "mass_kg": 240.0,
        "service_speed_rpm": 1_480, "measuring_speed_rpm": 400, "support_b_mm": 900.0,
        "mass_centre_mm": 430.0, "rule": "grade", "grade": 6.3,
        "plane": [
            {"name": "left", "at_mm": 150.0, "radius_mm": 400.0, "way": "add", "places": 8,
             "masses_g": [5.0, 10.0, 20.0, 50.0], "most_at_place": 6},
            {"name": "right", "at_mm": 740.0, "radius_mm": 400.0, "way": "add", "places": 12},
        ],
    },
)  # fmt: skip


def furnish(shop: Workshop) -> None:
    """Give an empty ledger the demo shop's models and rigs; leaves a furnished one alone.

    Raises
    ------
    BadInput
        The ledger is a shop's own.
    """
    if is_practice(shop):
        return
    add_simulated_rigs(shop)
    settings = shop.book.folder / "shop.toml"
    if not settings.exists():
        words = 'name = "Saltmarsh Turbo Works"\naddress = "Quay Lane 4, Saltmarsh"\n'
        write_text(settings, words)
    for rotor in DEMO_ROTORS:
        add_rotor_model(shop, rotor, by="Ines")
    for size in SIZES.values():
        add_model(shop, demo_model(size), by="Ines")


def demo_model(size: Size) -> dict[str, Any]:
    """Return the model of a simulated size, as the demo shop describes it."""
    k = size.wheel_mm / 52.0
    return {
        "name": size.name,
        "rotation": "clockwise",
        "rated_speed_rpm": size.rated_speed_rpm,
        "test_speed_rpm": size.test_speed_rpm,
        "compressor_wheel_mm": size.wheel_mm,
        "plane": [
            {
                "name": "nut", "radius_mm": round(6 * k, 2), "cutter": "flat",
                "width_mm": round(6 * k, 2), "max_depth_mm": round(0.9 * k, 2),
                "budget_mg": round(900 * k**3),
            },
            {
                "name": "turbine hub", "radius_mm": round(9 * k, 2), "cutter": "flat",
                "width_mm": round(5 * k, 2), "material": "inconel 713c",
                "max_depth_mm": round(0.8 * k, 2), "budget_mg": round(1200 * k**3),
                "seen_from": "turbine",
            },
        ],
        "limit": [{"limit_g": 0.5}, {"name": "very good", "limit_g": 0.25}],
    }  # fmt: skip


def cartridge_of(shop: Workshop, serial: str, *, peak_g: float | None = None) -> Cartridge:
    """Return the simulated cartridge behind a serial, with the cuts the ledger knows of.

    Each cut is made as a hand makes it: 8 % of the amount and 3 degrees off, the same at every call.
    """
    piece = find_piece(shop, serial)
    size = SIZES.get(piece.model, SIZES["Larch 52"])
    unit = make_cartridge(size, zlib.crc32(serial.encode()) % 10_000, peak_g=peak_g)
    for cut in shop.book.cartridges.cuts(piece.id, "made"):
        rng = np.random.default_rng(zlib.crc32(cut.id.encode()))
        plane = cut.plane if cut.plane in ("nut", "turbine hub") else "nut"
        unit = unit.ground(
            plane,
            cut.angle_deg + 3.0 * rng.standard_normal(),
            cut.unbalance_gmm * (1 + 0.08 * rng.standard_normal()),
        )
    return unit


def peak_of(serial: str) -> float:
    """Return how much a simulated piece vibrates before anything is cut, g: most between 1 and 3."""
    rng = np.random.default_rng(zlib.crc32(f"{serial} as it came".encode()))
    return float(np.clip(1.6 * np.exp(0.4 * rng.standard_normal()), 0.8, 4.0))


def demo_source(shop: Workshop, serial: str, *, pace: float = 1.0) -> LiveSource:
    """Return the live source of a piece's next spin on the simulated rig, or low-speed machine."""
    piece = find_piece(shop, serial)
    if piece.kind == "rotor":
        return _demo_machine(shop, serial, pace)
    runs = shop.book.cartridges.run_count(piece.id)
    seed = zlib.crc32(f"{serial}/{runs}".encode())
    return SimulatedLive(cartridge_of(shop, serial, peak_g=peak_of(serial)), seed, pace=pace)


def _demo_machine(shop: Workshop, serial: str, pace: float) -> LiveSource:
    """A rotor with unbalance of its own in both planes, eight times the limit, less what was done to it."""
    story = rotor_story(shop, serial)
    rotor = story.rotor
    seed = zlib.crc32(serial.encode())
    rng = np.random.default_rng(seed)
    supports = (rotor.support_a_mm, rotor.support_b_mm)
    whole = sum(rotor.limits())
    places = {p.name: p.at_mm for p in rotor.plane}
    there = [
        (at, whole * rng.uniform(2, 5) * np.exp(2j * np.pi * rng.random()))
        for at in places.values()
    ]
    for c in (c.made for c in story.corrections):
        off = np.random.default_rng(zlib.crc32(f"{c.angle_deg}".encode()))
        amount = c.amount_gmm * (1 + 0.03 * off.standard_normal())
        turned = np.deg2rad(c.angle_deg + off.standard_normal())
        sign = -1.0 if c.way == "remove" else 1.0
        there.append((places[c.plane], sign * amount * np.exp(1j * turned)))
    loose = LooseRotor(rotor.mass_kg, supports, tuple((x, complex(u)) for x, u in there))
    speed = rotor.measuring_speed_rpm or 900.0
    settings = MachineSettings(
        speed_rpm=speed,
        noise_n=0.02 * float(np.abs(loose.forces_n(speed)).max()),
        seconds=max(6.0, 60 * 80 / speed),
    )
    run = len(story.readings)
    return ReplayLive(simulated_rotor_recording(loose, seed + run, settings), pace=pace)


def demo_listener(shop: Workshop, serial: str, *, pace: float = 1.0) -> StandingLive:
    """Return the simulated rig with a piece on it, standing."""
    return StandingLive(cartridge_of(shop, serial), zlib.crc32(serial.encode()), pace=pace)
