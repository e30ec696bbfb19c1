"""The web application: one process, one ledger, a bench for each rig."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from contextlib import asynccontextmanager
from functools import partial
from pathlib import Path

from fastapi import Depends, FastAPI, Request, Response
from fastapi.exception_handlers import http_exception_handler
from fastapi.exceptions import RequestValidationError
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException

from .._version import __version__
from ..quantities.errors import BadInput, HeavyspotError, NotAllowed, status_of
from ..sources.sound_card import RigFile
from ..workshop.bench.bench import Bench
from ..workshop.bench.benches import SET_UP, Benches, benches_of, refuse_twice
from ..workshop.bench.no_rig import no_rig
from ..workshop.bench.set_up import SetUps
from ..workshop.demo.practice import practice_beside
from ..workshop.demo.rigs import demo_listener, demo_source, furnish
from ..workshop.hooks.running import Telling
from ..workshop.incoming import WatchedFolder, Watchers
from ..workshop.keep.errands import Errands
from ..workshop.keep.long_work import LongWork
from ..workshop.passkeys import Passkeys
from ..workshop.people import people_of
from ..workshop.post import send_waiting
from ..workshop.rig.kept_rig import kept_rig
from ..workshop.rig.simulated import is_practice
from ..workshop.shop import Workshop
from ..workshop.shop_file import load_shop_file
from . import api, live, pages
from .access import allowed, refuse_unlisted
from .connecting import Connecting
from .contract.alias import Alias
from .contract.codes import router as codes
from .contract.problem import HOME, Wrong, by_status, for_programs, problem, refusal
from .contract.schema import described
from .names import OwnNames, OwnSockets
from .once import once
from .operation import routes as operation
from .operation.metrics import Metrics
from .operation.watched import Watched
from .page import fault_page, page
from .pages.people import refuse_access
from .speaking import Speaks

HERE = Path(__file__).parent

ROUTERS = (*pages.ROUTERS, live.router, codes, *api.ROUTERS, operation.router)

LARGEST_BODY = 4_000_000
"""Bytes of a form or a JSON body: a table of parts with room to spare."""

LARGEST_FILE = 100_000_000
"""Bytes where a file is handed in."""

FILES = ("/old-book", "/papers", "/recordings", "/curves", "/api/v1/exchange", "/api/v1/uploads")
FILES_OF = ("/papers", "/spins", "/spins/uploads", "/curves/file")
"""Where files are handed in: how the addresses begin, and how they end."""

MOST_WRONG = 20
"""Faults of one request that are told."""

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
        telling.start()
        yield
        watchers.stop()
        telling.stop()
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
        generate_unique_id_function=lambda route: route.name,  # the method's name in a made client
    )
    app.state.shop, app.state.benches = shop, benches
    app.state.practice = is_practice(shop)
    app.state.simulated = simulated
    app.state.connecting = Connecting(pace)
    app.state.keys = load_shop_file(shop.folder)
    watchers = Watchers(
        [WatchedFolder(shop, one, Path(one.watch)) for one in watch], benches.say_of
    )
    telling = app.state.telling = Telling(shop)
    app.state.works, app.state.errands, app.state.watchers = works, errands, watchers
    app.state.people, app.state.accounts_needed = people, accounts
    app.state.passkeys = Passkeys(shop.book.accounts, people)
    app.add_middleware(Speaks, zone=app.state.keys.timezone, language=app.state.keys.language)
    app.middleware("http")(once)
    if not accounts:  # without a login, a page elsewhere must not reach us under a name of its own
        app.add_middleware(OwnNames)
    app.middleware("http")(_guard)
    app.add_middleware(OwnSockets)
    app.state.metrics = Metrics(shop, errands)
    app.add_middleware(Watched, metrics=app.state.metrics)
    app.add_middleware(Alias)
    app.add_exception_handler(HeavyspotError, _refuse)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(NotAllowed, refuse_access)
    app.add_exception_handler(HTTPException, _unasked)
    app.mount("/static", StaticFiles(directory=HERE / "static"), name="static")
    for router in ROUTERS:
        refuse_unlisted(router.routes)
        app.include_router(router)

    @app.get("/api/v1/openapi.json", include_in_schema=False, dependencies=[Depends(allowed)])
    def schema() -> dict[str, object]:
        return described(app)

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
        told = f"That is too large: more than {most // 1_000_000} MB."
        return problem(request.scope, 413, "too-large", told)
    origin = request.headers.get("origin")
    if request.method not in ("GET", "HEAD") and origin is not None:
        host = origin.split("://", 1)[-1]
        if host != request.headers.get("host"):
            return problem(
                request.scope, 403, "other-site", "This request comes from another site."
            )
    response = await call(request)
    for name, value in SECURE_HEADERS.items():
        if name != "Cache-Control" or not request.url.path.startswith("/static"):
            response.headers[name] = value
    return response


async def _invalid(request: Request, fault: Exception) -> Response:
    """Say places and faults only: echoing the input would break on NaN, which JSON cannot hold."""
    assert isinstance(fault, RequestValidationError)
    wrong = [
        Wrong(place=".".join(map(str, e["loc"])), message=str(e["msg"])) for e in fault.errors()
    ]
    return problem(
        request.scope, 422, "invalid-request", f"{wrong[0].place}: {wrong[0].message}.",
        f"See {HOME}/openapi.json for what is expected.",
        errors=[w.model_dump() for w in wrong[:MOST_WRONG]],
    )  # fmt: skip


async def _unasked(request: Request, fault: Exception) -> Response:
    """What no route answers: no such page is said in a page of our own, to programs as a problem."""
    assert isinstance(fault, HTTPException)
    headers = dict(fault.headers or {})
    if for_programs(request.scope) or request.url.path.startswith("/static"):
        return by_status(request.scope, fault.status_code, headers)
    if fault.status_code == 404:
        return page(request, "not_found.html", status=404)
    return await http_exception_handler(request, fault)


async def _refuse(request: Request, fault: Exception) -> Response:
    assert isinstance(fault, HeavyspotError)
    if for_programs(request.scope):
        return refusal(request.scope, fault)
    return fault_page(request, fault, status_of(fault))
