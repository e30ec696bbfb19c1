"""What many answers hold."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class Told(BaseModel):
    """Something answered; later programs may add to it, and readers pass over what they do not know."""

    model_config = ConfigDict(extra="allow")


class SaidTold(Told):
    """A sentence as code and values, for a program or another language."""

    code: str = Field(examples=["verdict.clear"])
    values: dict[str, object] = Field(default_factory=dict)


class SheetTold(Told):
    """A sheet that was issued."""

    number: str = Field(examples=["2026-00012"])
    digest: str
    path: str
    verdict: str


class Named(Told):
    """Which one it was."""

    name: str


def told(
    model: type | object, status: int = 200, *further: int
) -> dict[int | str, dict[str, object]]:
    """Return what a call answers, for its `responses`; `further` statuses answer the same."""
    return {s: {"model": model} for s in (status, *further)}


def file_told(kind: str) -> dict[int | str, dict[str, object]]:
    """Return that a call answers a file of a kind."""
    body = {"schema": {"type": "string", "format": "binary"}}
    return {200: {"description": "The file", "content": {kind: body}}}
