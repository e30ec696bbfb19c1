"""Models of cartridges: added, found, told from those of rotors."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ...ledger.records import Model
from ...quantities.errors import BadInput, NotThere
from ...quantities.said import Said
from ...sources.toml_text import parse_toml
from ..shop import Workshop
from .model_file import ModelFile, load_model_file, parse_model


def add_model(
    shop: Workshop,
    source: str | Path | Mapping[str, Any],
    *,
    by: str = "",
    seen: str | None = None,
) -> ModelFile:
    """Add a model from a TOML file or its keys; the same name again is a new version.

    Parameters
    ----------
    seen : str, optional
        Identifier of the version it was made from; empty: there was none.

    Raises
    ------
    UnreadableFile
        A key is missing, unknown or out of range.
    Stale
        Somebody else made a version since `seen`.
    """
    model = (
        parse_model(dict(source), name="the model")
        if isinstance(source, Mapping)
        else load_model_file(source)
    )
    content = model.model_dump(mode="json", exclude_unset=True)
    shop.book.models.add(model.name, content, by=by, seen=seen)
    return model


def add_model_text(shop: Workshop, text: str, *, by: str = "") -> ModelFile:
    """Add a model from the text of a model file; raises `UnreadableFile` as `add_model` does."""
    return add_model(shop, parse_toml(text, name="The model"), by=by)


def find_model(shop: Workshop, name: str) -> ModelFile:
    """Return a cartridge's model by name.

    Raises
    ------
    NotThere
        There is none of that name; those there are are listed.
    BadInput
        It is of another kind.
    """
    entry = model_entry(shop, name)
    if entry.kind != "cartridge":
        raise BadInput(
            Said("refusal.is_of_the_kind_not", {"name": name, "kind": entry.kind}),
            remedy=Said("remedy.go_to_rotors_it_is"),
        )
    return parse_model(dict(entry.content), name=f'model "{name}"')


def has_model(shop: Workshop, name: str) -> bool:
    """Whether a model of any kind is described."""
    return shop.book.models.newest(name) is not None


def model_entry(shop: Workshop, name: str) -> Model:
    """Return the newest version of a model of any kind; raises `NotThere` as `find_model` does."""
    entry = shop.book.models.newest(name)
    if entry is None:
        names = ", ".join(shop.book.models.names()) or "none yet"
        raise NotThere(
            Said("refusal.there_is_no_model", {"name": name}),
            remedy=Said("remedy.models", {"names": names}),
        )
    return entry


def model_kind(shop: Workshop, name: str) -> str:
    """Return what a model is of: ``cartridge`` or ``rotor``; empty when there is no such model."""
    entry = shop.book.models.newest(name)
    return entry.kind if entry else ""


def model_names(shop: Workshop) -> list[str]:
    """Return the names of all cartridges' models."""
    return shop.book.models.names()
