"""A run as a table: judged, advised on and kept like any other."""

from __future__ import annotations

import hashlib
from dataclasses import replace

from ....ledger.store.entries import now_utc
from ....ledger.store.identity import new_id
from ....quantities.errors import BadInput
from ....quantities.finding import blocking_of, finding_of
from ....sources.curve_table import ENDING, CurveTable, write_table
from ....sources.simulated import RIG
from ...model import ModelFile
from ...reading import ReadResult, SpinResult, conditions_of_table, fed_by_rig, measuring_for
from ...rig import known_rig
from ...shop import Workshop
from ..advising import advise_on
from ..evidence import weigh
from ..past import SensedCurve, history_of, table_frame, trusted_curves
from ..received import ReadAlready
from ..spinning import Written, keep_run
from ..story import CartridgeStory, cartridge_story
from .amplitudes import amplitude_advice
from .reading import findings_of, is_dense, read_table


def spin_table(
    shop: Workshop,
    serial: str,
    table: CurveTable,
    *,
    operator: str = "",
    rig: str = "",
    run_id: str = "",
) -> SpinResult:
    """Take a run of a piece as a table, judge it, advise, and keep it all, as `spin` does with a recording.

    Parameters
    ----------
    run_id : str
        Identifier the run gets, a UUIDv7.

    Raises
    ------
    BadInput
        This very table was read before; or a speed stands in it twice.
    NotThere
        No such piece.
    LedgerFault
        The disk refuses; nothing is kept.
    """
    story = cartridge_story(shop, serial)
    rig, operator = rig or table.rig, operator or table.operator
    if rig == RIG:
        raise BadInput(
            "A simulated rig gives recordings.", remedy="Name the rig that made the table."
        )
    _refuse_again(story, table)
    measuring = measuring_for(shop.book, story.model, rig)
    model = fed_by_rig(story.model, measuring)
    record = known_rig(shop, rig)
    angles = record.angles
    read = read_table(table, angles, measuring)
    zero_known = angles is not None and angles.zero_deg is not None
    evidence = weigh(
        shop,
        story,
        model,
        read,
        findings_of(read, model),
        measuring,
        rig=rig,
        serviced_at=record.serviced_at,
        operator=operator,
        frame=table_frame(rig, angles),
        teaches=zero_known and is_dense(read, model),
    )
    if evidence.history is None and _speeds_differ(shop, story, read, model):
        differ = finding_of(
            "table.speeds_differ",
            "warn",
            "The table shares too few speeds with the piece's tables before: the runs cannot be compared.",
        )
        evidence = replace(evidence, findings=(*evidence.findings, differ))
    advised = advise_on(evidence, story.number + 1, story.made)
    if table.angle_deg is None and evidence.judgement and not blocking_of(evidence.findings):
        told = amplitude_advice(shop, story, read, model, evidence.judgement, seed=story.number + 1)
        advised = replace(advised, advice=told) if told is not None else advised
    at, run_id = now_utc(), run_id or new_id()
    path = shop.book.archive.place(run_id, at, ENDING)
    write_table(table, path)
    conditions = conditions_of_table(shop.book, table, model, rig, measuring)
    notes = (table.note,) if table.note else ()
    written = Written(path, None, table.recorded_at, conditions, notes)
    return keep_run(
        shop, story, written, evidence, advised, at=at, operator=operator, rig=rig, run_id=run_id
    )


def _speeds_differ(
    shop: Workshop, story: CartridgeStory, read: ReadResult, model: ModelFile
) -> bool:
    """Whether the table alone could be advised on, and only the piece's earlier runs stand against it."""
    main = read.curve
    if main is None or not main.has_angle or not trusted_curves(shop, story):
        return False
    now = SensedCurve(story.number + 1, main, read.channels)
    return history_of([now], (), model) is not None


def _refuse_again(story: CartridgeStory, table: CurveTable) -> None:
    """Refuse a table that was read before; one value alone may come out alike twice."""
    if len(table.speed_rpm) == 1:
        return
    digest = hashlib.sha256(table.as_text().encode()).hexdigest()
    for run in story.runs:
        if run.entry.recording_sha256 == digest:
            raise ReadAlready.as_run(story.piece.serial, run.number, "table")
