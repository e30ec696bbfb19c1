"""LVM, the text of a measurement with a header for the file and one for each segment.

The headers are read through lvm_read; the numbers below them like any other text in columns, so that a
damaged line is named and not made a gap. (Its own `read` is not used: it would open a pickle that lies
beside the file, and a pickle can run anything.)
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from ...quantities.errors import UnreadableFile
from ..readers import described, guessed_channel
from ..recording import Channel, Recording
from ..sidecar import TIME_UNITS, Sidecar
from .text_layout import encoding_of
from .text_numbers import TextRows
from .time_base import TimeBase, snapped_rate

_HEAD = "Channels"
_BEGIN = "X_Value"


class LvmReader:
    """Reads one segment; which of several is asked for."""

    name = "lvm"
    suffixes = (".lvm",)

    def recognise(self, head: bytes, name: str) -> bool:
        """The first line is fixed."""
        return head.removeprefix(b"\xef\xbb\xbf").startswith(b"LabVIEW Measurement")

    def read(self, path: Path, sidecar: Sidecar | None) -> Recording:
        """Return the recording; the rate is what Delta_X says."""
        encoding = encoding_of(path)
        segment = _chosen(list(_segments(path, encoding)), sidecar, path.name)
        rate, notes = _rate(segment, sidecar, path.name)
        rows = TextRows(
            path=path,
            encoding=encoding,
            separator=segment.separator,
            decimal_comma=segment.decimal_comma,
            first_row=segment.first_row,
            width=len(segment.taken),
            taken=segment.taken,
            time=TimeBase(rate),
            rows=segment.rows,
            only_taken=True,
        )
        recording = Recording(
            channels=segment.channels,
            sample_rate_hz=rate,
            n_samples=max(segment.promised, segment.rows),
            opener=rows,
            notes=notes,
            path=path,
        )
        return described(recording, sidecar, rate_may_differ=True, units_said=True)


@dataclass(frozen=True)
class _Found:
    """Where a segment stands: its header's lines, its first row of numbers, and how many."""

    head: tuple[str, ...]
    first_row: int
    rows: int


@dataclass(frozen=True)
class _Segment:
    """One stretch of samples below its header.

    Attributes
    ----------
    taken : tuple of int
        Columns that are channels.
    step_s : float
        Delta_X in seconds; 0 where it is none or the channels differ.
    promised : int
        Samples in each channel, as the header says; 0 where the channels differ.
    """

    first_row: int
    rows: int
    separator: str
    decimal_comma: bool
    taken: tuple[int, ...]
    channels: tuple[Channel, ...]
    step_s: float
    promised: int


def _segments(path: Path, encoding: str) -> Iterator[_Segment]:
    """Yield the segments; raises `UnreadableFile` when there is none or a header makes no sense."""
    import lvm_read

    file_head: list[str] = []
    places = list(_places(path, encoding, file_head))
    if not places:
        raise UnreadableFile(
            f"{path.name} has no line {_BEGIN}: no samples.", remedy="Export the recording again."
        )
    separator = next((s.rstrip("\r\n")[9:10] for s in file_head if s.startswith("Separator")), "\t")
    for place in places:
        lines = [line for line in file_head if line.strip()]
        try:
            read = lvm_read.read_lines([*lines, "\n", *place.head], separator=separator)
            yield _segment(read, place, separator)
        except (ValueError, KeyError, IndexError, SyntaxError) as fault:
            raise UnreadableFile(
                f"{path.name}: the header above line {place.first_row + 1} is damaged ({fault}).",
                remedy="Export the recording again.",
            ) from None


def _places(path: Path, encoding: str, file_head: list[str]) -> Iterator[_Found]:
    """Yield where segments stand; the lines above the first go to `file_head`."""
    head: list[str] = file_head
    first_row, rows = -1, 0
    with path.open(encoding=encoding, errors="replace") as file:
        for number, line in enumerate(file):
            if line.startswith(_HEAD):
                if first_row >= 0:
                    yield _Found(tuple(head), first_row, rows)
                head, first_row, rows = [line], -1, 0
            elif first_row < 0:
                head.append(line)
                first_row = number + 1 if line.startswith(_BEGIN) else -1
            else:
                rows += bool(line.strip())
    if first_row >= 0:
        yield _Found(tuple(head), first_row, rows)


def _segment(read: dict[str | int, object], place: _Found, separator: str) -> _Segment:
    said = read[0]
    assert isinstance(said, dict)
    titles = place.head[-1].rstrip("\r\n").split(separator)
    taken = tuple(
        i for i, t in enumerate(titles) if t.strip() and t != "Comment" and not t.startswith(_BEGIN)
    )
    if len(taken) != int(said["Channels"]):
        raise ValueError(f"{said['Channels']} channels promised, {len(taken)} named")
    units = [str(u) for u in said.get("Y_Unit_Label", [])]
    steps = set(_numbers(said.get("Delta_X", []), len(taken)))
    counts = set(_numbers(said.get("Samples", []), len(taken)))
    dimension = next(str(d) for d in said.get("X_Dimension", ["Time"]))
    seconds = TIME_UNITS.get(str([*said.get("X_Unit_Label", []), "s"][0]) or "s", 0.0)
    return _Segment(
        first_row=place.first_row,
        rows=place.rows,
        separator=separator,
        decimal_comma=read.get("Decimal_Separator") == ",",
        taken=taken,
        channels=tuple(
            guessed_channel(titles[i], units[k] if k < len(units) else "")
            for k, i in enumerate(taken)
        ),
        step_s=steps.pop() * seconds if len(steps) == 1 and dimension == "Time" else 0.0,
        promised=int(counts.pop()) if len(counts) == 1 else 0,
    )


def _numbers(values: Sequence[object], count: int) -> list[float]:
    return [float(str(v)) for v in values[:count]]


def _chosen(segments: list[_Segment], sidecar: Sidecar | None, name: str) -> _Segment:
    group = sidecar.group if sidecar else ""
    known = {str(i): s for i, s in enumerate(segments, start=1)}
    if not group and len(segments) == 1:
        return segments[0]
    if group in known:
        return known[group]
    shown = ", ".join(f"{i} ({len(s.taken)} x {s.rows})" for i, s in known.items())
    what = f'no segment "{group}"' if group else f"{len(segments)} segments"
    raise UnreadableFile(
        f"{name} has {what}: {shown}.",
        remedy='Say which with --group, or with "group" in its sidecar.',
    )


def _rate(segment: _Segment, sidecar: Sidecar | None, name: str) -> tuple[float, tuple[str, ...]]:
    if segment.step_s > 0:
        return snapped_rate(1 / segment.step_s)
    if sidecar and sidecar.sample_rate_hz:
        return sidecar.sample_rate_hz, ()
    raise UnreadableFile(
        f"{name} states no one time step for its channels (Delta_X, X_Dimension).",
        remedy="State the samples a second with --rate.",
    )
