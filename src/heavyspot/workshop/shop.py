"""The workshop: models, pieces, spins, cuts and sheets, on one ledger."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from .._version import __version__
from ..balance.advise import Advice, Situation, advise, typical_response
from ..balance.limits import Judgement, amplitude_uncertainty, judge
from ..balance.plane import Plane
from ..balance.response import Estimate, History, estimate, wide_prior
from ..ledger.archive import digest_of
from ..ledger.book import Book, Row, now_utc
from ..ledger.identity import new_id
from ..quantities.angles import wrap_deg
from ..quantities.checks import finite, positive
from ..quantities.errors import BadInput, LedgerFault
from ..quantities.finding import Finding
from ..signal.curve import Curve
from ..sources.readers import open_recording
from ..sources.recording import Recording
from ..sources.sidecar import describe
from ..sources.writers import write_flac
from .model_file import ModelFile, load_model_file, parse_model
from .past import (
    LEARN_SPREAD,
    history_of,
    learnt_response,
    library_priors,
    pack_curves,
    past_runs,
)
from .reading import ReadResult, read_recording
from .results import SpinResult, advice_json, finding_json, judgement_json
from .run_findings import change_findings, cut_findings, model_findings


class Workshop:
    """A shop's verbs. Everything it returns as done is on disk.

    Parameters
    ----------
    data : str or Path
        Data folder; made when it is not there.

    Examples
    --------
    >>> import tempfile
    >>> shop = Workshop(tempfile.mkdtemp())
    >>> _ = shop.add_model({"name": "Larch 52", "rotation": "clockwise", "rated_speed_rpm": 175000,
    ...     "test_speed_rpm": 150000, "plane": [{"name": "nut", "radius_mm": 6.0}]})
    >>> _ = shop.add_piece("L52-0001", "Larch 52")
    >>> shop.close()
    """

    def __init__(self, data: str | Path) -> None:
        self.book = Book(Path(data))

    def close(self) -> None:
        """Close the ledger."""
        self.book.close()

    # -- models, pieces, rigs ---------------------------------------------------------------------

    def add_model(self, source: str | Path | dict[str, Any], *, by: str = "") -> ModelFile:
        """Add a model from a TOML file or its keys; the same name again is a new version.

        Raises
        ------
        UnreadableFile
            A key is missing, unknown or out of range.
        """
        model = (
            parse_model(source, name="the model")
            if isinstance(source, dict)
            else load_model_file(source)
        )
        self.book.add_model(model.name, model.model_dump(mode="json", exclude_unset=True), by=by)
        return model

    def model(self, name: str) -> ModelFile:
        """Return a model by name; raises `LedgerFault` listing those there are."""
        row = self.book.model(name)
        if row is None:
            names = ", ".join(self.book.model_names()) or "none yet"
            raise LedgerFault(f'There is no model "{name}".', remedy=f"Models: {names}.")
        return parse_model(row["content"], name=f'model "{name}"')

    def add_rig(self, name: str, content: dict[str, Any] | None = None, *, by: str = "") -> None:
        """Add a rig: its sensors and their calibration (``calibrated_at``, ``due``, ``certificate``)."""
        self.book.add_rig(name, content or {}, by=by)

    def add_piece(
        self,
        serial: str,
        model: str,
        *,
        customer: str = "",
        invoice: str = "",
        position: str = "",
        by: str = "",
    ) -> str:
        """Add a piece; returns its id.

        Raises
        ------
        LedgerFault
            No such model, or the serial is taken.
        """
        if not serial.strip():
            raise BadInput("The serial is empty.", remedy="Type the number on the piece.")
        self.model(model)
        return self.book.add_piece(
            serial.strip(), model, customer=customer, invoice=invoice, position=position, by=by
        )

    def piece(self, serial: str) -> Row:
        """Return a piece by serial; raises `LedgerFault` when there is none."""
        row = self.book.piece(serial)
        if row is None:
            raise LedgerFault(
                f'There is no piece "{serial}".', remedy="Add it first, or check the serial."
            )
        return row

    # -- spinning ---------------------------------------------------------------------------------

    def spin(
        self,
        serial: str,
        recording: str | Path | Recording,
        *,
        operator: str = "",
        rig: str = "",
        format: str | None = None,
    ) -> SpinResult:
        """Read a recording of a piece, judge it, advise, and keep it all.

        Raises
        ------
        UnreadableFile, SignalTooPoor
            The recording cannot be read; nothing is kept.
        LedgerFault
            No such piece, or the disk refuses; nothing is kept.
        """
        piece = self.piece(serial)
        model = self.model(piece["model"])
        source = (
            recording
            if isinstance(recording, Recording)
            else open_recording(recording, format=format)
        )
        read = read_recording(source, limit_g=float(min(model.house_limit().limit_g)))
        past = past_runs(self.book, piece["id"])
        number = len(past) + 1
        made = self.book.cuts(piece["id"], "made")
        curves = [(p.number, p.curves[0]) for p in past if p.curves]
        if read.curve is not None:
            curves.append((number, read.curve))
        history = history_of(curves, made, model) if read.curve is not None else None
        judgement = judge_curves(read.curves, model) if read.curves else None
        findings = [*read.findings, *model_findings(source, read, model)]
        if history is not None:
            findings += change_findings(history, model.as_scatter())
        advice, now = self._advise(piece, model, history, judgement, findings, read, number, made)
        if history is not None and now is not None:
            findings += cut_findings(history, now, model.as_scatter())
        at = now_utc()
        run_id = new_id()
        path = self.book.archive.place(run_id, at)
        notes = [*source.notes, *write_flac(source, path)]
        result = {
            **judgement_json(judgement),
            "findings": [finding_json(f) for f in findings],
            "advice": advice_json(advice, model.rotation),
            "notes": notes,
        }
        entry = {
            "id": run_id,
            "at": at,
            "by": operator or source.operator,
            "piece_id": piece["id"],
            "number": number,
            "recorded_at": source.recorded_at,
            "rig": rig or source.rig,
            "recording": self.book.archive.name_of(path),
            "recording_sha256": digest_of(path),
            "conditions": self._conditions(source, model, rig or source.rig),
            "verdict": judgement.verdict if judgement else "undecided",
            "worst_ratio": judgement.worst.ratio if judgement else None,
            "result": result,
            "curves": pack_curves(read.curves),
        }
        asked = [
            {
                "piece_id": piece["id"],
                "after_run": number,
                "plane": c.plane,
                "angle_deg": c.angle_deg,
                "unbalance_gmm": c.unbalance_gmm,
                "mass_mg": c.mass_mg,
                "depth_mm": c.depth_mm,
            }
            for c in advice.cuts
        ]
        learnt = _learnt(piece, model, history, now, findings, number, entry["rig"])
        self.book.add_run(entry, asked, learnt)
        return SpinResult(
            run_id,
            number,
            serial,
            read.curves,
            tuple(findings),
            judgement,
            advice,
            model.rotation,
            tuple(notes),
        )

    def _advise(
        self,
        piece: Row,
        model: ModelFile,
        history: History | None,
        judgement: Judgement | None,
        findings: list[Finding],
        read: ReadResult,
        number: int,
        made: list[Row],
    ) -> tuple[Advice, Estimate | None]:
        blocking = next((f for f in findings if f.severity == "block"), None)
        if blocking is not None:
            why = f"{blocking.text} {blocking.do}"
            return Advice("fix", (), None, 0.0, 0.0, False, why), None
        if history is None or judgement is None:
            why = "Nothing could be measured over the model's speed range. Spin to test speed."
            return Advice("spin_again", (), None, 0.0, 0.0, False, why), None
        priors = library_priors(self.book, model, history.speed_rpm, not_piece=piece["id"])
        scatter = model.as_scatter()
        guard = 2 * float(np.hypot(scatter.run_share, model.scatter.calibration_share))
        situation = Situation(
            history=history,
            planes=self.planes(model, made),
            priors=priors,
            limit_g=model.house_limit().at(history.speed_rpm),
            judgement=judgement,
            reached=read.highest_rpm >= 0.985 * model.test_speed_rpm,
            test_speed_rpm=model.test_speed_rpm,
            scatter=scatter,
            guard=guard,
            sensor_lag_deg=read.sensor_lag_deg or 0.0,
            most_cuts=model.most_cuts,
            seed=number,
        )
        return advise(situation)

    def planes(self, model: ModelFile, made: list[Row]) -> tuple[Plane, ...]:
        """Return a model's planes with what was taken off them already."""
        return tuple(
            p.as_plane(sum(c["mass_mg"] for c in made if c["plane"] == p.name)) for p in model.plane
        )

    def _conditions(self, source: Recording, model: ModelFile, rig: str) -> dict[str, Any]:
        """Return what was true when it was measured; never recomputed from later settings."""
        house = model.house_limit()
        rig_row = self.book.rig(rig) if rig else None
        return {
            "program": __version__,
            "recording": describe(
                source.channels,
                sample_rate_hz=source.sample_rate_hz,
                rotation=source.rotation or model.rotation,
                recorded_at=source.recorded_at,
                rig=source.rig,
                operator=source.operator,
                oil=(source.oil_temperature_c, source.oil_pressure_kpa),
            ),
            "model": model.model_dump(mode="json", exclude_unset=True),
            "rotation": model.rotation,
            "limit": {"speed_rpm": list(house.speed_rpm), "limit_g": list(house.limit_g)},
            "from_rpm": model.from_rpm,
            "test_speed_rpm": model.test_speed_rpm,
            "scatter": model.scatter.model_dump(),
            "rig": rig_row["content"] if rig_row else {},
        }

    # -- grinding ---------------------------------------------------------------------------------

    def ground(
        self,
        serial: str,
        plane: str,
        angle_deg: float,
        *,
        mass_mg: float | None = None,
        depth_mm: float | None = None,
        unbalance_gmm: float | None = None,
        by: str = "",
        replaces: str | None = None,
        why: str = "",
    ) -> Row:
        """Record a cut really made, by one of mass, depth or unbalance; the others follow.

        Parameters
        ----------
        angle_deg : float
            On the rotor from the mark, against rotation, seen from the nut.
        replaces : str, optional
            Identifier of an earlier entry that this one amends; `why` is then needed.

        Raises
        ------
        BadInput
            No such plane, not exactly one amount, or more than such a cut can take off.
        """
        piece = self.piece(serial)
        model = self.model(piece["model"])
        found = model.find_plane(plane)
        given = [v for v in (mass_mg, depth_mm, unbalance_gmm) if v is not None]
        if len(given) != 1:
            raise BadInput(
                f"{len(given)} amounts are given.",
                remedy="Give exactly one of mass, depth or unbalance.",
            )
        if replaces and not why.strip():
            raise BadInput("An amendment needs a reason.", remedy="Say why.")
        angle = wrap_deg(finite("angle", angle_deg))
        made = self.book.cuts(piece["id"], "made")
        if replaces and replaces not in {c["id"] for c in made}:
            raise BadInput(f"There is no cut {replaces} to amend.", remedy="Look it up with show.")
        body = found.as_plane()
        offset = body.corner_offset_deg(angle)
        if depth_mm is not None:
            depth = positive("depth", depth_mm)
        elif unbalance_gmm is not None:
            depth = body.cutter.depth_for(positive("unbalance", unbalance_gmm), offset)
        else:
            depth = body.cutter.depth_for_mass(positive("mass", mass_mg), offset)
        removed = body.cutter.removed(depth, offset)
        after_run = len(self.book.runs(piece["id"]))
        if replaces:
            after_run = next(c["after_run"] for c in made if c["id"] == replaces)
        entry = {
            "piece_id": piece["id"],
            "after_run": after_run,
            "plane": found.name,
            "angle_deg": angle,
            "unbalance_gmm": unbalance_gmm if unbalance_gmm is not None else removed.unbalance_gmm,
            "mass_mg": mass_mg if mass_mg is not None else removed.mass_mg,
            "depth_mm": depth,
            "by": by,
            "replaces": replaces,
            "why": why,
        }
        cut_id = self.book.add_cut(entry)
        used = sum(c["mass_mg"] for c in made if c["plane"] == found.name and c["id"] != replaces)
        left = body.budget_mg - used - entry["mass_mg"]
        return {"cut": cut_id, "serial": serial, **entry, "left_mg": left}

    # -- looking ----------------------------------------------------------------------------------

    def story(self, serial: str) -> dict[str, Any]:
        """Return a piece with its runs and cuts, JSON-ready, in order."""
        piece = self.piece(serial)
        runs = [
            {
                "run": r["id"],
                "number": r["number"],
                "at": r["at"],
                "by": r["by"],
                "rig": r["rig"],
                "recording": r["recording"],
                **r["result"],
            }
            for r in self.book.runs(piece["id"])
        ]
        cuts = {k: self.book.cuts(piece["id"], k) for k in ("asked", "made")}
        return {
            **{k: piece[k] for k in ("serial", "model", "customer", "invoice", "position", "at")},
            "runs": runs,
            "cuts_made": cuts["made"],
            "cuts_asked": cuts["asked"],
        }


def judge_curves(curves: tuple[Curve, ...], model: ModelFile) -> Judgement | None:
    """Return the verdict over every pass of a run; None when no point is in the range."""
    scatter = model.scatter
    speed = np.concatenate([c.speed_rpm for c in curves])
    amplitude = np.concatenate([np.abs(c.vector[0]) for c in curves])
    noise = np.concatenate([c.noise[0] for c in curves])
    if not (speed >= model.from_rpm).any():
        return None
    u = amplitude_uncertainty(
        amplitude,
        noise,
        repeat_share=scatter.run_share,
        calibration_share=scatter.calibration_share,
    )
    step = float(np.diff(curves[0].speed_rpm).min()) if curves[0].speed_rpm.size > 1 else 500.0
    return judge(
        speed,
        amplitude,
        u,
        model.house_limit(),
        from_rpm=model.from_rpm,
        to_rpm=model.test_speed_rpm,
        step_rpm=step,
    )


def _learnt(
    piece: Row,
    model: ModelFile,
    history: History | None,
    now: Estimate | None,
    findings: list[Finding],
    number: int,
    rig: str,
) -> list[Row]:
    """Return what this piece now tells of its planes, for the units to come.

    Estimated from its own runs alone: what came from other units must not come back to them.
    """
    if history is None or now is None or not history.cuts:
        return []
    if any(f.code == "cut.not_as_recorded" for f in findings):
        return []
    planes = sorted({c.plane for c in history.cuts})
    wide = wide_prior(history.speed_rpm, typical_response(history.speed_rpm, model.test_speed_rpm))
    own = estimate(history, dict.fromkeys(planes, wide), model.as_scatter(), draws=60)
    return [
        {
            "model": model.name,
            "rig": rig,
            "plane": plane,
            "piece_id": piece["id"],
            "run_number": number,
            "spread": own.spread[plane],
            "vector": learnt_response(history.speed_rpm, own.mean_response[plane], model),
        }
        for plane in planes
        if own.spread[plane] < LEARN_SPREAD
    ]
