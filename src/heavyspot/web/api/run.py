"""A closer look at one run, as JSON and files under /api/v1."""

from __future__ import annotations

import tempfile
from pathlib import Path

from fastapi import APIRouter, Depends, Response

from ...sheet.plots import runs_svg
from ...sources.writers import write_recording
from ...workshop.cartridge import one_run as look
from ...workshop.cartridge.curves_view import curves_view
from ...workshop.reading.results import finding_json
from ..access import allowed
from ..answers.cartridge import MomentTold, PassesTold
from ..answers.common import file_told, told
from ..contract.problem import HOME
from ..deps import REFUSALS, Number, Shop

router = APIRouter(prefix=HOME, tags=["runs"], responses=REFUSALS, dependencies=[Depends(allowed)])


@router.get("/runs/{number}/passes/{serial:path}", response_model=None, responses=told(PassesTold))
def get_passes(serial: str, number: int, shop: Shop) -> dict[str, object]:
    """Return every pass of a run, with its findings."""
    past = look.find_run(shop, serial, number)
    findings = [finding_json(f) for f in past.run.result.findings]
    return {"passes": look.passes_view(past.curves_of()), "findings": findings}


@router.get(
    "/runs/{number}/map/{serial:path}",
    response_class=Response,
    responses=file_told("application/octet-stream"),
)
def get_map(serial: str, number: int, shop: Shop) -> Response:
    """Return the speed-frequency map as bytes, a row a spectrum; shape and axes in headers."""
    past = look.find_run(shop, serial, number)
    drawn = look.draw_map(look.archived(shop, past.run.entry.recording), past)
    return Response(
        drawn.levels.tobytes(),
        media_type="application/octet-stream",
        headers={
            "X-Rows": str(drawn.levels.shape[0]),
            "X-Columns": str(drawn.levels.shape[1]),
            "X-Seconds": f"{drawn.seconds:.6f}",
            "X-Highest-Hz": f"{drawn.highest_hz:.3f}",
            "X-Speed-Hz": ",".join("" if v is None else f"{v:.1f}" for v in drawn.speed_hz),
        },
    )


@router.get("/runs/{number}/moment/{serial:path}", response_model=None, responses=told(MomentTold))
def get_moment(serial: str, number: int, shop: Shop, speed_rpm: Number) -> dict[str, object]:
    """Return waveform and spectrum at a speed of a run."""
    past = look.find_run(shop, serial, number)
    return look.moment(look.archived(shop, past.run.entry.recording), past, speed_rpm)


@router.get(
    "/runs/{number}/curve.csv/{serial:path}",
    response_class=Response,
    responses=file_told("text/csv"),
)
def get_curve_csv(serial: str, number: int, shop: Shop) -> Response:
    """Return a run's curves as CSV."""
    past = look.find_run(shop, serial, number)
    return Response(
        "".join(look.curve_csv(past)),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="run-{number}.csv"'},
    )


@router.get(
    "/runs/{number}/curve.svg/{serial:path}",
    response_class=Response,
    responses=file_told("image/svg+xml"),
)
def get_curve_svg(serial: str, number: int, shop: Shop) -> Response:
    """Return a run's curve in front of the piece's others, as SVG."""
    look.find_run(shop, serial, number)
    drawn = runs_svg(curves_view(shop, serial), name=f"{serial}, run {number}", number=number)
    return Response(
        drawn,
        media_type="image/svg+xml",
        headers={"Content-Disposition": f'attachment; filename="run-{number}.svg"'},
    )


@router.get(
    "/runs/{number}/recording.uff/{serial:path}",
    response_class=Response,
    responses=file_told("application/octet-stream"),
)
def get_recording_uff(serial: str, number: int, shop: Shop) -> Response:
    """Return a run's recording as UFF 58, binary."""
    name = look.find_run(shop, serial, number).run.entry.recording
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        path = Path(folder) / "run.uff"
        write_recording(look.archived(shop, name), path)
        content = path.read_bytes()
    return Response(
        content,
        media_type="application/octet-stream",
        headers={"Content-Disposition": f'attachment; filename="run-{number}.uff"'},
    )
