"""The workshop: models, pieces, spins, cuts and sheets, on one ledger."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

from ..ledger.book import Book
from ..ledger.store.archive import digest_of
from ..ledger.store.entries import Row, now_utc
from ..ledger.store.identity import new_id
from ..quantities.angles import wrap_deg
from ..quantities.checks import finite, positive
from ..quantities.errors import BadInput, LedgerFault
from ..sources.readers import open_recording
from ..sources.recording import Recording
from ..sources.toml_text import parse_toml
from ..sources.writers import write_flac
from .cartridge.advising import advise_on
from .cartridge.evidence import Evidence, gather
from .cartridge.judging import fed_by_rig, frozen_conditions
from .cartridge.learning import learnt_from
from .cartridge.model_file import ModelFile, load_model_file, parse_model
from .cartridge.past import pack_curves, past_runs
from .cartridge.results import SpinResult, advice_json, finding_json, judgement_json
from .rig.record import RigRecord, parse_rig
from .shop_file import load_shop_file


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
        folder = Path(data)
        settings = load_shop_file(folder)
        self.book = Book(
            folder, settings.ledger_url or None, recordings_url=settings.recordings_url
        )

    def close(self) -> None:
        """Close the ledger."""
        self.book.close()

    # -- models, pieces, rigs ---------------------------------------------------------------------

    def add_model(
        self, source: str | Path | dict[str, Any], *, by: str = "", seen: str | None = None
    ) -> ModelFile:
        """Add a model from a TOML file or its keys; the same name again is a new version.

        Parameters
        ----------
        seen : str, optional
            Identifier of the version it was made from; empty: there was none.

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
        self.book.add_model(
            model.name, model.model_dump(mode="json", exclude_unset=True), by=by, seen=seen
        )
        return model

    def add_model_text(self, text: str, *, by: str = "") -> ModelFile:
        """Add a model from the text of a model file; raises `UnreadableFile` as `add_model` does."""
        return self.add_model(parse_toml(text, name="The model"), by=by)

    def model(self, name: str) -> ModelFile:
        """Return a model by name; raises `LedgerFault` listing those there are."""
        row = self.book.model(name)
        if row is None:
            names = ", ".join(self.book.model_names()) or "none yet"
            raise LedgerFault(f'There is no model "{name}".', remedy=f"Models: {names}.")
        if row["kind"] != "cartridge":
            raise LedgerFault(
                f'"{name}" is of the kind {row["kind"]}, not a cartridge.',
                remedy="Go to Rotors: it is measured on the low-speed machines.",
            )
        return parse_model(row["content"], name=f'model "{name}"')

    def kind_of(self, model: str) -> str:
        """Return what a model is of: ``cartridge`` or ``rotor``; empty when there is no such model."""
        row = self.book.model(model)
        return str(row["kind"]) if row else ""

    def add_rig(
        self,
        name: str,
        content: dict[str, Any] | None = None,
        *,
        by: str = "",
        seen: str | None = None,
    ) -> None:
        """Add a rig or a new version of it: its sensors and their calibration.

        Raises
        ------
        BadInput
            The name is empty, or a key is unknown or out of range.
        """
        record = parse_rig(name, content or {})
        self.book.add_rig(
            name.strip(), record.model_dump(mode="json", exclude_defaults=True), by=by, seen=seen
        )

    def rig(self, name: str) -> RigRecord:
        """Return a rig's newest entry; an empty one when the ledger does not know it."""
        row = self.book.rig(name)
        return parse_rig(name, row["content"]) if row else RigRecord()

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
        source = (
            recording
            if isinstance(recording, Recording)
            else open_recording(recording, format=format)
        )
        rig, operator = rig or source.rig, operator or source.operator
        model = fed_by_rig(self.book, self.model(piece["model"]), rig)
        made = self.book.cuts(piece["id"], "made")
        past = past_runs(self.book, piece["id"])
        number = len(past) + 1
        evidence = gather(
            self.book,
            piece["id"],
            model,
            source,
            past,
            made,
            rig=rig,
            serviced_at=self.rig(rig).serviced_at if rig else "",
            operator=operator,
            find=self.model,
        )
        advice, now = advise_on(evidence, number, made)
        entry = self._archived(source, evidence, operator=operator, rig=rig)
        entry |= {"number": number}
        entry["result"] |= {"advice": advice_json(advice, model.rotation)}
        asked = [{"piece_id": piece["id"], "after_run": number, **asdict(c)} for c in advice.cuts]
        self.book.add_run(entry, asked, learnt_from(evidence, now, past, made, entry))
        return SpinResult(
            run=entry["id"],
            number=number,
            serial=serial,
            curves=evidence.read.curves,
            findings=tuple(evidence.findings),
            judgement=evidence.judgement,
            advice=advice,
            rotation=model.rotation,
            notes=tuple(entry["result"]["notes"]),
        )

    def _archived(
        self, source: Recording, evidence: Evidence, *, operator: str, rig: str
    ) -> dict[str, Any]:
        """Write the recording to the archive; return the run's entry without its number and advice."""
        at, run_id = now_utc(), new_id()
        path = self.book.archive.place(run_id, at)
        notes = [*source.notes, *write_flac(source, path)]
        judgement = evidence.judgement
        return {
            "id": run_id,
            "at": at,
            "by": operator,
            "piece_id": evidence.piece_id,
            "recorded_at": source.recorded_at,
            "rig": rig,
            "recording": self.book.archive.name_of(path),
            "recording_sha256": digest_of(path),
            "conditions": frozen_conditions(self.book, source, evidence.model, rig),
            "verdict": judgement.verdict if judgement else "undecided",
            "worst_ratio": judgement.worst.ratio if judgement else None,
            "result": {
                **judgement_json(judgement, evidence.findings),
                "heard": asdict(heard) if (heard := evidence.read.heard) else None,
                "findings": [finding_json(f) for f in evidence.findings],
                "notes": notes,
                "pickup": evidence.read.pickup,
            },
            "curves": pack_curves(evidence.read.curves),
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
        once: bool = False,
    ) -> Row:
        """Record a cut really made, by one of mass, depth or unbalance; the others follow.

        Parameters
        ----------
        angle_deg : float
            On the rotor from the mark, against rotation, seen from the nut.
        replaces : str, optional
            Identifier of an earlier entry that this one amends; `why` is then needed.
        once : bool
            Record it only when no cut stands in that plane since the last run; else ``cut`` is empty.

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
        amended = self._amended(made, replaces)
        body = found.as_plane()
        offset = body.corner_offset_deg(angle)
        if depth_mm is not None:
            depth = positive("depth", depth_mm)
        elif unbalance_gmm is not None:
            depth = body.cutter.depth_for(positive("unbalance", unbalance_gmm), offset)
        else:
            depth = body.cutter.depth_for_mass(positive("mass", mass_mg), offset)
        removed = body.cutter.removed(depth, offset)
        after_run = amended["after_run"] if amended else self.book.run_count(piece["id"])
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
        cut_id = self.book.add_cut(entry, once=once)
        used = sum(c["mass_mg"] for c in made if c["plane"] == found.name and c["id"] != replaces)
        left = body.budget_mg - used - entry["mass_mg"]
        return {"cut": cut_id, "serial": serial, **entry, "left_mg": left}

    def ground_as_advised(self, serial: str, *, by: str = "") -> None:
        """Record the last advice's cuts as made; said twice, it is still one cut in each plane.

        Raises
        ------
        BadInput
            There is nothing advised.
        """
        story = self.story(serial)
        advice = story["runs"][-1]["advice"] if story["runs"] else {"cuts": []}
        advised = advice["cuts"] or advice.get("one_more", [])
        if not advised:
            raise BadInput("No cut is advised.", remedy="Spin first.")
        for cut in advised:
            where = (serial, cut["plane"], cut["angle_deg"])
            self.ground(*where, depth_mm=cut["depth_mm"], by=by, once=True)

    def unground(self, serial: str, cut_id: str, *, why: str, by: str = "") -> None:
        """Amend a cut that was written down but never made; the entry stays in the ledger.

        Raises
        ------
        BadInput
            No such cut, or no reason.
        """
        piece = self.piece(serial)
        if not why.strip():
            raise BadInput("An amendment needs a reason.", remedy="Say why.")
        amended = self._amended(self.book.cuts(piece["id"], "made"), cut_id)
        assert amended is not None
        kept = ("piece_id", "after_run", "plane", "angle_deg")
        nothing = {"unbalance_gmm": 0.0, "mass_mg": 0.0, "depth_mm": 0.0}
        entry = {k: amended[k] for k in kept} | nothing
        self.book.add_cut(entry | {"by": by, "replaces": cut_id, "why": why.strip()})

    @staticmethod
    def _amended(made: list[Row], cut_id: str | None) -> Row | None:
        """Return the cut to amend, if one is named."""
        if cut_id is None:
            return None
        found = next((c for c in made if c["id"] == cut_id), None)
        if found is None:
            raise BadInput(f"There is no cut {cut_id} to amend.", remedy="Look it up with show.")
        return found

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
