"""The web application: one process, one ledger, one bench."""

from __future__ import annotations

import ipaddress
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

from fastapi import Depends, FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from fastapi.staticfiles import StaticFiles
from starlette.middleware.trustedhost import TrustedHostMiddleware

from .._version import __version__
from ..quantities.errors import BadInput, HeavyspotError, NotAllowed, status_of
from ..sources.live import LiveSource
from ..sources.sound_card import RigFile, load_rig_file, open_live
from ..workshop.bench.bench import Bench
from ..workshop.demo.rigs import demo_listener, demo_source, furnish
from ..workshop.keep.errands import Errands
from ..workshop.keep.long_work import LongWork
from ..workshop.people import people_of
from ..workshop.shop import Workshop
from . import api, live, pages
from .access import allowed, refuse_unlisted
from .page import fault_page
from .pages.people import refuse_access

HERE = Path(__file__).parent

ROUTERS = (*pages.ROUTERS, live.router, *api.ROUTERS)

LARGEST_BODY = 4_000_000
"""Bytes of a form or a JSON body: a table of parts with room to spare."""

LARGEST_FILE = 100_000_000
"""Bytes where a file is handed in."""

FILES = ("/old-book", "/papers", "/api/exchange")

SECURE_HEADERS = {
    "Content-Security-Policy": "default-src 'self'; img-src 'self' data:; object-src 'none'; "
    "base-uri 'none'; frame-ancestors 'none'; form-action 'self'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}


def create_app(
    data: Path,
    *,
    demo: bool = False,
    pace: float = 1.0,
    rig: RigFile | None = None,
    accounts: bool = False,
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
    accounts : bool
        Whether everybody has to log in.

    Raises
    ------
    BadInput
        Accounts are asked for and there is no owner yet.
    """
    shop = Workshop(data)
    people = people_of(shop)
    if accounts and not any(u.role == "owner" for u in people.users()):
        shop.close()
        raise BadInput(
            "There is no owner's account yet.",
            remedy="Make one first: heavyspot user add NAME --role owner.",
        )
    if demo:
        furnish(shop)

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        errands.start()
        yield
        errands.stop()
        bench.stop()
        works.stop()
        shop.close()

    def source(serial: str) -> LiveSource:
        return open_live(rig) if rig else demo_source(shop, serial, pace=pace)

    def standing(serial: str) -> LiveSource:
        return open_live(rig) if rig else demo_listener(shop, serial, pace=pace)

    bench, works, errands = Bench(shop, source, standing), LongWork(), Errands(shop)
    app = FastAPI(
        title="Heavyspot",
        version=__version__,
        docs_url=None,  # its page asks the network for scripts
        redoc_url=None,
        openapi_url=None,  # served below, behind the same access table as the rest
        lifespan=lifespan,
    )
    app.state.shop, app.state.bench = shop, bench
    app.state.works, app.state.errands = works, errands
    app.state.people, app.state.accounts_needed = people, accounts
    if not accounts:  # without a login, a page elsewhere must not reach us under a name of its own
        app.add_middleware(
            TrustedHostMiddleware, allowed_hosts=["127.0.0.1", "localhost", "[::1]", "testserver"]
        )
    app.middleware("http")(_guard)
    app.add_exception_handler(HeavyspotError, _refuse)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(NotAllowed, refuse_access)
    app.mount("/static", StaticFiles(directory=HERE / "static"), name="static")
    for router in ROUTERS:
        refuse_unlisted(router.routes)
        app.include_router(router)

    @app.get("/api/openapi.json", include_in_schema=False, dependencies=[Depends(allowed)])
    def schema() -> dict[str, object]:
        return app.openapi()

    return app


async def _guard(request: Request, call: Callable[[Request], Awaitable[Response]]) -> Response:
    """Refuse changes asked by other sites' pages and bodies too large; put secure headers on everything."""
    length = request.headers.get("content-length", "0")
    path = request.url.path
    takes_files = path.startswith(FILES) or path.endswith("/papers")
    most = LARGEST_FILE if takes_files else LARGEST_BODY
    if not length.isdigit() or int(length) > most:
        return JSONResponse({"error": f"That is too large: more than {most // 1_000_000} MB."}, 413)
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
    status = status_of(fault)
    if request.url.path.startswith("/api"):
        return JSONResponse({"error": fault.message, "remedy": fault.remedy}, status)
    return fault_page(request, fault, status)


def is_loopback(host: str) -> bool:
    """Return whether only this computer can reach an address."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


@dataclass(frozen=True)
class Address:
    """Where to listen.

    Attributes
    ----------
    accounts : bool
        Ask for a login on loopback too; any other address always asks.
    certificate, key : Path or None
        PEM files for TLS.
    """

    host: str = "127.0.0.1"
    port: int = 8520
    accounts: bool = False
    certificate: Path | None = None
    key: Path | None = None

    @property
    def url(self) -> str:
        """What to type into a browser."""
        return f"{'https' if self.certificate else 'http'}://{self.host}:{self.port}/"


def serve(
    data: Path,
    address: Address,
    *,
    demo: bool,
    pace: float,
    rig: Path | None = None,
    ready: Callable[[], None] = lambda: None,
) -> None:
    """Run the server until it is stopped; `ready` is called when nothing refuses any more.

    Raises
    ------
    BadInput
        The address can be reached from elsewhere and there is no owner's account.
    """
    import uvicorn

    app = create_app(
        data,
        demo=demo,
        pace=pace,
        rig=load_rig_file(rig) if rig else None,
        accounts=address.accounts or not is_loopback(address.host),
    )
    ready()
    uvicorn.run(
        app,
        host=address.host,
        port=address.port,
        log_level="warning",
        ws="websockets-sansio",
        ssl_certfile=address.certificate,
        ssl_keyfile=address.key,
    )
