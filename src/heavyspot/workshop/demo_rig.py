"""The demo shop's rig: a simulated cartridge for every serial, which feels the cuts in the ledger."""

from __future__ import annotations

import zlib

import numpy as np

from ..sim.cartridge import SIZES, Cartridge, make_cartridge
from ..sources.live import SimulatedLive, StandingLive
from ..sources.simulated import RIG
from .shop import Workshop


def furnish(shop: Workshop) -> None:
    """Give an empty ledger the demo shop's models and rig; leaves a furnished one alone."""
    if shop.book.model_names():
        return
    (shop.book.folder / "shop.toml").write_text(
        'name = "Saltmarsh Turbo Works"\naddress = "Quay Lane 4, Saltmarsh"\n', encoding="utf-8"
    )
    shop.add_rig(
        RIG, {"calibrated_at": "2026-05-04", "certificate": "SIM-0001", "due": "2027-05-04"}
    )
    for size in SIZES.values():
        k = size.wheel_mm / 52.0
        shop.add_model(
            {
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
                    },
                ],
                "limit": [{"limit_g": 0.5}, {"name": "very good", "limit_g": 0.25}],
            },
            by="Ines",
        )  # fmt: skip


def cartridge_of(shop: Workshop, serial: str, *, peak_g: float | None = None) -> Cartridge:
    """Return the simulated cartridge behind a serial, with the cuts the ledger knows of.

    Each cut is made as a hand makes it: 8 % of the amount and 3 degrees off, the same at every call.
    """
    piece = shop.piece(serial)
    size = SIZES.get(piece["model"], SIZES["Larch 52"])
    unit = make_cartridge(size, zlib.crc32(serial.encode()) % 10_000, peak_g=peak_g)
    for cut in shop.book.cuts(piece["id"], "made"):
        rng = np.random.default_rng(zlib.crc32(cut["id"].encode()))
        plane = cut["plane"] if cut["plane"] in ("nut", "turbine hub") else "nut"
        unit = unit.ground(
            plane,
            cut["angle_deg"] + 3.0 * rng.standard_normal(),
            cut["unbalance_gmm"] * (1 + 0.08 * rng.standard_normal()),
        )
    return unit


def demo_source(shop: Workshop, serial: str, *, pace: float = 1.0) -> SimulatedLive:
    """Return the live source of a piece's next spin on the simulated rig."""
    runs = len(shop.story(serial)["runs"])
    seed = zlib.crc32(f"{serial}/{runs}".encode())
    return SimulatedLive(cartridge_of(shop, serial, peak_g=1.6), seed, pace=pace)


def demo_listener(shop: Workshop, serial: str, *, pace: float = 1.0) -> StandingLive:
    """Return the simulated rig with a piece on it, standing."""
    return StandingLive(cartridge_of(shop, serial), zlib.crc32(serial.encode()), pace=pace)
