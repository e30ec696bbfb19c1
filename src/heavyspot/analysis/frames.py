"""Columns with their units, handed to whatever table library is installed."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from html import escape
from importlib import import_module
from typing import TYPE_CHECKING, Any

import numpy as np

from ..quantities.arrays import Array
from ..quantities.errors import NotInstalled

if TYPE_CHECKING:
    import pandas
    import polars
    import pyarrow
    import xarray

SHOWN = 12
"""Rows that are shown of a long table."""

UNITS = {
    "speed_rpm": "rpm", "time_s": "s", "amplitude_g": "g", "angle_deg": "deg", "noise_g": "g", "overall_g": "g",
    "twice_g": "g", "thrice_g": "g", "half_g": "g", "limit_g": "g", "worst_speed_rpm": "rpm",
}  # fmt: skip
"""Column to unit, as metadata of the frames."""


class Framed(ABC):
    """Something that is columns; one line for each point, run or piece."""

    @abstractmethod
    def columns(self) -> Mapping[str, Array]:
        """Return the columns, name to values of one length; a name ends in its unit."""

    _index: str = ""
    """Column that the others stand against; empty: their order."""

    def to_arrow(self) -> pyarrow.Table:
        """Return a `pyarrow.Table`; each field's metadata names its unit.

        Raises
        ------
        NotInstalled
            pyarrow is not there (``heavyspot[arrow]``).
        """
        arrow = library("pyarrow", "arrow")
        made = {n: arrow.array(_plain(v), from_pandas=True) for n, v in self.columns().items()}
        fields = [
            arrow.field(n, v.type, metadata={"unit": UNITS[n]} if n in UNITS else None)
            for n, v in made.items()
        ]
        return arrow.Table.from_arrays(list(made.values()), schema=arrow.schema(fields))

    def to_pandas(self) -> pandas.DataFrame:
        """Return a `pandas.DataFrame`; ``attrs["units"]`` names the units.

        Raises
        ------
        NotInstalled
            pandas is not there (``heavyspot[pandas]``).
        """
        made = library("pandas", "pandas").DataFrame(
            {n: _plain(v) for n, v in self.columns().items()}
        )
        made.attrs["units"] = {n: UNITS[n] for n in made.columns if n in UNITS}
        return made

    def to_polars(self) -> polars.DataFrame:
        """Return a `polars.DataFrame`.

        Raises
        ------
        NotInstalled
            polars is not there (``heavyspot[polars]``).
        """
        frames = library("polars", "polars")
        columns = {
            n: list(_plain(v)) if v.dtype == object else v for n, v in self.columns().items()
        }
        return frames.DataFrame(columns)

    def to_xarray(self) -> xarray.Dataset:
        """Return an `xarray.Dataset` along the speed, or the line; each variable's ``attrs`` name its unit.

        Raises
        ------
        NotInstalled
            xarray is not there (``heavyspot[xarray]``).
        """
        arrays = library("xarray", "xarray")
        along = self._index or "line"
        values = {n: v for n, v in self.columns().items() if n != self._index}
        made = arrays.Dataset({n: (along, v) for n, v in values.items()})
        if self._index:
            made = made.assign_coords({along: self.columns()[self._index]})
        for name in made.variables:
            if name in UNITS:
                made[name].attrs["units"] = UNITS[name]
        return made

    def _repr_html_(self) -> str:
        """Return the first lines as a table, for a notebook."""
        return table_html(self.columns())


def library(name: str, extra: str) -> Any:
    """Return a library that is no part of ours; raises `NotInstalled` where it is not there."""
    try:
        return import_module(name)
    except ImportError:
        raise NotInstalled(
            f"{name.partition('.')[0]} is not installed.",
            remedy=f'Install it: pip install "heavyspot[{extra}]".',
        ) from None


def table_html(columns: Mapping[str, Array]) -> str:
    """Return columns as an HTML table, whatever stands in them as text."""
    count = max((len(v) for v in columns.values()), default=0)
    head = "".join(f"<th>{escape(n)}</th>" for n in columns)
    rows = [
        "<tr>" + "".join(f"<td>{escape(_shown(v[i]))}</td>" for v in columns.values()) + "</tr>"
        for i in range(min(count, SHOWN))
    ]
    more = f"<p>{count - SHOWN:,} more</p>" if count > SHOWN else ""
    return f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>{more}"


def _shown(value: object) -> str:
    if value is None or (isinstance(value, float) and np.isnan(value)):
        return "–"
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def _plain(values: Array) -> Any:
    return values if values.dtype != object else values.tolist()
