"""Labels: the serial as a QR code that any scanner types, for a label printer or on A4."""

from __future__ import annotations

import io
from importlib.resources import as_file, files

from ..quantities.errors import BadInput, need

SIZES_MM = {"29x62": (62.0, 29.0), "36x89": (89.0, 36.0), "a4": (210.0, 297.0)}
"""Label sizes, width and height; on A4, three columns of eight."""


def label_pdf(labels: list[tuple[str, str, str]], *, size: str = "29x62") -> bytes:
    """Return labels as PDF: one a page, or 24 on each A4 page.

    Parameters
    ----------
    labels : list of (serial, model, line)
        What a scanner reads is the serial alone.
    size : str
        A name of `SIZES_MM`.
    """
    import json

    need("typst", "sheets", "Sheets and labels")
    import segno
    import typst

    if size not in SIZES_MM:
        raise BadInput(f"label size is {size!r}.", remedy="Known: " + ", ".join(SIZES_MM) + ".")
    if not labels:
        raise BadInput("There is no label to print.", remedy="Name at least one piece.")
    rows = []
    for serial, model, line in labels:
        out = io.BytesIO()
        segno.make(serial, error="m", micro=False).save(out, kind="svg", border=2, xmldecl=False)
        rows.append({"serial": serial, "model": model, "line": line, "qr": out.getvalue().decode()})
    width, height = SIZES_MM[size]
    inputs = {
        "data": json.dumps(rows),
        "width": f"{width}",
        "height": f"{height}",
        "sheet": "yes" if size == "a4" else "no",
    }
    with as_file(files(__package__) / "label.typ") as template:
        return typst.compile(str(template), format="pdf", sys_inputs=inputs)
