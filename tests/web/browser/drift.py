"""Screenshots kept small, and how far a new one has drifted from the one that is kept.

Told at the end of a run, never failed: letters differ between machines, and dates between days. A state whose look
was changed on purpose is kept anew with ``--keep-pictures``.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

KEPT = Path(__file__).parent / "kept"
TOLD = Path(__file__).parents[3] / "pictures" / "drift"

WIDE = 160
BLOCK = 8
"""Of the small picture: a word is about as large."""

STEP = 20.0
"""A block whose mean grey differs by more than this of 255 has changed."""

SHARE = 0.06
"""Share of changed blocks that is worth a word."""


class Keeping:
    """Whether screenshots are kept anew in this run (``--keep-pictures``)."""

    pictures = False


@dataclass(frozen=True)
class Drift:
    """How a state's picture stands beside the kept one."""

    name: str
    share: float
    why: str = ""

    @property
    def told(self) -> bool:
        """Whether it is worth a word."""
        return bool(self.why) or self.share > SHARE


def small(shot: bytes) -> Image.Image:
    """Return a screenshot in grey, narrow."""
    image = Image.open(io.BytesIO(shot)).convert("L")
    return image.resize((WIDE, round(image.height * WIDE / image.width)), Image.Resampling.BOX)


def compare(name: str, now: Image.Image, kept: Image.Image) -> Drift:
    """Return how far a picture has drifted."""
    if now.width != kept.width or abs(now.height - kept.height) > BLOCK:
        return Drift(name, 1.0, f"{kept.width}x{kept.height} is {now.width}x{now.height} now")
    high = min(now.height, kept.height) // BLOCK * BLOCK
    a, b = (
        np.asarray(i, float)[:high].reshape(high // BLOCK, BLOCK, -1, BLOCK) for i in (now, kept)
    )
    changed = np.abs(a.mean(axis=(1, 3)) - b.mean(axis=(1, 3))) > STEP
    return Drift(name, float(changed.mean()))


def look_at(
    name: str, shot: bytes, *, keep: bool, kept: Path = KEPT, told: Path = TOLD
) -> Drift | None:
    """Compare a screenshot with the one that is kept, or keep it; what drifted is written down to be told."""
    now, path = small(shot), kept / f"{name}.png"
    if keep:
        kept.mkdir(exist_ok=True)
        now.save(path, optimize=True)
        return None
    drift = Drift(name, 1.0, "none is kept")
    if path.exists():
        with Image.open(path) as before:
            drift = compare(name, now, before)
    (told / f"{name}.txt").unlink(missing_ok=True)
    if drift.told:
        told.mkdir(parents=True, exist_ok=True)
        words = drift.why or f"{100 * drift.share:.0f} % of it looks otherwise"
        (told / f"{name}.txt").write_text(f"{name}: {words}\n", encoding="utf-8")
    return drift
