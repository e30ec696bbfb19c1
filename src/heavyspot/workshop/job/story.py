"""Everything that ever happened to a piece, in the order of time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ..shop import Workshop
from .build_record import Measured


@dataclass(frozen=True)
class Event:
    """One thing that happened.

    Attributes
    ----------
    at, by : str
    kind : str
        written, amended, build, signed, run, cut, sheet, returned, claim, note, reading, corrected, old, parts,
        attached, flow.
    text : str
    number : int
        Of the run or reading; 0 for other kinds.
    verdict : str
    """

    at: str
    by: str
    kind: str
    text: str
    number: int = 0
    verdict: str = ""


def whole_story(shop: Workshop, serial: str) -> list[Event]:
    """Return what happened to a piece, oldest first."""
    piece = shop.piece(serial)
    job = shop.book.job(piece["job_id"]) or {}
    of = f" for {job['customer']}" if job.get("customer") else ""
    invoice = f", invoice {job['invoice']}" if job.get("invoice") else ""
    events = [Event(piece["at"], piece["by"], "written", f"{piece['model']}{of}{invoice}")]
    for of_id, what in ((piece["id"], "piece"), (piece["job_id"], "job")):
        for a in shop.book.amendments(of_id):
            changed = ", ".join(f"{k} → {v or 'nothing'}" for k, v in a["content"].items())
            events.append(Event(a["at"], a["by"], "amended", f"{what}: {changed} ({a['why']})"))
    events += [_happened(r) for r in shop.book.papers.happenings(piece["id"])]
    events += [_from_old_book(r) for r in shop.book.old.of_piece(piece["id"])]
    for r in shop.book.runs(piece["id"]):
        worst = r["result"].get("worst")
        text = (
            f"{worst['amplitude_g']:.2f} g at {worst['speed_rpm']:,.0f} rpm"
            if worst
            else "no curve"
        )
        found = "; ".join(f["text"] for f in r["result"]["findings"] if f["severity"] != "note")
        where = f", {r['rig']}" if r["rig"] else ""
        text += where + (f". {found}" if found else "")
        overruled = r["result"].get("overruled")
        verdict = "undecided" if overruled else r["verdict"]
        events.append(Event(r["at"], r["by"], "run", text, r["number"], verdict))
        if overruled:
            text = f"{overruled['why']} (against: {overruled['finding']})"
            events.append(
                Event(
                    overruled["at"], overruled["by"], "overruled", text, r["number"], r["verdict"]
                )
            )
    for c in shop.book.cuts(piece["id"], "made"):
        text = (
            f"{c['plane']}, {c['depth_mm']:.2f} mm at {c['angle_deg']:.0f}°, {c['mass_mg']:.0f} mg"
        )
        why = f" ({c['why']})" if c["why"] else ""
        events.append(Event(c["at"], c["by"], "cut", text + why))
    for r in shop.book.rotors.runs(piece["id"]):
        ratios = ", ".join(
            f"{p['name']} {p['ratio']:.2f} of its limit" for p in r["content"]["tolerance"]
        )
        events.append(Event(r["at"], r["by"], "reading", ratios, r["number"], r["verdict"]))
    for c in shop.book.rotors.corrections(piece["id"]):
        what = c["content"]
        way = "off" if what["way"] == "remove" else "added"
        text = f"{what['plane']}, {what['amount_gmm']:.3g} g·mm {way} at {what['angle_deg']:.0f}°"
        events.append(Event(c["at"], c["by"], "corrected", text))
    for n, t in enumerate(shop.book.flow.of_piece(piece["id"]), start=1):
        told = [
            f"{w['name']} {w['corrected']:.4g} kg/s"
            for w in t["content"]["windows"]
            if w["corrected"] is not None
        ]
        with_ = t["content"]["housings"]
        text = ", ".join([*told, *([f"with {with_}"] if with_ else []), t["rig"]])
        events.append(Event(t["at"], t["by"], "flow", text, n, t["verdict"]))
    for s in shop.book.papers.sheets_of(piece["id"]):
        what = "run" if s["run_number"] >= 0 else "flow test"
        text = f"{s['number']}, of {what} {abs(s['run_number'])}"
        events.append(Event(s["at"], s["by"], "sheet", text))
    return sorted(events, key=lambda e: e.at)


def _happened(r: dict[str, Any]) -> Event:
    content = r["content"]
    if r["kind"] == "build":
        measured = [
            Measured(m["name"], m["value"], m["low"], m["high"]) for m in content["measured"]
        ]
        text = "; ".join(("" if m.inside else "✗ ") + m.words() for m in measured)
        text += f"; nut {content['nut_torque_nm']:g} Nm" if "nut_torque_nm" in content else ""
        text += f"; gauge {content['gauge']}" if content["gauge"] else ""
        return Event(r["at"], r["by"], "build", text)
    if r["kind"] == "parts":
        text = "; ".join(
            " ".join(w for w in (p["part"], p["supplier"], p["lot"] and f"lot {p['lot']}") if w)
            for p in content["parts"]
        )
        return Event(r["at"], r["by"], "parts", text)
    if r["kind"] == "attached":
        text = content["file"] + (f": {content['text']}" if content["text"] else "")
        return Event(r["at"], r["by"], "attached", text)
    return Event(r["at"], r["by"], r["kind"], content.get("text") or content.get("why", ""))


def _from_old_book(r: dict[str, Any]) -> Event:
    told = r["content"]
    peaks = [
        told.get(name + "_written")
        or (f"{told[name + '_g']:.2f} g" if told[name + "_g"] is not None else "")
        for name in ("first", "last")
    ]
    said = [
        " → ".join(p for p in peaks if p),
        f"to {told['speed_rpm']:,.0f} rpm" if told["speed_rpm"] else "",
        told["customer"],
        f"invoice {told['invoice']}" if told["invoice"] else "",
        *(told[k] for k in ("rig", "supplier", "note")),
        f"({told['file']}, line {told['line']})",
    ]
    text = ", ".join(w for w in said if w)
    at = told["date"] or r["at"]
    return Event(at, told["operator"] or r["by"], "old", text, verdict=told["verdict"])


def left_and_now(events: list[Event]) -> tuple[int, int] | None:
    """Return the run a piece left with and its newest one, when it came back and was spun again."""
    back = next((i for i, e in reversed(list(enumerate(events))) if e.kind == "returned"), None)
    if back is None:
        return None
    before = [e.number for e in events[:back] if e.kind == "run"]
    after = [e.number for e in events[back:] if e.kind == "run"]
    return (before[-1], after[-1]) if before and after else None
