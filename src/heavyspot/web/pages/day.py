"""Today: what is on each rig, what needs a person, what waits and what passed."""

from __future__ import annotations

from datetime import UTC, datetime

from fastapi import APIRouter, Depends, Request, Response

from ...quantities.dates import local_now
from ...workshop.day.book_pages import day_book_paper, day_of
from ...workshop.day.jobs import passed_since, waiting
from ...workshop.day.needs import needs_of
from ...workshop.day.on_rigs import on_rigs
from ...workshop.job.lookup import newest_pieces
from ...workshop.model.models import model_names
from ...workshop.rig.record import rig_names
from ...workshop.shop_file import load_shop_file
from ..access import Who, allowed
from ..deps import Shop, TheBenches
from ..files import pdf_answer
from ..page import goto, page
from ..speaking import language, zone
from ..views.day import date_words, passed_view, rig_view, waiting_view

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])

NEEDS, WAITS, SHOWN = 5, 5, 60


@router.get("/")
def today(request: Request, shop: Shop, benches: TheBenches) -> Response:
    """The day, or the way to the first spin where nothing is written yet."""
    local = local_now(zone())
    if not model_names(shop) or not newest_pieces(shop, 1):
        steps = {
            "rigs": rig_names(shop),
            "models": model_names(shop),
            "connected": benches.first.connected,
        }
        return page(request, "day/first.html", steps | {"date": date_words(local.date())})
    morning = _morning(local)
    jobs, passed = waiting(shop, now=local.astimezone(UTC)), passed_since(shop, since=morning)
    needs = needs_of(shop)
    spinning, names = benches.spinning(), benches.names()
    put = {name: benches.at(name).on_it for name in names}
    values = {
        "date": date_words(local.date()),
        "clock": f"{local:%H:%M}",
        "firm": load_shop_file(shop.folder).name,
        "rigs": [rig_view(r, spinning, names) for r in on_rigs(shop, since=morning, put=put)],
        "needs": needs[:NEEDS],
        "more_needs": max(0, len(needs) - NEEDS),
        "waits": [waiting_view(w, local.date()) for w in jobs[:WAITS]],
        "waiting": len(jobs),
        "passed": passed_view(passed),
    }
    return page(request, "day/day.html", values)


@router.get("/book")
def book(request: Request, shop: Shop) -> Response:
    """The newest pieces, as they were written down."""
    values = {"pieces": newest_pieces(shop, SHOWN), "day": local_now(zone()).date().isoformat()}
    return page(request, "day/book.html", values)


@router.get("/book/day.pdf")
def book_pages(shop: Shop, who: Who, day: str = "") -> Response:
    """The day's pages of the log, to be put into a folder."""
    which = day_of(day, zone())
    pdf = day_book_paper(shop, which, by=who.name, language=language())
    return pdf_answer(pdf, f"log-{which.isoformat()}.pdf")


@router.get("/bench")
def the_bench(shop: Shop, benches: TheBenches) -> Response:
    """To the piece that spins; else to the newest spun today; else, and with several rigs, to the day."""
    held = [b.capture.about.serial for b in benches.all() if b.capture]
    held += [r.spins for r in benches.remotes.values() if r.spins]
    if len(held) == 1:
        return goto("/bench", held[0])
    if benches.several:
        return goto("/")
    on = [r for r in on_rigs(shop, since=_morning(local_now(zone()))) if r.serial]
    return goto("/bench", on[0].serial) if on else goto("/")


def _morning(local: datetime) -> datetime:
    return local.replace(hour=0, minute=0, second=0, microsecond=0).astimezone(UTC)
