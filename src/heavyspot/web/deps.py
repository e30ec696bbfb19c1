"""What every route shares: the open shop, the bench, the people, and the shapes of what is typed."""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Request
from pydantic import BaseModel, ConfigDict, Field
from pydantic.config import JsonValue

from ..workshop.bench.bench import Bench
from ..workshop.bench.benches import Benches
from ..workshop.passkeys import Passkeys
from ..workshop.people import People
from ..workshop.shop import Workshop
from .contract.problem import Problem


def shop_of(request: Request) -> Workshop:
    """Return the application's workshop."""
    shop: Workshop = request.app.state.shop
    return shop


def people_of(request: Request) -> People:
    """Return the application's accounts."""
    people: People = request.app.state.people
    return people


def passkeys_of(request: Request) -> Passkeys:
    """Return the application's passkeys."""
    passkeys: Passkeys = request.app.state.passkeys
    return passkeys


def benches_of(request: Request) -> Benches:
    """Return the application's benches."""
    benches: Benches = request.app.state.benches
    return benches


def bench_of(request: Request) -> Bench:
    """Return the bench of the piece the address names; the first rig's where it names none."""
    benches, serial = benches_of(request), request.path_params.get("serial")
    return benches.first if serial is None else benches.of(serial)


Shop = Annotated[Workshop, Depends(shop_of)]
ThePeople = Annotated[People, Depends(people_of)]
ThePasskeys = Annotated[Passkeys, Depends(passkeys_of)]
TheBenches = Annotated[Benches, Depends(benches_of)]
TheBench = Annotated[Bench, Depends(bench_of)]
Number = Annotated[float, Field(allow_inf_nan=False)]

Word = Annotated[str, Field(max_length=120)]
Line = Annotated[str, Field(max_length=400)]

REFUSALS: dict[int | str, dict[str, object]] = {
    401: {"model": Problem, "description": "Not logged in"},
    403: {
        "model": Problem,
        "description": "Asked by another site's page, or the role is not enough",
    },
    404: {"model": Problem, "description": "What was asked for is not there"},
    409: {"model": Problem, "description": "Taken, or somebody changed it meanwhile"},
    413: {"model": Problem, "description": "Too many bytes"},
    422: {"model": Problem, "description": "Bad input"},
    503: {"model": Problem, "description": "The ledger cannot be reached or written"},
    "default": {"model": Problem, "description": "Any other refusal"},
}


class BodyIn(BaseModel):
    """A body with no unknown keys."""

    model_config = ConfigDict(extra="forbid")


def example(**values: JsonValue) -> ConfigDict:
    """Return what makes a body's schema show an example."""
    return ConfigDict(json_schema_extra={"examples": [values]})


class SheetIn(BodyIn):
    """A sheet to be issued."""

    model_config = example(language="de")

    language: Annotated[str, Field(max_length=2)] = ""
    why: Line = ""
