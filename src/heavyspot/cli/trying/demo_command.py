"""``heavyspot demo``: its options; what it does is imported when asked."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def demo(
    folder: Annotated[Path, typer.Option("--folder", help="Where to leave what it makes.")] = Path(
        "demo"
    ),
    seed: Annotated[int, typer.Option("--seed", help="Which cartridge.")] = 7,
    size: Annotated[str, typer.Option("--size", help="Size of cartridge.")] = "Larch 52",
    fast: Annotated[bool, typer.Option("--fast", help="Without pauses for the reader.")] = False,
) -> None:
    """Balance a simulated cartridge from out of limit to its sheet, before your eyes."""
    from .demo import run_demo

    run_demo(folder, seed=seed, size=size, fast=fast)
