"""The web application: one process, one ledger, a bench for each rig."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from contextlib import asynccontextmanager
from functools import partial
from pathlib import Path

from fastapi import Depends, FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from fastapi.staticfiles import StaticFiles

from .._version import __version__
from ..quantities.errors import BadInput, HeavyspotError, NotAllowed, status_of
from ..sources.sound_card import RigFile
from ..workshop.bench.bench import Bench
from ..workshop.bench.benches import SET_UP, Benches, benches_of, refuse_twice
from ..workshop.bench.no_rig import no_rig
from ..workshop.bench.set_up import SetUps
from ..workshop.demo.practice import practice_beside
from ..workshop.demo.rigs import demo_listener, demo_source, furnish
from ..workshop.incoming import WatchedFolder, Watchers
from ..workshop.keep.errands import Errands
from ..workshop.keep.long_work import LongWork
from ..workshop.people import people_of
from ..workshop.post import send_waiting
from ..workshop.rig.kept_rig import kept_rig
from ..workshop.rig.simulated import is_practice
from ..workshop.shop import Workshop
from ..workshop.shop_file import load_shop_file
from . import api, live, pages
from .access import allowed, refuse_unlisted
from .connecting import Connecting
from .names import OwnNames, OwnSockets
from .once import once
from .operation import routes as operation
from .operation.metrics import Metrics
from .operation.watched import Watched
from .page import fault_page, page
from .pages.people import refuse_access
from .speaking import Speaks

HERE = Path(__file__).parent

ROUTERS = (*pages.ROUTERS, live.router, *api.ROUTERS, operation.router)

LARGEST_BODY = 4_000_000
"""Bytes of a form or a JSON body: a table of parts with room to spare."""

LARGEST_FILE = 100_000_000
"""Bytes where a file is handed in."""

FILES = ("/old-book", "/papers", "/recordings", "/curves", "/api/exchange", "/api/uploads")
FILES_OF = ("/papers", "/spins", "/spins/uploads", "/curves/file")
"""Where files are handed in: how the addresses begin, and how they end."""

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
    simulated: bool = False,
    pace: float = 1.0,
    rig: RigFile | None = None,
    rigs: Sequence[RigFile] = (),
    accounts: bool = False,
    watch: Sequence[RigFile] = (),
) -> FastAPI:
    """Return the application on a data folder.

    Parameters
    ----------
    demo : bool
        Furnish an empty ledger with the demo shop, and simulate its rig.
    simulated : bool
        Simulate a rig: over the practice ledger beside the shop's own, never over the shop's.
    pace : float
        Speed of the simulated rig, times real time.
    rig : RigFile, optional
        A real rig; without one that which was connected in the browser. Where there is none either, and nothing
        is simulated, no rig is connected and nothing can be spun.
    rigs : sequence of RigFile
        Several of them, each with a bench of its own.
    accounts : bool
        Whether everybody has to log in.
    watch : sequence of RigFile
        Rigs of other programs, whose folders are watched.

    Raises
    ------
    BadInput
        Accounts are asked for and there is no owner yet; a real rig is asked for and a simulated one too, or
        over a practice ledger; two rigs are called the same, or are one device.
    """
    rigs = [*([rig] if rig else []), *rigs]
    refuse_twice(rigs)
    simulated = simulated or demo
    shop = Workshop(practice_beside(data) if simulated and not demo else data)
    if rigs and (simulated or is_practice(shop)):
        shop.close()
        raise BadInput(
            "A real rig does not measure into a practice ledger.",
            remedy="Leave out --demo-shop and --simulate, and give the shop's own folder: --data DIR.",
        )
    if not rigs and not simulated and not is_practice(shop) and (kept := kept_rig(shop.folder)):
        rigs = [kept]
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
        watchers.start()
        yield
        watchers.stop()
        errands.stop()
        app.state.connecting.let_go()
        benches.close()
        works.stop()
        shop.close()

    benches, works, errands = (
        benches_of(shop, rigs) if rigs else _one_bench(shop, pace if simulated else None),
        LongWork(),
        Errands(shop, also=(send_waiting,)),
    )
    app = FastAPI(
        title="Heavyspot",
        version=__version__,
        docs_url=None,  # its page asks the network for scripts
        redoc_url=None,
        openapi_url=None,  # served below, behind the same access table as the rest
        lifespan=lifespan,
    )
    app.state.shop, app.state.benches = shop, benches
    app.state.practice = is_practice(shop)
    app.state.simulated = simulated
    app.state.connecting = Connecting(pace)
    app.state.keys = load_shop_file(shop.folder)
    watchers = Watchers(
        [WatchedFolder(shop, one, Path(one.watch)) for one in watch], benches.say_of
    )
    app.state.works, app.state.errands, app.state.watchers = works, errands, watchers
    app.state.people, app.state.accounts_needed = people, accounts
    app.add_middleware(Speaks, zone=app.state.keys.timezone, language=app.state.keys.language)
    app.middleware("http")(once)
    if not accounts:  # without a login, a page elsewhere must not reach us under a name of its own
        app.add_middleware(OwnNames)
    app.middleware("http")(_guard)
    app.add_middleware(OwnSockets)
    app.state.metrics = Metrics(shop, errands)
    app.add_middleware(Watched, metrics=app.state.metrics)
    app.add_exception_handler(HeavyspotError, _refuse)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(NotAllowed, refuse_access)
    app.add_exception_handler(404, _lost)
    app.mount("/static", StaticFiles(directory=HERE / "static"), name="static")
    for router in ROUTERS:
        refuse_unlisted(router.routes)
        app.include_router(router)

    @app.get("/api/openapi.json", include_in_schema=False, dependencies=[Depends(allowed)])
    def schema() -> dict[str, object]:
        return app.openapi()

    return app


def _one_bench(shop: Workshop, pace: float | None) -> Benches:
    """Return the bench of the simulated rig at a pace, or of none."""
    kept = SetUps(kept_in=shop.folder / SET_UP)
    if pace is None:
        made = Benches([("", Bench(shop, no_rig, no_rig, connected=False, set_ups=kept))])
        made.recall()
        return made
    source, listener = (
        partial(demo_source, shop, pace=pace),
        partial(demo_listener, shop, pace=pace),
    )
    return Benches([("", Bench(shop, source, listener, set_ups=kept))])


async def _guard(request: Request, call: Callable[[Request], Awaitable[Response]]) -> Response:
    """Refuse changes asked by other sites' pages and bodies too large; put secure headers on everything."""
    length = request.headers.get("content-length", "0")
    path = request.url.path
    takes_files = path.startswith(FILES) or path.endswith(FILES_OF)
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


async def _lost(request: Request, fault: Exception) -> Response:
    """No such page: said in a page of our own, or in JSON under /api; what a route says itself stays."""
    if request.url.path.startswith(("/api", "/static")):
        return JSONResponse({"error": "There is nothing of that name.", "remedy": ""}, 404)
    return page(request, "not_found.html", status=404)


async def _refuse(request: Request, fault: Exception) -> Response:
    assert isinstance(fault, HeavyspotError)
    status = status_of(fault)
    if request.url.path.startswith("/api"):
        said = {"error": fault.message, "remedy": fault.remedy}
        return JSONResponse(
            {k: v.encode(errors="replace").decode() for k, v in said.items()}, status
        )
    return fault_page(request, fault, status)
