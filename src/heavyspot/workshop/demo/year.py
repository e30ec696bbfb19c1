"""A demo shop that has lived a year: written through the verbs everybody uses, day by day, from a seed.

Older pieces come from the paper book, the newer ones were spun and ground with the simulated rigs. Nothing
of it is real: names, numbers, curves.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import numpy as np

from ...quantities import clock, durable
from ...quantities.errors import need
from ...sim.spin import SpinSettings
from ...sources.loose_table import open_table
from ...sources.simulated import MACHINE, RIG, simulated_recording
from ..cartridge.answering import looked, newest_cuts
from ..cartridge.grinding import ground_as_advised
from ..cartridge.spinning import spin
from ..cartridge.story import cartridge_story
from ..flow.bench import set_bench
from ..flow.testing import keep_flow_test
from ..job.build_record import tell
from ..job.documents import Part, write_parts
from ..job.editing import Member, add_job
from ..job.pieces import add_piece
from ..model import add_model, find_model
from ..old_book.bring import bring_in
from ..rig import add_rig
from ..rig.record import find_rig
from ..rotor.measuring import corrected_as_advised, measure_typed
from ..rotor.models import add_rotor, rotor_model
from ..sheets.issue import issue_sheet
from ..shop import Workshop
from .rigs import DEMO_ROTORS, cartridge_of, furnish, peak_of

OTHER_RIG, MASTER = "High 2", "MASTER-1"

PEOPLE = ("Ines", "Tom", "Per")

CUSTOMERS = (
    "Fjord Haulage", "Orchard Farms", "Tidal Marine", "Quarry and Kiln", "Gull Rock Ferries",
    "Lowland Growers", "Old Mill Dairy", "Brackwater Fishing", "Hill Farm Contractors", "Salt Road Buses",
)  # fmt: skip

PARTS = (
    ("turbine shaft", ("Fen Castings", "Three Oaks Forge")),
    ("compressor wheel", ("Low Marsh Milling", "Three Oaks Forge")),
)

MODELS, SHARES = ("Larch 52", "Alder 64", "Larch 38", "Oak 90"), (0.5, 0.25, 0.15, 0.1)

SHORT = SpinSettings(run_up_s=3.0, hold_s=0.3, coast_s=1.0)
"""Shorter than a real spin, so that a year is written in the time of a cup of coffee."""

MOST_RUNS = 8

Progress = Callable[[int, int], None]


@dataclass
class _Year:
    shop: Workshop
    end: datetime
    rng: np.random.Generator
    latest: datetime

    @contextmanager
    def time(self, at: datetime) -> Iterator[None]:
        """Let it be that time, or just after the last one: two jobs of a day never turn the clock back."""
        self.latest = max(at, self.latest + timedelta(seconds=20))
        with clock.made_up(self.latest):
            yield

    def at(self, days_ago: float, hour: float = 9.0) -> datetime:
        """A time of a working day so long ago."""
        day = (self.end - timedelta(days=days_ago)).replace(hour=0, minute=0, second=0)
        return _working(day) + timedelta(hours=hour)

    def one(self, of: tuple[str, ...]) -> str:
        return of[int(self.rng.integers(len(of)))]


def _working(day: datetime) -> datetime:
    """A day, or the Friday before it."""
    return day - timedelta(days=max(0, day.weekday() - 4))


def live_a_year(
    shop: Workshop,
    *,
    today: datetime | None = None,
    pieces: int = 34,
    old: int = 260,
    seed: int = 7,
    progress: Progress = lambda done, of: None,
) -> None:
    """Write a year of a shop's life into a furnished practice ledger.

    Parameters
    ----------
    today : datetime, optional
        When the year ends, UTC; now when not given.
    pieces, old : int
        How many were spun, and how many stand in the paper book.
    progress : callable
        Told steps done and steps in all.
    """
    end = today or datetime.now(UTC)
    year = _Year(shop, end, np.random.default_rng(seed), end - timedelta(days=400))
    steps = [*_furnishing(year, old), *_pieces(year, pieces), *_masters(year), *_beside(year)]
    steps.sort(key=lambda s: s[0])
    for n, (at, do) in enumerate(steps, start=1):
        with year.time(at):
            do()
        progress(n, len(steps))


Step = tuple[datetime, Callable[[], object]]


def _furnishing(y: _Year, old: int) -> Iterator[Step]:
    shop, due = y.shop, (y.end + timedelta(days=6)).date().isoformat()

    def begin() -> None:
        add_rig(shop, OTHER_RIG, {
            "building": "east", "calibrated_at": (y.end - timedelta(days=359)).date().isoformat(),
            "due": due, "certificate": "SIM-0003", "master": MASTER,
        })  # fmt: skip
        first = find_rig(shop, RIG).model_dump(mode="json", exclude_defaults=True)
        add_rig(shop, RIG, first | {"building": "north", "master": MASTER})
        add_piece(shop, MASTER, "Larch 52", by="Ines")

    yield y.at(170, 7.0), begin
    yield y.at(169, 8.0), lambda: _old_book(y, old)


OLD_BOOK = (
    "Date", "Serial no", "Customer", "Invoice", "Turbo", "Max rpm", "Before", "After", "Result", "Tech",
)  # fmt: skip


def _old_book(y: _Year, rows: int) -> None:
    """A table as an office keeps one, brought in as any other."""
    path = y.shop.folder / "old-book.csv"
    rejects = path.with_suffix(".rejects.csv")
    with path.open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        out.writerow(OLD_BOOK)
        out.writerows(_old_row(y, i, rows) for i in range(rows))
    bring_in(y.shop, open_table(path), rejects=rejects, by="Ines")
    durable.remove(rejects)
    durable.remove(path)


def _old_row(y: _Year, i: int, rows: int) -> tuple[str, ...]:
    day = y.at(170 + 195 * (1 - i / rows))
    model = str(y.rng.choice(MODELS, p=SHARES))
    speed = find_model(y.shop, model).test_speed_rpm
    first = float(1.7 * np.exp(0.45 * y.rng.standard_normal()))
    last = float(np.clip(0.33 * np.exp(0.3 * y.rng.standard_normal()), 0.1, 0.62))
    return (
        f"{day:%d/%m/%Y}", f"{model[0]}{model[-2:]}-{8000 + i}", y.one(CUSTOMERS), f"{day:%y%m}-{i % 90:03d}",
        model, f"{speed:.0f}", f"{first:.2f} g", f"{last:.2f} g", "OK" if last <= 0.5 else "n.i.O.", y.one(PEOPLE),
    )  # fmt: skip


def _pieces(y: _Year, count: int) -> Iterator[Step]:
    """Jobs of one to four pieces, each balanced to its end on one of the rigs; the last ones wait."""
    made = job = 0
    while made < count:
        many = int(y.rng.choice([1, 1, 2, 2, 3, 4]))
        ago = 165 * (1 - made / count) ** 1.3
        yield from _job(y, job, made, many, ago)
        made, job = made + many, job + 1
    for i, (ahead, many) in enumerate(((0, 3), (0, 4), (1, 2), (2, 6), (5, 3))):
        yield from _job(y, job + i, made, many, 0.0, due=ahead, open_ones=many - (2, 2, 0, 0, 0)[i])
        made += many


def _job(
    y: _Year,
    number: int,
    first: int,
    many: int,
    ago: float,
    *,
    due: int | None = None,
    open_ones: int = 0,
) -> Iterator[Step]:
    model, customer = str(y.rng.choice(MODELS, p=SHARES)), CUSTOMERS[number % len(CUSTOMERS)]
    places = ("front", "rear") if many == 2 else ("",) * many
    serials = [f"{model[0]}{model[-2:]}-{9200 + first + i}" for i in range(many)]
    members = [Member(s, model, p) for s, p in zip(serials, places, strict=True)]
    start = (
        y.at(ago, 7.5 + number % 4)
        if due is None
        else y.end - timedelta(hours=5 - 2 * (number % 2))
    )
    taken = _working(start - timedelta(days=1))
    wanted = y.end + timedelta(days=due) if due is not None else taken + timedelta(days=6)
    invoice, by = f"{taken:%y%m}-{number:03d}", PEOPLE[number % 3]

    def take_in() -> None:
        add_job(y.shop, members, customer=customer, invoice=invoice, due=f"{wanted:%Y-%m-%d}", by=by)  # fmt: skip
        for s in serials:
            parts = [
                Part(p, who[sum(map(ord, s)) % 2], f"{taken:%y-%m}{'AB'[len(p) % 2]}")
                for p, who in PARTS
            ]
            write_parts(y.shop, s, parts, by=by)

    yield taken, take_in
    done = many - open_ones
    rig = OTHER_RIG if number % 4 == 3 else RIG
    for i, s in enumerate(serials[:done]):
        yield start + timedelta(minutes=55 * i), partial(_balance, y, s, by, rig)
    if due == 0 and open_ones == 1:  # one is on the rig, and asks to be ground
        yield y.end - timedelta(minutes=8), lambda: _spin(y, serials[-1], by, rig)
    if ago > 60 and number % 4 == 1:
        word = "whistle under load" if number % 8 == 1 else "oil at the turbine side"
        yield y.at(ago - 58, 14.0), lambda: tell(y.shop, serials[0], "claim", word, by=by)
        yield y.at(ago - 59, 10.0), lambda: tell(y.shop, serials[0], "returned", "came back", by=by)


def _spin(y: _Year, serial: str, by: str, rig: str) -> str:
    unit = cartridge_of(y.shop, serial, peak_g=peak_of(serial))
    made = simulated_recording(unit, int(y.rng.integers(1 << 30)), SHORT)
    return spin(y.shop, serial, made, operator=by, rig=rig).advice.action


def _balance(y: _Year, serial: str, by: str, rig: str) -> None:
    """Spin and grind as advised until the advice is to stop; then its sheet, where it is one of the last."""
    at = clock.now()
    for n in range(MOST_RUNS):
        with y.time(at + timedelta(minutes=7 * n)):
            action = _spin(y, serial, by, rig)
        if action == "fix" and newest_cuts(cartridge_story(y.shop, serial)):
            with y.time(
                at + timedelta(minutes=7 * n + 2)
            ):  # the last cut is where it is written down
                seen = looked(y.shop, serial, by=by).last
            action = seen.result.advice.action if seen else action
        if action not in ("cut", "spin_again", "fix"):
            break
        if action == "cut":
            with y.time(at + timedelta(minutes=7 * n + 4)):
                ground_as_advised(y.shop, serial, by=by)
    if y.end - at < timedelta(days=9):
        with y.time(at + timedelta(minutes=7 * MOST_RUNS)):
            path = y.shop.folder / "sheet.pdf"
            issue_sheet(y.shop, serial, path, by=by)
            durable.remove(path)


def _masters(y: _Year) -> Iterator[Step]:
    """The master on each rig, the first one this morning too; the second one has begun to read high."""
    for week in range(0, 24, 2):
        ago = 7.0 * (24 - week) - 1
        if week % 4 == 0:
            yield y.at(ago, 7.0), lambda: _master(y, RIG, 0.0)
        drift = 0.07 if week >= 18 else 0.0
        yield y.at(ago, 7.2), partial(_master, y, OTHER_RIG, drift)
    yield min(y.at(0, 6.5), y.end - timedelta(hours=6)), lambda: _master(y, RIG, 0.0)


def _master(y: _Year, rig: str, drift: float) -> None:
    unit = cartridge_of(y.shop, MASTER, peak_g=0.4 * (1 + drift))
    made = simulated_recording(unit, int(y.rng.integers(1 << 30)), SHORT)
    spin(y.shop, MASTER, made, operator="Ines", rig=rig)


def _beside(y: _Year) -> Iterator[Step]:
    """Loose rotors on the low-speed machine, and flow tests with the maker's housings."""
    for i in range(10):
        kind = DEMO_ROTORS[i % 5 == 4]["name"]
        yield y.at(150 - 15 * i, 11.0), partial(_rotor, y, f"W-{1180 + i}", kind)

    def bench() -> None:
        set_bench(y.shop, "Flow 1", {"element": "meter", "certificate": "SIM-0004"}, by="Per")
        own = find_model(y.shop, "Larch 52").model_dump(mode="json", exclude_unset=True)
        add_model(y.shop, own | {"name": "Larch 52 V", "flow": FLOW, "stop": STOP}, by="Per")

    yield y.at(140, 9.0), bench
    for i in range(8):
        yield y.at(130 - 16 * i, 13.0), partial(_flow_test, y, f"V52-{410 + i}")


FLOW = [
    {"name": "closed", "position": 0.0, "low_kg_s": 0.038, "high_kg_s": 0.042},
    {"name": "open", "position": 10.0, "low_kg_s": 0.10, "high_kg_s": 0.12},
]
STOP = {"wanted_kg_s": 0.05, "per_turn": 1.5}


def _rotor(y: _Year, serial: str, kind: str) -> None:
    add_rotor(y.shop, serial, kind, customer=y.one(CUSTOMERS), by="Per")
    rotor = rotor_model(y.shop, kind)
    limits = np.array(rotor.limits())
    for share in (4.0, 0.35):
        amounts = limits * share * np.exp(0.3 * y.rng.standard_normal(2))
        angles = y.rng.uniform(0, 360, 2)
        kept = measure_typed(y.shop, serial, list(amounts), list(angles), rig=MACHINE, by="Per")
        if kept.entry.verdict == "pass":
            break
        corrected_as_advised(y.shop, serial, by="Per")


def _flow_test(y: _Year, serial: str) -> None:
    add_piece(y.shop, serial, "Larch 52 V", customer=y.one(CUSTOMERS), by="Per")
    scale = 1 + 0.03 * y.rng.standard_normal()
    readings = [
        {"position": p, "flow_kg_s": scale * (0.04 + 0.007 * p), "upstream_kpa": 100.0, "temperature_c": 21.0}
        for p in np.linspace(0.0, 10.0, 6)
    ]  # fmt: skip
    keep_flow_test(
        y.shop, serial, "Flow 1", readings, housings="the maker's", stop_at=1.0, by="Per"
    )


def furnish_a_year(folder: Path, *, progress: Progress = lambda done, of: None) -> None:
    """Make a demo shop that has lived a year where there is no ledger yet; all of it or nothing.

    It is written beside and put in its place when it is whole; what an interrupted try left is removed.
    """
    if folder.exists() and any(folder.iterdir()):
        return
    need("typst", "full", "The sheets of the demo shop")
    beside = folder.with_name(folder.name + ".being-made")
    durable.remove_folder(beside)
    with Workshop(beside) as shop:
        with clock.made_up(datetime.now(UTC) - timedelta(days=366)):
            furnish(shop)
        live_a_year(shop, progress=progress)
    durable.rename_folder(beside, folder)
