"""Recordings that come by themselves: uploads that go on where they stopped, and watched folders."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..lazy import lazy_names

if TYPE_CHECKING:
    from .uploads import Upload, Uploads
    from .watched import Look, WatchedFolder, Watchers
else:
    __getattr__ = lazy_names(
        __name__,
        {
            "uploads": ("Upload", "Uploads"),
            "watched": ("Look", "WatchedFolder", "Watchers"),
        },
    )

__all__ = ["Look", "Upload", "Uploads", "WatchedFolder", "Watchers"]
