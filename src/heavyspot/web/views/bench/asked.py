"""What the bench says and what its buttons do, in each of its states."""

from __future__ import annotations

from dataclasses import dataclass, field

from ....quantities.said import Said


@dataclass(frozen=True)
class Press:
    """A button.

    Attributes
    ----------
    words, small : Said
        On it, and below that in small.
    verb : str
        What is posted to the piece's bench; empty for a link.
    place : str
        Where a link leads; it starts with a slash.
    hold : bool
        It has to be held for a second: it begins a spin.
    form : str
        Id of a form that stands elsewhere on the page and is sent by it.
    fields : tuple of (str, str)
        Sent along.
    over : bool
        Its time is over: not shown, but its place is kept, so that nothing moves under a finger.
    whole : bool
        The whole page is loaded anew.
    download : bool
        What it posts gives a file.
    """

    words: Said
    small: Said | None = None
    verb: str = ""
    place: str = ""
    hold: bool = False
    form: str = ""
    fields: tuple[tuple[str, str], ...] = ()
    whole: bool = False
    download: bool = False
    over: bool = False


@dataclass(frozen=True)
class Asked:
    """A state of the bench: the sentence, what the pedal does, and what else can be done.

    Attributes
    ----------
    lines : tuple of Said
        The sentence; several are numbered orders.
    sub : tuple of Said
        At most two short ones below it.
    warn : Said or None
        The worst that may come of it, with a sign.
    pedal : Press or None
        What the pedal does; None where nothing is safe for it to do.
    off : Said or None
        Why it does nothing, on the dead button.
    tell : (Said, Said) or None
        What to do instead of pressing, where the answer is among the pictures.
    now : Said or None
        The end of the ledger line.
    size : str
        ``one``: short enough for the largest letters; ``long``: for the smallest; else empty.
    """

    lines: tuple[Said, ...]
    sub: tuple[Said, ...] = ()
    warn: Said | None = None
    pedal: Press | None = None
    off: Said | None = None
    tell: tuple[Said, Said] | None = None
    others: tuple[Press, ...] = ()
    now: Said | None = None
    size: str = field(default="")
