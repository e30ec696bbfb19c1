"""JSON of an entry, read back as the value it was written from."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from ..quantities.errors import LedgerFault

T = TypeVar("T")


def stored(kind: type[T], content: Mapping[str, Any], *, what: str) -> T:
    """Return an entry's JSON as a value.

    Parameters
    ----------
    kind : type
        A frozen dataclass; keys it does not name are left out.
    what : str
        Of what it is, for the message: ``run 3 of L52-0001``.

    Raises
    ------
    LedgerFault
        A key is missing or cannot be what it should be.
    """
    adapter: TypeAdapter[T] = _adapter(kind)  # type: ignore[arg-type]  # a type is hashable
    try:
        return adapter.validate_python(dict(content))
    except ValidationError as fault:
        first = fault.errors()[0]
        place = ".".join(str(p) for p in first["loc"])
        raise LedgerFault(
            f"{what} cannot be read back: {place}: {first['msg']}.",
            remedy="Let the ledger be verified; restore a backup if it was changed.",
        ) from None


@cache
def _adapter(kind: Any) -> TypeAdapter[Any]:
    return TypeAdapter(kind)
