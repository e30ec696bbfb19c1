"""``heavyspot verify`` and ``reindex``: is the ledger whole, is a sheet genuine?"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ...quantities.clock import utc_minute
from ...quantities.errors import UnreadableFile
from ..common import Json, Settings, emit, open_workshop, progress_bar, say

if TYPE_CHECKING:
    from ...workshop.keep.marks import Mark
    from ...workshop.shop import Workshop


def verify(
    sheet: Annotated[
        Path | None, typer.Argument(help="A sheet (PDF); the whole ledger when not given.")
    ] = None,
    fingerprint: Annotated[
        str,
        typer.Option(
            "--fingerprint", help="SHA-256 of the shop's certificate, as the shop tells it."
        ),
    ] = "",
    recordings: Annotated[
        bool, typer.Option("--recordings", help="Read every recording too, and compare its digest.")
    ] = False,
    head: Annotated[
        list[Path] | None,
        typer.Option(
            "--head", help="A backup's folder, or a file of signed heads: is the end cut off?"
        ),
    ] = None,
    house: Annotated[
        bool,
        typer.Option("--house", help="At a station: ask the main house for the heads it keeps."),
    ] = False,
    proof: Annotated[
        Path | None, typer.Option("--proof", help="Of a sheet, as heavyspot prove writes it.")
    ] = None,
    anew: Annotated[
        bool,
        typer.Option("--anew", help="Read all, though an earlier run was stopped on its way."),
    ] = False,
    json: Json = False,
) -> None:
    """Tell whether the ledger is as it was written, or whether a sheet is genuine; 1 when not.

    One that was stopped goes on where it came to, and says what was read when.
    """
    if sheet:
        told, lines = _sheet(sheet, fingerprint, proof)
    else:
        with open_workshop() as shop:
            told, lines = _ledger(shop, recordings, json, head or [], house, anew)
    if json:
        emit(told)
    else:
        typer.echo("\n".join(lines))
    if not told["good"]:
        raise typer.Exit(1)


def _sheet(path: Path, fingerprint: str, proof: Path | None) -> tuple[dict[str, object], list[str]]:
    from ...workshop.sheets.verify import verify_sheet

    try:
        pdf = path.read_bytes()
    except OSError as fault:
        raise UnreadableFile(
            f"{path} cannot be read ({fault.strerror}).", remedy="Check the name of the file."
        ) from None
    # on another computer there is no ledger, and none must be made
    here = any((Settings.data / name).exists() for name in ("ledger.sqlite", "shop.toml"))
    shop = open_workshop() if here else None
    found = verify_sheet(pdf, shop=shop, known_fingerprint=fingerprint)
    told = {
        "answer": found.answer,
        "text": found.text,
        "good": found.answer in ("genuine", "signed"),
        "signed_by": found.check.signed_by,
        "signed_at": found.check.signed_at,
        "fingerprint": found.check.fingerprint,
        "sheet": {k: found.check.data.get(k) for k in ("number", "serial", "verdict", "shop")},
    }
    lines = [f"{found.answer.upper()}: {found.text}"]
    if found.check.fingerprint:
        lines.append(f"  certificate {found.check.fingerprint}")
    if proof is not None:
        from ...workshop.sheets.proof import check_proof, proof_from

        shown = check_proof(found.check, proof_from(_text_of(proof)))
        told |= {"proof": asdict(shown), "good": bool(told.get("good")) and shown.good}
        lines.append(f"  {shown.text}")
    return told, lines


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        raise UnreadableFile(
            f"{path} cannot be read.", remedy="Check the name of the file."
        ) from None


def prove(
    number: Annotated[str, typer.Argument(help="Number of the sheet.")],
    to: Annotated[Path, typer.Option("-o", "--to", help="JSON file to write.")],
    json: Json = False,
) -> None:
    """Write the proof that a sheet stands in the ledger: who has the sheet checks it without the ledger."""
    from ...quantities.durable import write_text
    from ...workshop.sheets.proof import prove_sheet

    made = prove_sheet(open_workshop(), number)
    write_text(to, made.as_text())
    entry, of = made.inclusion.number, made.inclusion.size
    told = {"sheet": number, "file": str(to), "entry": entry, "of": of}
    say(told, f"Written to {to}: entry {entry:,} of {of:,}.", json)


def head(
    to: Annotated[
        Path | None, typer.Option("-o", "--to", help="File of heads to add it to, on another disk.")
    ] = None,
    json: Json = False,
) -> None:
    """Sign the ledger's newest link, time stamped where there is a service: kept elsewhere it shows a cut end."""
    from ...workshop.heads import add_to_file, new_head

    made, fault = new_head(open_workshop())
    if to is not None:
        add_to_file(to, made)
    if json:
        emit({**asdict(made), "fault": fault})
        return
    typer.echo(f"{made.number:,} entries, newest link {made.link}\nroot {made.root}")
    typer.echo(fault or ("Time stamped." if made.stamp else "Signed."))


def _ledger(
    shop: Workshop, recordings: bool, json: bool, heads: list[Path], house: bool, anew: bool
) -> tuple[dict[str, object], list[str]]:
    from ...workshop.heads import HeadFault, SignedHead, read_heads
    from ...workshop.keep.ledger_state import (
        Broken,
        branches_of,
        check_ends,
        check_index,
        check_ledger,
        clock_backs,
        newest_link,
    )
    from ...workshop.keep.marks import Marks
    from ...workshop.keep.retention import DamagedFile, check_recordings

    elsewhere: list[SignedHead] = [h for path in heads for h in read_heads(path)]
    if house:
        from ...workshop.station.heads import asked_back
        from ..station import line

        elsewhere += asked_back(shop, line())
    number, head = newest_link(shop)  # what is written while this reads, is not said to be read
    marks, parts = Marks(shop.folder, anew=anew, tell=_going_on), ["chain", "index"]
    with progress_bar(json) as show, _says_where_it_goes_on():
        with marks.trail("chain") as trail:
            broken: list[Broken | DamagedFile | HeadFault] = list(
                check_ledger(shop, partial(show, "reading the chain"), trail)
            )
        broken += check_ends(shop, elsewhere)
        with marks.trail("index") as trail:
            broken += check_index(shop, partial(show, "comparing the index"), trail)
        if recordings:
            parts.append("recordings")
            with marks.trail("recordings") as trail:
                broken += check_recordings(shop, partial(show, "reading recordings"), trail)
    marks.end(*parts)
    whole = f"The ledger is as it was written: {number:,} entries, newest link {head}."
    if marks.earlier:
        whole = f"Nothing wrong was found in {number:,} entries, newest link {head}, but not all was read now."
    lines = [f"✗ {b.words()}" for b in broken] or [whole]
    lines += [_not_now(part, mark) for part, mark in marks.earlier.items()]
    gone_on = branches_of(shop)
    lines += [
        f"Restored from a backup on {b.at[:10]}: branch {b.name}, from link {b.from_number:,} on."
        for b in gone_on
    ]
    went_back = clock_backs(shop)
    lines += [b.words() for b in went_back]
    told = [
        {"kind": b.kind, "table": b.table, "entry": b.entry_id, "link": b.number, "text": b.words()}
        for b in broken
    ]
    branches = [{"name": b.name, "at": b.at, "from": b.from_number} for b in gone_on]
    found = {"good": not broken, "entries": number, "head": head, "broken": told}
    earlier = {part: asdict(mark) for part, mark in marks.earlier.items()}
    found |= {"read_earlier": earlier}
    return {**found, "branches": branches, "clock_went_back": [asdict(b) for b in went_back]}, lines


@contextmanager
def _says_where_it_goes_on() -> Iterator[None]:
    try:
        yield
    except KeyboardInterrupt:
        typer.echo(
            "Where it came to is kept: heavyspot verify goes on there, with --anew it reads all.",
            err=True,
        )
        raise


OF_PART = {"chain": "entries", "index": "lines of the index", "recordings": "files"}


def _going_on(part: str, mark: Mark | None) -> None:
    """Say, beside the answer, where a part of the check begins; --json has its own words for it."""
    if mark is None:
        words = f"{OF_PART[part]}: not those of the run that was stopped; all are read."
    else:
        words = f"Going on from {OF_PART[part]} {mark.number + 1:,}; --anew reads all."
    typer.echo(words[0].upper() + words[1:], err=True)


def _not_now(part: str, mark: Mark) -> str:
    return (
        f"  {OF_PART[part]} 1 to {mark.number:,} were read from {utc_minute(mark.began)} to {utc_minute(mark.at)} "
        "UTC, before it was stopped, and not again: --anew reads all."
    )


def reindex(json: Json = False) -> None:
    """Make the index of pieces anew from the entries, where verify says that it is wrong."""
    from ...workshop.keep.ledger_state import reindex as make_anew

    wrong = make_anew(open_workshop())
    if json:
        emit({"lines": wrong})
    else:
        typer.echo(f"{wrong:,} lines of the index were wrong and are made anew.")
