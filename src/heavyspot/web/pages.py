"""The pages, made on the server; every form works without a script."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse
from fastapi.templating import Jinja2Templates

from .._version import __version__
from ..quantities.angles import clock_text
from ..quantities.checks import finite
from ..quantities.errors import HeavyspotError
from ..sheet.issue import issue_sheet
from ..sheet.label import label_of, label_pdf
from ..sheet.plots import dial_svg, path_svg
from ..workshop.curves_view import path_view
from ..workshop.look import find_run
from ..workshop.report import SheetCut
from .api import Shop, TheBench

router = APIRouter(include_in_schema=False)
templates = Jinja2Templates(Path(__file__).parent / "templates")
templates.env.globals["version"] = __version__

Text = Annotated[str, Form()]

FIRST_MODEL = """name = ""
rotation = "clockwise"        # seen from the compressor nut
rated_speed_rpm = 175000
test_speed_rpm = 150000

[[plane]]
name = "nut"
radius_mm = 6.0
max_depth_mm = 0.9
budget_mg = 900
"""


def fault_page(request: Request, fault: HeavyspotError, status: int) -> Response:
    """Return a fault as a page: what is wrong and what to do."""
    return templates.TemplateResponse(request, "fault.html", {"fault": fault}, status_code=status)


@router.get("/")
def home(request: Request, shop: Shop, bench: TheBench) -> Response:
    """The day's pieces, and the box that takes a scan."""
    spinning = bench.capture.about["serial"] if bench.capture else None
    rows = list(reversed(shop.book.pieces()))[:60]
    values = {"pieces": rows, "models": shop.book.model_names(), "spinning": spinning}
    return templates.TemplateResponse(request, "home.html", values)


@router.get("/models")
def models(request: Request, shop: Shop) -> Response:
    """The models, and a form for a new one or a new version."""
    values = {"models": [shop.model(n) for n in shop.book.model_names()], "text": FIRST_MODEL}
    return templates.TemplateResponse(request, "models.html", values)


@router.post("/models")
def add_model(request: Request, shop: Shop, text: Text = "") -> Response:
    """Add a model; a fault stands at the form with all that was typed."""
    try:
        model = shop.add_model_text(text)
    except HeavyspotError as fault:
        known = [shop.model(n) for n in shop.book.model_names()]
        values = {"models": known, "text": text, "fault": fault}
        return templates.TemplateResponse(request, "models.html", values, status_code=422)
    return RedirectResponse(f"/models#{quote(model.name)}", 303)


@router.get("/find")
def find(request: Request, shop: Shop, q: str = "") -> Response:
    """Where a scanned or typed serial leads: its bench, or the form for a new piece."""
    serial = q.strip()
    if serial and shop.book.piece(serial):
        return RedirectResponse(f"/bench/{quote(serial)}", 303)
    values = {"serial": serial, "models": shop.book.model_names()}
    return templates.TemplateResponse(request, "new_piece.html", values)


@router.post("/pieces")
def add_piece(
    request: Request,
    shop: Shop,
    serial: Text = "",
    model: Text = "",
    customer: Text = "",
    invoice: Text = "",
    position: Text = "",
) -> Response:
    """Add a piece and go to its bench; a fault stands at the form with all that was typed."""
    try:
        shop.add_piece(serial, model, customer=customer, invoice=invoice, position=position)
    except HeavyspotError as fault:
        values = {
            "serial": serial, "model": model, "customer": customer, "invoice": invoice,
            "position": position, "models": shop.book.model_names(), "fault": fault,
        }  # fmt: skip
        return templates.TemplateResponse(request, "new_piece.html", values, status_code=422)
    return RedirectResponse(f"/bench/{quote(serial.strip())}", 303)


@router.get("/bench/{serial:path}/panel")
def panel(request: Request, serial: str, shop: Shop, bench: TheBench) -> Response:
    """The question alone, for the page to swap in when a spin has ended."""
    return templates.TemplateResponse(request, "panel.html", _panel_values(serial, shop, bench))


@router.post("/bench/{serial:path}/spin")
def spin(
    serial: str,
    bench: TheBench,
    operator: Text = "",
    oil_temperature_c: Text = "",
    oil_pressure_kpa: Text = "",
) -> Response:
    """Start a spin: the press is the yes to the hazards named on the button."""
    oil = tuple(
        finite(name, _number(text)) if text.strip() else None
        for name, text in (
            ("oil temperature", oil_temperature_c),
            ("oil pressure", oil_pressure_kpa),
        )
    )
    bench.spin(serial, operator=operator, oil=(oil[0], oil[1]))
    return _back(serial)


@router.post("/bench/{serial:path}/stop")
def stop(serial: str, bench: TheBench) -> Response:
    """Stop the spin that runs."""
    bench.stop()
    return _back(serial)


@router.post("/bench/{serial:path}/rescue")
def rescue(serial: str, bench: TheBench, keep: Text = "yes") -> Response:
    """Read, or remove, what an interrupted spin left."""
    bench.rescue(serial, keep=keep == "yes")
    return _back(serial)


@router.post("/bench/{serial:path}/as-advised")
def as_advised(serial: str, shop: Shop) -> Response:
    """Record the advised cuts as made."""
    story = shop.story(serial)
    last = story["runs"][-1]
    advice = last["advice"]
    done = {c["plane"] for c in story["cuts_made"] if c["after_run"] >= last["number"]}
    for cut in advice["cuts"] or advice.get("one_more", []):
        if cut["plane"] not in done:  # pressed twice is still one cut
            shop.ground(serial, cut["plane"], cut["angle_deg"], depth_mm=cut["depth_mm"])
    return _back(serial)


@router.post("/bench/{serial:path}/ground")
def ground(
    serial: str,
    shop: Shop,
    plane: Text = "",
    angle_deg: Text = "",
    depth_mm: Text = "",
) -> Response:
    """Record a cut that was made differently."""
    shop.ground(serial, plane, _number(angle_deg), depth_mm=_number(depth_mm))
    return _back(serial)


@router.get("/look/{number}/{serial:path}")
def look_closer(
    request: Request, serial: str, number: int, shop: Shop, beside: int | None = None
) -> Response:
    """A closer look at one run, beside another if asked."""
    row, curves = find_run(shop, serial, number)
    story = shop.story(serial)
    values = {
        "serial": serial,
        "number": number,
        "beside": beside,
        "others": [r["number"] for r in story["runs"] if r["number"] != number],
        "result": row["result"],
        "speeds": [round(float(curves[0].speed_rpm[0])), round(float(curves[0].speed_rpm[-1]))]
        if curves
        else [0, 0],
        "worst": row["result"]["worst"],
        "limit_g": min(shop.model(story["model"]).house_limit().limit_g),
    }
    return templates.TemplateResponse(request, "look.html", values)


@router.get("/bench/{serial:path}/sheet.pdf")
def sheet(serial: str, shop: Shop) -> Response:
    """Issue the customer's sheet."""
    folder = shop.book.folder / "sheets"
    folder.mkdir(exist_ok=True)
    made = issue_sheet(shop, serial, folder / "last.pdf")
    pdf = (folder / "last.pdf").read_bytes()
    name = f"sheet-{made['number']}.pdf"
    return Response(
        pdf,
        media_type="application/pdf",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


@router.get("/bench/{serial:path}/label.pdf")
def label(serial: str, shop: Shop, size: str = "29x62") -> Response:
    """Make a label with the serial as a QR code."""
    pdf = label_pdf([label_of(shop.piece(serial))], size=size)
    return Response(
        pdf,
        media_type="application/pdf",
        headers={"Content-Disposition": 'attachment; filename="label.pdf"'},
    )


@router.get("/bench/{serial:path}")
def bench_page(request: Request, serial: str, shop: Shop, bench: TheBench) -> Response:
    """The bench of a piece."""
    return templates.TemplateResponse(request, "bench.html", _panel_values(serial, shop, bench))


def _number(text: str) -> Any:
    """Return typed text as the workshop takes it; a decimal comma is a point."""
    return text.strip().replace(",", ".")


def _back(serial: str) -> Response:
    return RedirectResponse(f"/bench/{quote(serial)}", 303)


def _panel_values(serial: str, shop: Shop, bench: TheBench) -> dict[str, Any]:
    story = shop.story(serial)
    model = shop.model(story["model"])
    piece = shop.piece(serial)
    last = story["runs"][-1] if story["runs"] else None
    question = bench.question(serial)
    advised = last["advice"]["cuts"] if last and question == "grind" else []
    shown = [
        SheetCut(c["plane"], c["angle_deg"], c["clock"], c["depth_mm"], c["mass_mg"], 0)
        for c in advised
    ]
    return {
        "story": story,
        "siblings": shop.book.siblings(piece["job_id"], piece["id"]),
        "serial": serial,
        "model": model,
        "question": question,
        "last": last,
        "advised": advised,
        "problem": bench.problem,
        "busy": bench.capture.about["serial"] if bench.capture else None,
        "dial": dial_svg(
            tuple(shown),
            model.rotation,
            ink="currentColor",
            faded="currentColor",
            accent="var(--heavy)",
        ),
        "path": path_svg(path_view(shop, serial), model.rotation),
        "clock": lambda angle: clock_text(angle, model.rotation),
        "limit_g": min(model.house_limit().limit_g),
    }
