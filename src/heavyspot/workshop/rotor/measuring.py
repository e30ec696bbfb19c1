"""The verbs of the low-speed machines: measure, judge, correct, calibrate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from pathlib import Path

from ..._version import __version__
from ...balance.rotor.rigid import parts_of
from ...balance.rotor.tolerance import RotorVerdict
from ...ledger.records import Piece, RotorCorrection, RotorRun
from ...ledger.store.archive import digest_of
from ...ledger.store.entries import now_utc
from ...ledger.store.identity import new_id
from ...quantities.angles import wrap_deg
from ...quantities.checks import finite, positive
from ...quantities.errors import BadInput
from ...quantities.said import Said, in_words
from ...sources.readers import open_recording
from ...sources.recording import Recording
from ...sources.sidecar import sidecar_path
from ...sources.writers import write_flac
from ..rig import known_rig
from ..shop import Workshop, find_piece
from ..stored import stored
from .correction import correct
from .kept import (
    CorrectionKept,
    KeptReading,
    KeptResidual,
    KeptRotorAdvice,
    MadeCorrection,
    RotorReadingKept,
    RotorStory,
    reading_of,
    rotor_story,
    vector_of,
)
from .model_file import RotorFile
from .models import rotor_model
from .reading import (
    ARBOR,
    RotorReading,
    pairs,
    signal_reading,
    typed_reading,
    without_arbor,
)
from .vibration import vibration_reading


def measure_typed(
    shop: Workshop,
    serial: str,
    amounts: Sequence[float],
    angles_deg: Sequence[float],
    *,
    unit: str = "g·mm",
    light_spot: bool = False,
    speed_rpm: float | None = None,
    rig: str = "",
    by: str = "",
) -> RotorReadingKept:
    """Record what a machine's display says of a rotor; returns the reading.

    Raises
    ------
    BadInput, LedgerFault
        As `typed_reading`; no such rotor.
    """
    piece = find_piece(shop, serial)
    rotor = rotor_model(shop, piece.model)
    reading = typed_reading(
        rotor, amounts, angles_deg,
        unit=unit, light_spot=light_spot, speed_rpm=speed_rpm, rig=known_rig(shop, rig),
    )  # fmt: skip
    return _keep(shop, piece, rotor, reading, rig=rig, by=by, recording=None)


def measure_vibration(
    shop: Workshop,
    serial: str,
    amounts: Sequence[float],
    angles_deg: Sequence[float],
    *,
    speed_rpm: float | None,
    rig: str,
    unit: str = "",
    by: str = "",
) -> RotorReadingKept:
    """Record vibration read off an instrument, taken through the machine's calibration; returns the reading.

    Raises
    ------
    BadInput, LedgerFault
        As `vibration_reading`; no such rotor.
    """
    piece = find_piece(shop, serial)
    rotor = rotor_model(shop, piece.model)
    reading = vibration_reading(
        rotor, amounts, angles_deg, speed_rpm=speed_rpm, unit=unit, rig=known_rig(shop, rig),
        calibration=shop.book.rotors.calibration(rig, rotor.name),
    )  # fmt: skip
    return _keep(shop, piece, rotor, reading, rig=rig, by=by, recording=None)


def measure_signals(
    shop: Workshop,
    serial: str,
    recording: str | Path | Recording,
    *,
    rig: str = "",
    by: str = "",
    run_id: str = "",
) -> RotorReadingKept:
    """Record a measurement of a rotor from the signals of a machine's supports.

    Parameters
    ----------
    run_id : str
        Identifier the reading gets, a UUIDv7; a spin's own, so that it is kept once however often it is tried.

    Raises
    ------
    UnreadableFile, SignalTooPoor, BadInput, LedgerFault
        As `signal_reading`; nothing is kept.
    """
    piece = find_piece(shop, serial)
    rotor = rotor_model(shop, piece.model)
    source = recording if isinstance(recording, Recording) else open_recording(recording)
    rig = rig or source.rig
    if source.rotation is not None and source.rotation != rotor.rotation:
        raise BadInput(
            Said(
                "refusal.the_recording_says_the_rotor",
                {"rotation": source.rotation, "rotation_2": rotor.rotation},
            ),
            remedy=Said("remedy.correct_the_one_that_is"),
        )
    calibration = shop.book.rotors.calibration(rig, rotor.name)
    reading = signal_reading(rotor, source, known_rig(shop, rig), calibration)
    by = by or source.operator
    return _keep(shop, piece, rotor, reading, rig=rig, by=by, recording=source, run_id=run_id)


def _keep(
    shop: Workshop,
    piece: Piece,
    rotor: RotorFile,
    reading: RotorReading,
    *,
    rig: str,
    by: str,
    recording: Recording | None,
    run_id: str = "",
) -> RotorReadingKept:
    reading = without_arbor(rotor, reading, shop.book.rotors.calibration(rig, ARBOR + rotor.name))
    verdict = reading.judged(rotor)
    at, run_id = now_utc(), run_id or new_id()
    kept = _archived(shop, recording, run_id, at) if recording is not None else ("", "", None)
    run = RotorRun(
        id=run_id,
        at=at,
        by=by,
        piece_id=piece.id,
        number=shop.book.rotors.run_count(piece.id) + 1,
        rig=rig,
        recording=kept[0],
        recording_sha256=kept[1],
        beside_sha256=kept[2],
        verdict=verdict.verdict,
        worst_ratio=verdict.worst.ratio,
        content=asdict(_kept(shop, rotor, reading, verdict, rig)),
    )
    shop.book.rotors.add_run(run)
    return reading_of(run)


def _archived(shop: Workshop, recording: Recording, run_id: str, at: str) -> tuple[str, str, str]:
    """Write a recording to the archive; returns its name there, its digest and that of what stands beside it."""
    path = shop.book.archive.place(run_id, at)
    write_flac(recording, path)
    return shop.book.archive.name_of(path), digest_of(path), digest_of(sidecar_path(path))


def _kept(
    shop: Workshop, rotor: RotorFile, reading: RotorReading, verdict: RotorVerdict, rig: str
) -> KeptReading:
    """Return all that is kept of a reading."""
    advice = correct(rotor, reading, verdict)
    proofs = tuple(past_due(shop, rig))
    machine = shop.book.rigs.newest(rig) if rig else None
    of_planes = zip(rotor.plane, reading.unbalance, reading.standard, strict=True)
    return KeptReading(
        program=__version__,
        rotor=rotor.model_dump(mode="json", exclude_unset=True),
        machine=dict(machine.content) if machine else {},
        way=reading.way,
        speed_rpm=reading.speed_rpm,
        planes=tuple(vector_of(p.name, u, s) for p, u, s in of_planes),
        tolerance=tuple(
            KeptResidual(
                **asdict(vector_of(p.name, p.residual, p.uncertainty_gmm / 2)),
                limit_gmm=p.limit_gmm,
                verdict=p.verdict,
                ratio=p.ratio,
            )
            for p in verdict.planes
        ),
        rule=rotor.rule_text(),
        rule_said=rotor.rule_said(),
        verdict=verdict.verdict,
        kind=_kind(rotor, reading),
        advice=KeptRotorAdvice(
            advice.corrections,
            advice.sparing,
            tuple(
                vector_of(p.name, u, 0.0) for p, u in zip(rotor.plane, advice.expected, strict=True)
            ),
            " ".join(in_words(w) for w in advice.why),
            advice.why,
        ),
        notes=tuple(in_words(n) for n in reading.notes),
        notes_said=reading.notes,
        evidence=reading.evidence | {"covariance_gmm2": pairs(reading.covariance)},
        proofs=tuple(in_words(p) for p in proofs),
        proofs_said=proofs,
    )


def _kind(rotor: RotorFile, reading: RotorReading) -> str:
    if len(rotor.plane) == 1 or rotor.mass_centre_mm is None:
        return ""
    positions = [p.at_mm for p in rotor.plane]
    return parts_of(reading.unbalance, positions, rotor.mass_centre_mm).kind


@dataclass(frozen=True)
class ProofState:
    """What is asked of a proof later on."""

    passed: bool
    due: str = ""


def overdue(shop: Workshop, rig: str, today: str | None = None) -> list[str]:
    """Return, in words, what `past_due` does."""
    return [in_words(said) for said in past_due(shop, rig, today)]


def past_due(shop: Workshop, rig: str, today: str | None = None) -> list[Said]:
    """Return what of a rig is past its day: its calibration, its sensors, its proofs."""
    if not rig:
        return []
    now = today or date.today().isoformat()
    record, out = known_rig(shop, rig), []
    due = record.next_due()
    if due and due < now:
        out.append(Said("overdue.calibration", {"rig": rig, "day": due}))
    for proof in shop.book.rotors.proofs(rig):
        kept = stored(ProofState, proof.content, what=f"The {proof.of} test of {rig}")
        if not kept.passed:
            out.append(Said(f"proof_failed.{proof.of}", {"rig": rig, "day": proof.at[:10]}))
        elif kept.due and kept.due < now:
            out.append(Said(f"proof_due.{proof.of}", {"rig": rig, "day": kept.due}))
    return out


def corrected(
    shop: Workshop,
    serial: str,
    plane: str,
    angle_deg: float,
    *,
    amount_gmm: float,
    way: str = "",
    by: str = "",
    replaces: str | None = None,
    why: str = "",
) -> CorrectionKept:
    """Record a correction really made.

    Raises
    ------
    BadInput
        No such plane, an amount not above zero, or an amendment without a reason.
    """
    story = rotor_story(shop, serial)
    rotor = story.rotor
    found = next((p for p in rotor.plane if p.name.lower() == plane.strip().lower()), None)
    if found is None:
        names = ", ".join(p.name for p in rotor.plane)
        raise BadInput(
            Said("refusal.rotor_has_no_plane", {"name": rotor.name, "plane": plane}),
            remedy=Said("remedy.its_planes", {"names": names}),
        )
    if replaces and not why.strip():
        raise BadInput(Said("refusal.an_amendment_needs_a_reason"), remedy=Said("remedy.say_why"))
    made = MadeCorrection(
        plane=found.name,
        way=way or found.way,
        angle_deg=wrap_deg(finite("angle", angle_deg)),
        amount_gmm=positive("amount", amount_gmm),
    )
    entry = _entry(story, made, by=by)
    entry = replace(entry, replaces=replaces, why=why)
    shop.book.rotors.add_corrections([entry])
    return CorrectionKept(entry, made)


def _entry(story: RotorStory, made: MadeCorrection, *, by: str) -> RotorCorrection:
    return RotorCorrection(
        piece_id=story.piece.id, after_run=len(story.readings), content=asdict(made), by=by
    )


def corrected_as_advised(
    shop: Workshop, serial: str, *, by: str = ""
) -> tuple[MadeCorrection, ...]:
    """Record the last advice as done, all of it at once; said twice, it is still done once.

    Raises
    ------
    BadInput
        Nothing is advised.
    """
    story = rotor_story(shop, serial)
    advised = story.last.reading.advice.corrections if story.last else ()
    if story.last is None or not advised:
        raise BadInput(
            Said("refusal.no_correction_is_advised"), remedy=Said("remedy.measure_first")
        )
    done = story.corrected_since(story.last.number)
    if done:
        return tuple(c.made for c in done)
    made = tuple(MadeCorrection(c.plane, c.way, c.angle_deg, c.amount_gmm) for c in advised)
    shop.book.rotors.add_corrections([_entry(story, m, by=by) for m in made])
    return made
