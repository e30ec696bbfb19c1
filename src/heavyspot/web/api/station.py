"""What the main house answers its stations; each shows its own key, and no login helps."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from pydantic import BaseModel, ConfigDict, Field

from ...quantities.errors import NotLoggedIn
from ...workshop.heads import SignedHead
from ...workshop.station.answers import ArrivalProof, Cursor, Have, HeldBack, House, KeptHeads
from ...workshop.station.arrivals import (
    cursor_of,
    main_house,
    offer_entries,
    offer_of,
    prove_arrival,
    receive_piece,
    received,
    station_of,
    take_entries,
)
from ...workshop.station.heads import head_of_json, kept_of, receive_head
from ..answers.common import told
from ..contract.problem import HOME
from ..deps import REFUSALS, Number, Shop


def known_station(request: Request, shop: Shop) -> str:
    """Return the station that asks; raises `NotLoggedIn` when it is none."""
    name = station_of(shop, request.headers.get("x-station-key", ""))
    if not name:
        raise NotLoggedIn("This is no station's key.", remedy="Join the main house anew.")
    return name


router = APIRouter(
    prefix=f"{HOME}/exchange",
    tags=["stations"],
    responses=REFUSALS,
    dependencies=[Depends(known_station)],
)
Station = Annotated[str, Depends(known_station)]
Store = Annotated[str, Field(max_length=36, pattern="^[0-9a-f-]{36}$")]
Digest = Annotated[str, Field(max_length=64, pattern="^[0-9a-f]{64}$")]
Whole = Annotated[int, Field(ge=0, le=2**53)]


class Sent(BaseModel):
    """Entries of a station, with how its clock differs."""

    model_config = ConfigDict(extra="forbid")
    offer: dict[str, object]
    clock_s: Number = 0.0


class Asked(BaseModel):
    """A proof of arrival that is asked for."""

    model_config = ConfigDict(extra="forbid")
    store: Store
    number: Whole
    digest: Digest


@router.get("", response_model=None, responses=told(House))
def exchange_house(shop: Shop, station: Station) -> dict[str, object]:
    """Who the main house is, and who asks."""
    return asdict(replace(main_house(shop), station=station))


@router.get("/cursor", response_model=None, responses=told(Cursor))
def exchange_cursor(shop: Shop, store: Store, station: Station) -> dict[str, object]:
    """How far into a store's chain everything has arrived."""
    number, digest = cursor_of(shop, store, station)
    return {"number": number, "digest": digest}


@router.post("/entries", response_model=None, responses=told(HeldBack))
def exchange_take(shop: Shop, sent: Sent, station: Station) -> dict[str, object]:
    """Take entries, all of them or none."""
    offer = offer_of(sent.offer)
    return asdict(take_entries(shop, offer, clock_s=sent.clock_s, station=station))


@router.get("/entries", response_model=None, responses=told(dict[str, object]))
def exchange_offer(shop: Shop, store: Store, after: Whole) -> dict[str, object]:
    """Entries behind a link, without the station's own."""
    made, head = offer_entries(shop, after, taker=store)
    return {"offer": asdict(made), "head": head}


@router.get("/files/{name:path}", response_model=None, responses=told(Have))
def exchange_have(shop: Shop, name: str) -> dict[str, int]:
    """How many bytes of a file have arrived; -1 when it is complete."""
    return {"have": received(shop, name)}


@router.put("/files/{name:path}", response_model=None, responses=told(Have))
async def exchange_put(
    request: Request,
    shop: Shop,
    name: str,
    at: Annotated[int, Query(ge=0, le=2**53)],
    digest: Digest,
    last: bool = False,
) -> dict[str, int]:
    """Bytes of a file."""
    content = await request.body()
    return {"have": receive_piece(shop, name, content, at=at, digest=digest, last=last)}


@router.post("/head", response_model=None, responses=told(SignedHead))
def exchange_head(shop: Shop, station: Station, sent: dict[str, object]) -> dict[str, object]:
    """Keep a station's signed head, and give this house's."""
    return asdict(receive_head(shop, station, head_of_json(sent)))


@router.get("/heads", response_model=None, responses=told(KeptHeads))
def exchange_heads(shop: Shop, station: Station, store: Store) -> dict[str, object]:
    """The heads of a station's store that are kept here."""
    return {"heads": [asdict(h) for h in kept_of(shop, store, station)]}


@router.post("/proof", response_model=None, responses=told(ArrivalProof))
def exchange_proof(shop: Shop, station: Station, asked: Asked) -> dict[str, object]:
    """A signed word that all of a store has arrived."""
    return asdict(prove_arrival(shop, station, asked.store, asked.number, asked.digest))
