"""Reading a recording of a piece, judging it, advising, and keeping it all."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from ...ledger.records import Cut, Run
from ...ledger.store.archive import digest_of
from ...ledger.store.entries import now_utc
from ...ledger.store.identity import new_id
from ...quantities.errors import BadInput
from ...quantities.said import Said
from ...sources.readers import open_recording
from ...sources.recording import Recording
from ...sources.sidecar import Stated, sidecar_path
from ...sources.simulated import RIG
from ...sources.writers import write_flac
from ..reading import (
    SpinResult,
    advice_json,
    fed_by_rig,
    finding_json,
    frozen_conditions,
    heard_json,
    judgement_json,
    measuring_for,
)
from ..rig import known_rig
from ..shop import Workshop
from .advising import Advised, advise_on
from .evidence import Evidence, gather
from .learning import learnt_from
from .past import pack_curves
from .story import CartridgeStory, cartridge_story


def spin(
    shop: Workshop,
    serial: str,
    recording: str | Path | Recording,
    *,
    operator: str = "",
    rig: str = "",
    format: str | None = None,
    stated: Stated | None = None,
    run_id: str = "",
) -> SpinResult:
    """Read a recording of a piece, judge it, advise, and keep it all.

    Parameters
    ----------
    stated : Stated, optional
        What the file leaves open: its rate, the unit of its time, the group to take.
    run_id : str
        Identifier the run gets, a UUIDv7; a spin's own, so that it is kept once however often it is tried.

    Raises
    ------
    UnreadableFile, SignalTooPoor
        The recording cannot be read; nothing is kept.
    NotThere
        No such piece.
    BadInput
        A simulated recording is said to be of a rig.
    LedgerFault
        The disk refuses; nothing is kept.
    """
    story = cartridge_story(shop, serial)
    source = (
        recording
        if isinstance(recording, Recording)
        else open_recording(recording, format=format, stated=stated)
    )
    rig, operator = _rig_of(source, rig), operator or source.operator
    measuring = measuring_for(shop.book, story.model, rig)
    model = fed_by_rig(story.model, measuring)
    evidence = gather(
        shop,
        story,
        model,
        source,
        measuring,
        rig=rig,
        serviced_at=known_rig(shop, rig).serviced_at,
        operator=operator,
    )
    advised = advise_on(evidence, story.number + 1, story.made)
    return _keep(shop, story, source, evidence, advised, operator=operator, rig=rig, run_id=run_id)


def _rig_of(source: Recording, rig: str) -> str:
    """Return the rig; what was simulated never passes for a measurement of another."""
    if source.simulated and rig not in ("", RIG):
        raise BadInput(
            Said("refusal.this_recording_is_simulated_it", {"rig": rig}),
            remedy=Said("remedy.leave_the_rig_out_or"),
        )
    return rig or source.rig


@dataclass(frozen=True)
class Written:
    """What a run rests on, once it lies in the archive.

    Attributes
    ----------
    path : Path
    beside_sha256 : str or None
        Digest of what says its channels; None where the file says them itself.
    conditions : dict
        As `frozen_conditions` has them.
    """

    path: Path
    beside_sha256: str | None
    recorded_at: str
    conditions: dict[str, Any]
    notes: tuple[str, ...] = ()


def _keep(
    shop: Workshop,
    story: CartridgeStory,
    source: Recording,
    evidence: Evidence,
    advised: Advised,
    *,
    operator: str,
    rig: str,
    run_id: str,
) -> SpinResult:
    """Write the recording to the archive and the run with what it teaches to the ledger."""
    at, run_id = now_utc(), run_id or new_id()
    path = shop.book.archive.place(run_id, at)
    notes = (*source.notes, *write_flac(source, path))
    written = Written(
        path,
        digest_of(sidecar_path(path)),
        source.recorded_at,
        frozen_conditions(shop.book, source, evidence.model, rig, evidence.measuring),
        notes,
    )
    return keep_run(
        shop, story, written, evidence, advised, at=at, operator=operator, rig=rig, run_id=run_id
    )


def keep_run(
    shop: Workshop,
    story: CartridgeStory,
    written: Written,
    evidence: Evidence,
    advised: Advised,
    *,
    at: str,
    operator: str,
    rig: str,
    run_id: str,
) -> SpinResult:
    """Write a run whose evidence lies in the archive to the ledger, with what it teaches."""
    number, path, notes = story.number + 1, written.path, list(written.notes)
    judgement, advice = evidence.judgement, advised.advice
    rotation = evidence.model.rotation
    run = Run(
        id=run_id,
        at=at,
        by=operator,
        piece_id=story.piece.id,
        number=number,
        recorded_at=written.recorded_at,
        rig=rig,
        recording=shop.book.archive.name_of(path),
        recording_sha256=digest_of(path),
        beside_sha256=written.beside_sha256,
        conditions=written.conditions,
        verdict=judgement.verdict if judgement else "undecided",
        worst_ratio=judgement.worst.ratio if judgement else None,
        result={
            **judgement_json(judgement, evidence.findings),
            "heard": heard_json(evidence.read.heard),
            "findings": [finding_json(f) for f in advised.findings],
            "notes": notes,
            "pickup": evidence.read.pickup,
            "sensor_lag_deg": evidence.read.sensor_lag_deg,
            "lags_deg": evidence.read.lags_deg,
            "advice": advice_json(advice, rotation),
        },
    )
    asked = [
        Cut(piece_id=story.piece.id, after_run=number, kind="asked", **asdict(c))
        for c in advice.cuts
    ]
    learnt = learnt_from(evidence, advised, story, run)
    shop.book.cartridges.add_run(run, pack_curves(evidence.read.curves), asked, learnt)
    return SpinResult(
        run=run_id,
        number=number,
        serial=story.piece.serial,
        curves=evidence.read.curves,
        sensors=evidence.read.channels,
        findings=advised.findings,
        judgement=judgement,
        advice=advice,
        rotation=rotation,
        notes=tuple(notes),
    )
