"""The verbs of the low-speed machines: measure, judge, correct, calibrate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

from ..._version import __version__
from ...balance.rotor.rigid import parts_of
from ...ledger.store.archive import digest_of
from ...ledger.store.entries import Row, now_utc
from ...ledger.store.identity import new_id
from ...quantities.angles import angle_of, wrap_deg
from ...quantities.checks import finite, positive
from ...quantities.errors import BadInput, LedgerFault
from ...sources.readers import open_recording
from ...sources.recording import Recording
from ...sources.toml_text import parse_toml, read_toml
from ...sources.writers import write_flac
from ..shop import Workshop
from .correction import correct
from .model_file import RotorFile, parse_rotor
from .reading import ARBOR, CIRCLE_K, RotorReading, signal_reading, typed_reading, without_arbor


def add_rotor_model(
    shop: Workshop, source: str | Path | dict[str, Any], *, text: bool = False, by: str = ""
) -> RotorFile:
    """Add a kind of rotor from a TOML file, its text or its keys; the same name again is a new version.

    Raises
    ------
    UnreadableFile
        A key is missing, unknown or out of range.
    LedgerFault
        The name belongs to a cartridge model.
    """
    if isinstance(source, dict):
        content, name = source, "the rotor"
    elif text:
        content, name = parse_toml(str(source), name="The rotor"), "the rotor"
    else:
        content, name = read_toml(Path(source)), Path(source).name
    rotor = parse_rotor(content, name=name)
    kept = rotor.model_dump(mode="json", exclude_unset=True)
    shop.book.add_model(rotor.name, kept, kind="rotor", by=by)
    return rotor


def rotor_model(shop: Workshop, name: str) -> RotorFile:
    """Return a kind of rotor by name; raises `LedgerFault` listing those there are."""
    row = shop.book.model(name)
    if row is None or row["kind"] != "rotor":
        names = ", ".join(shop.book.model_names("rotor")) or "none yet"
        raise LedgerFault(f'There is no rotor "{name}".', remedy=f"Rotors: {names}.")
    return parse_rotor(row["content"], name=f'rotor "{name}"')


def add_rotor(
    shop: Workshop, serial: str, rotor: str, *, customer: str = "", invoice: str = "", by: str = ""
) -> str:
    """Add a rotor to the ledger; returns its id.

    Raises
    ------
    LedgerFault
        No such kind of rotor, or the serial is taken.
    """
    if not serial.strip():
        raise BadInput("The serial is empty.", remedy="Type the number on the piece.")
    rotor_model(shop, rotor)
    return shop.book.add_piece(serial.strip(), rotor, customer=customer, invoice=invoice, by=by)


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
) -> dict[str, Any]:
    """Record what a machine's display says of a rotor; returns the reading, JSON-ready.

    Raises
    ------
    BadInput, LedgerFault
        As `typed_reading`; no such rotor.
    """
    piece, rotor = _piece(shop, serial)
    reading = typed_reading(
        rotor, amounts, angles_deg,
        unit=unit, light_spot=light_spot, speed_rpm=speed_rpm, rig=shop.rig(rig),
    )  # fmt: skip
    return _keep(shop, piece, rotor, reading, rig=rig, by=by, recording=None)


def measure_signals(
    shop: Workshop, serial: str, recording: str | Path | Recording, *, rig: str = "", by: str = ""
) -> dict[str, Any]:
    """Record a measurement of a rotor from the signals of a machine's supports.

    Raises
    ------
    UnreadableFile, SignalTooPoor, BadInput, LedgerFault
        As `signal_reading`; nothing is kept.
    """
    piece, rotor = _piece(shop, serial)
    source = recording if isinstance(recording, Recording) else open_recording(recording)
    rig = rig or source.rig
    if source.rotation is not None and source.rotation != rotor.rotation:
        raise BadInput(
            f"The recording says {source.rotation}, the rotor {rotor.rotation}.",
            remedy="Correct the one that is wrong.",
        )
    calibration = shop.book.rotors.calibration(rig, rotor.name)
    reading = signal_reading(rotor, source, shop.rig(rig), calibration)
    by = by or source.operator
    return _keep(shop, piece, rotor, reading, rig=rig, by=by, recording=source)


def _piece(shop: Workshop, serial: str) -> tuple[Row, RotorFile]:
    piece = shop.piece(serial)
    return piece, rotor_model(shop, piece["model"])


def _keep(
    shop: Workshop,
    piece: Row,
    rotor: RotorFile,
    reading: RotorReading,
    *,
    rig: str,
    by: str,
    recording: Recording | None,
) -> dict[str, Any]:
    reading = without_arbor(rotor, reading, shop.book.rotors.calibration(rig, ARBOR + rotor.name))
    verdict = reading.judged(rotor)
    advice = correct(rotor, reading, verdict)
    number = shop.book.rotors.run_count(piece["id"]) + 1
    at, run_id = now_utc(), new_id()
    entry: Row = {"id": run_id, "at": at, "by": by, "piece_id": piece["id"], "number": number}
    if recording is not None:
        path = shop.book.archive.place(run_id, at)
        write_flac(recording, path)
        entry |= {
            "recording": shop.book.archive.name_of(path),
            "recording_sha256": digest_of(path),
        }
    rig_row = shop.book.rig(rig) if rig else None
    content = {
        "program": __version__,
        "rotor": rotor.model_dump(mode="json", exclude_unset=True),
        "machine": rig_row["content"] if rig_row else {},
        "way": reading.way,
        "speed_rpm": reading.speed_rpm,
        "planes": [
            _vector(p.name, u, s)
            for p, u, s in zip(rotor.plane, reading.unbalance, reading.standard, strict=True)
        ],
        "tolerance": [
            _vector(p.name, p.residual, p.uncertainty_gmm / 2)
            | {"limit_gmm": p.limit_gmm, "verdict": p.verdict, "ratio": p.ratio}
            for p in verdict.planes
        ],
        "rule": rotor.rule_text(),
        "verdict": verdict.verdict,
        "kind": _kind(rotor, reading),
        "advice": {
            "corrections": [asdict(c) for c in advice.corrections],
            "sparing": [asdict(c) for c in advice.sparing],
            "expected": [
                _vector(p.name, u, 0.0) for p, u in zip(rotor.plane, advice.expected, strict=True)
            ],
            "why": advice.why,
        },
        "notes": list(reading.notes),
        "evidence": reading.evidence,
        "proofs": overdue(shop, rig),
    }
    shop.book.rotors.add_run(
        entry
        | {
            "rig": rig,
            "verdict": verdict.verdict,
            "worst_ratio": verdict.worst.ratio,
            "content": content,
        }
    )
    return {
        "run": run_id,
        "number": number,
        "serial": piece["serial"],
        "at": at,
        "by": by,
        "rig": rig,
        **content,
    }


def _vector(name: str, value: complex, standard: float) -> dict[str, Any]:
    """Return a vector as it stands in the ledger; the circle holds the truth 95 times in 100."""
    return {
        "name": name,
        "amount_gmm": float(abs(value)),
        "angle_deg": float(angle_of(value)),
        "standard_gmm": float(standard),
        "uncertainty_gmm": float(2 * standard),
        "circle_gmm": float(CIRCLE_K * standard),
    }


def _kind(rotor: RotorFile, reading: RotorReading) -> str:
    if len(rotor.plane) == 1 or rotor.mass_centre_mm is None:
        return ""
    positions = [p.at_mm for p in rotor.plane]
    return parts_of(reading.unbalance, positions, rotor.mass_centre_mm).kind


def overdue(shop: Workshop, rig: str, today: str | None = None) -> list[str]:
    """Return, in words, what of a rig is past its day: its calibration, its sensors, its proofs."""
    if not rig:
        return []
    now = today or date.today().isoformat()
    record, out = shop.rig(rig), []
    due = record.next_due()
    if due and due < now:
        out.append(f"{rig}: calibration was due on {due}.")
    for proof in shop.book.rotors.proofs(rig):
        content = proof["content"]
        if not content["passed"]:
            out.append(f"{rig}: the {proof['of']} test of {proof['at'][:10]} did not pass.")
        elif content.get("due") and content["due"] < now:
            out.append(f"{rig}: the {proof['of']} test was due on {content['due']}.")
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
) -> Row:
    """Record a correction really made.

    Raises
    ------
    BadInput
        No such plane, an amount not above zero, or an amendment without a reason.
    """
    piece, rotor = _piece(shop, serial)
    found = next((p for p in rotor.plane if p.name.lower() == plane.strip().lower()), None)
    if found is None:
        names = ", ".join(p.name for p in rotor.plane)
        raise BadInput(
            f'Rotor "{rotor.name}" has no plane "{plane}".', remedy=f"Its planes: {names}."
        )
    if replaces and not why.strip():
        raise BadInput("An amendment needs a reason.", remedy="Say why.")
    content = {
        "plane": found.name,
        "way": way or found.way,
        "angle_deg": wrap_deg(finite("angle", angle_deg)),
        "amount_gmm": positive("amount", amount_gmm),
    }
    number = shop.book.rotors.run_count(piece["id"])
    entry = {"piece_id": piece["id"], "after_run": number, "content": content, "by": by}
    shop.book.rotors.add_correction(entry | {"replaces": replaces, "why": why})
    return {"serial": serial, "after_run": number, **content}


def corrected_as_advised(shop: Workshop, serial: str, *, by: str = "") -> list[Row]:
    """Record the last advice as done; said twice, it is still done once.

    Raises
    ------
    BadInput
        Nothing is advised.
    """
    piece, _ = _piece(shop, serial)
    runs = shop.book.rotors.runs(piece["id"])
    advised = runs[-1]["content"]["advice"]["corrections"] if runs else []
    if not advised:
        raise BadInput("No correction is advised.", remedy="Measure first.")
    done = [
        c for c in shop.book.rotors.corrections(piece["id"]) if c["after_run"] >= runs[-1]["number"]
    ]
    if done:
        return [c["content"] for c in done]
    for c in advised:
        what = {"amount_gmm": c["amount_gmm"], "way": c["way"]}
        corrected(shop, serial, c["plane"], c["angle_deg"], **what, by=by)
    return [
        c["content"]
        for c in shop.book.rotors.corrections(piece["id"])
        if c["after_run"] == runs[-1]["number"]
    ]


def rotor_story(shop: Workshop, serial: str) -> dict[str, Any]:
    """Return a rotor with its readings and corrections, JSON-ready, in order."""
    piece, rotor = _piece(shop, serial)
    runs = [
        {
            "run": r["id"],
            **{k: r[k] for k in ("number", "at", "by", "rig", "recording")},
            **r["content"],
        }
        for r in shop.book.rotors.runs(piece["id"])
    ]
    done = [
        {"id": c["id"], "at": c["at"], "by": c["by"], "after_run": c["after_run"], **c["content"]}
        for c in shop.book.rotors.corrections(piece["id"])
    ]
    kept = ("serial", "model", "customer", "invoice", "at")
    return {
        **{k: piece[k] for k in kept},
        "rotor": rotor.model_dump(mode="json"),
        "limits_gmm": dict(zip(rotor.tolerance_planes, rotor.limits(), strict=True)),
        "rule": rotor.rule_text(),
        "runs": runs,
        "corrections": done,
    }
