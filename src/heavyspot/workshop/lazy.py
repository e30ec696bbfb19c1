"""A package's names, imported when they are first asked for.

So a room can name all it offers, and yet a command that needs one of its names loads only that one's module.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from importlib import import_module
from typing import Any


def lazy_names(package: str, homes: Mapping[str, Sequence[str]]) -> Callable[[str], Any]:
    """Return a package's ``__getattr__``.

    Parameters
    ----------
    package : str
        Its ``__name__``.
    homes : dict of module -> names
        Which module of the package each name lives in.
    """
    home_of = {name: module for module, names in homes.items() for name in names}

    def find(name: str) -> Any:
        if name not in home_of:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        return getattr(import_module(f".{home_of[name]}", package), name)

    return find
