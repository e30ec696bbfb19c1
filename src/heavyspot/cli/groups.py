"""The commands under headings, in the order a shop's day has them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from typing import Protocol

from typer.core import TyperGroup


class Formatter(Protocol):
    """What help is written with; whose class it is differs between the library's versions."""

    width: int

    def section(self, name: str) -> AbstractContextManager[None]:
        """Write a heading, and what follows under it."""

    def write_dl(self, rows: Sequence[tuple[str, str]]) -> None:
        """Write names and what they mean."""


HEADINGS: Mapping[str, tuple[str, ...]] = {
    "A cartridge on the rig":
        ("spin", "curve", "ground", "looked", "overrule", "show", "sheet", "label", "reissue"),
    "What it is told of": ("model", "piece", "rig", "bring"),
    "Recordings": ("read", "convert", "watch", "reread", "recordings", "devices"),
    "Loose rotors and flow": ("rotor", "machine", "flow"),
    "In the browser, and other places": ("serve", "service", "agent", "station", "user", "hook"),
    "The record kept": ("backup", "restore", "verify", "prove", "head", "reindex", "move", "upgrade", "private"),
    "To try it": ("demo", "simulate", "examples"),
}  # fmt: skip


class Grouped(TyperGroup):
    """A group whose help has its commands under `HEADINGS`; what stands under none comes last."""

    def list_commands(self, ctx: object) -> list[str]:
        """Return the names in the order of the headings."""
        known = [n for names in HEADINGS.values() for n in names if n in self.commands]
        return [*known, *[n for n in self.commands if n not in known]]

    def format_commands(self, ctx: object, formatter: Formatter) -> None:
        """Write the commands, heading by heading."""
        left = self.list_commands(ctx)
        for heading, names in {**HEADINGS, "More": tuple(left)}.items():
            rows = [n for n in names if n in left and not self.commands[n].hidden]
            left = [n for n in left if n not in names]
            if rows:
                width = formatter.width - 6 - max(map(len, self.commands))
                with formatter.section(heading):
                    formatter.write_dl(
                        [(n, self.commands[n].get_short_help_str(width)) for n in rows]
                    )
