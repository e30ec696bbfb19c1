"""The web application: one process, one ledger, one bench."""

from __future__ import annotations

import ipaddress
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from fastapi.staticfiles import StaticFiles
from starlette.middleware.trustedhost import TrustedHostMiddleware

from .._version import __version__
from ..quantities.errors import BadInput, HeavyspotError, LedgerFault
from ..sources.live import LiveSource
from ..sources.sound_card import RigFile, load_rig_file, open_live
from ..workshop.bench import Bench
from ..workshop.demo_rig import demo_source, furnish
from ..workshop.shop import Workshop
from . import api, live, pages

HERE = Path(__file__).parent

SECURE_HEADERS = {
    "Content-Security-Policy": "default-src 'self'; img-src 'self' data:; object-src 'none'; "
    "base-uri 'none'; frame-ancestors 'none'; form-action 'self'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}


def create_app(
    data: Path, *, demo: bool = False, pace: float = 1.0, rig: RigFile | None = None
) -> FastAPI:
    """Return the application on a data folder.

    Parameters
    ----------
    demo : bool
        Furnish an empty ledger with the demo shop.
    pace : float
        Speed of the simulated rig, times real time.
    rig : RigFile, optional
        A real rig; the simulated one when not given.
    """
    shop = Workshop(data)
    if demo:
        furnish(shop)

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        yield
        bench.stop()
        shop.close()

    def source(serial: str) -> LiveSource:
        return open_live(rig) if rig else demo_source(shop, serial, pace=pace)

    bench = Bench(shop, source)
    app = FastAPI(
        title="Heavyspot",
        version=__version__,
        docs_url=None,  # its page asks the network for scripts
        redoc_url=None,
        openapi_url="/api/openapi.json",
        lifespan=lifespan,
    )
    app.state.shop, app.state.bench = shop, bench
    app.add_middleware(
        TrustedHostMiddleware, allowed_hosts=["127.0.0.1", "localhost", "[::1]", "testserver"]
    )
    app.middleware("http")(_guard)
    app.add_exception_handler(HeavyspotError, _refuse)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.mount("/static", StaticFiles(directory=HERE / "static"), name="static")
    app.include_router(pages.router)
    app.include_router(api.router, prefix="/api")
    app.include_router(live.router)
    return app


async def _guard(request: Request, call: Callable[[Request], Awaitable[Response]]) -> Response:
    """Refuse changes asked by other sites' pages; put secure headers on everything."""
    origin = request.headers.get("origin")
    if request.method not in ("GET", "HEAD") and origin is not None:
        host = origin.split("://", 1)[-1]
        if host != request.headers.get("host"):
            return JSONResponse({"error": "This request comes from another site."}, 403)
    response = await call(request)
    for name, value in SECURE_HEADERS.items():
        if name != "Cache-Control" or not request.url.path.startswith("/static"):
            response.headers[name] = value
    return response


async def _invalid(_: Request, fault: Exception) -> Response:
    """Say place and fault only: echoing the input would break on NaN, which JSON cannot hold."""
    assert isinstance(fault, RequestValidationError)
    first = fault.errors()[0]
    place = ".".join(str(p) for p in first["loc"])
    remedy = "See /api/openapi.json for what is expected."
    return JSONResponse({"error": f"{place}: {first['msg']}.", "remedy": remedy}, 422)


async def _refuse(request: Request, fault: Exception) -> Response:
    assert isinstance(fault, HeavyspotError)
    status = 404 if isinstance(fault, LedgerFault) and "no piece" in fault.message else 422
    if request.url.path.startswith("/api"):
        return JSONResponse({"error": fault.message, "remedy": fault.remedy}, status)
    return pages.fault_page(request, fault, status)


def refuse_open_address(host: str) -> None:
    """Raise `BadInput` for a bind address other than loopback: there are no accounts yet."""
    try:
        loopback = ipaddress.ip_address(host).is_loopback
    except ValueError:
        loopback = host == "localhost"
    if not loopback:
        raise BadInput(
            f"{host} can be reached from other computers, and accounts are not built yet.",
            remedy="Bind to 127.0.0.1.",
        )


def serve(
    data: Path, *, host: str, port: int, demo: bool, pace: float, rig: Path | None = None
) -> None:
    """Run the server until it is stopped."""
    import uvicorn

    refuse_open_address(host)
    app = create_app(data, demo=demo, pace=pace, rig=load_rig_file(rig) if rig else None)
    uvicorn.run(app, host=host, port=port, log_level="warning", ws="websockets-sansio")
