"""The shop's users as JSON under /api/v1."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Depends
from pydantic import Field

from ..access import Who, allowed
from ..answers.common import told
from ..answers.other import EndedTold, KeyMade, KeyTold, UserMade, UserTold
from ..contract.problem import HOME
from ..deps import REFUSALS, BodyIn, ThePeople, Word, example

router = APIRouter(
    prefix=HOME, tags=["people"], responses=REFUSALS, dependencies=[Depends(allowed)]
)


class UserIn(BodyIn):
    """A user, or a new password for one."""

    model_config = example(name="Ines", role="technician", password="warm oil, cold hands")

    name: Word
    role: Word
    password: Annotated[str, Field(max_length=400)]


class KeyIn(BodyIn):
    """A key for a program that acts for whoever asks."""

    model_config = example(label="the press", scope="write", days=90)

    label: Annotated[str, Field(min_length=1, max_length=80)]
    scope: Literal["read", "write", "metrics"] = "read"
    days: Annotated[int, Field(ge=1, le=366)] = 90


@router.get("/keys", response_model=None, responses=told(list[KeyTold]))
def list_keys(people: ThePeople, who: Who) -> list[dict[str, str]]:
    """List the keys of whoever asks; an owner's list is of all."""
    mine = people.keys("" if who.may("owner") else who.name)
    return [
        {
            "id": k.id,
            "name": k.name,
            "label": k.label,
            "scope": k.scope,
            "at": k.at,
            "until": k.until,
        }
        for k in mine
    ]


@router.post("/keys", status_code=201, response_model=None, responses=told(KeyMade, 201))
def make_key(key: KeyIn, people: ThePeople, who: Who) -> dict[str, str]:
    """Make a key; it is shown in this answer and never again."""
    return {"key": people.make_key(who, key.label, key.scope, key.days)}


@router.delete("/keys/{id_}", response_model=None, responses=told(EndedTold))
def end_key(id_: str, people: ThePeople, who: Who) -> dict[str, str]:
    """End a key."""
    people.end_key(id_, who)
    return {"ended": id_}


@router.get("/users", response_model=None, responses=told(list[UserTold]))
def list_users(people: ThePeople) -> list[dict[str, str]]:
    """List the users."""
    return [{"name": u.name, "role": u.role, "at": u.at} for u in people.users()]


@router.post("/users", status_code=201, response_model=None, responses=told(UserMade, 201))
def set_user(user: UserIn, people: ThePeople, who: Who) -> dict[str, str]:
    """Add a user, or give one a new password and role."""
    people.set_user(user.name, user.role, user.password, by=who.name)
    return {"user": user.name.strip()}


@router.delete("/users/{name}", response_model=None, responses=told(EndedTold))
def end_user(name: str, people: ThePeople, who: Who) -> dict[str, str]:
    """End an account."""
    people.end_user(name, by=who.name)
    return {"ended": name}
