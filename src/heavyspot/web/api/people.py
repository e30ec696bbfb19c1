"""The shop's users as JSON under /api."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Depends
from pydantic import Field

from ..access import Who, allowed
from ..deps import REFUSALS, BodyIn, ThePeople, Word

router = APIRouter(prefix="/api", responses=REFUSALS, dependencies=[Depends(allowed)])


class UserIn(BodyIn):
    """A user, or a new password for one."""

    name: Word
    role: Word
    password: Annotated[str, Field(max_length=400)]


class KeyIn(BodyIn):
    """A key for a program that acts for whoever asks."""

    label: Annotated[str, Field(min_length=1, max_length=80)]
    scope: Literal["read", "write", "metrics"] = "read"
    days: Annotated[int, Field(ge=1, le=366)] = 90


@router.get("/keys")
def keys(people: ThePeople, who: Who) -> list[dict[str, str]]:
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


@router.post("/keys", status_code=201)
def make_key(key: KeyIn, people: ThePeople, who: Who) -> dict[str, str]:
    """Make a key; it is shown in this answer and never again."""
    return {"key": people.make_key(who, key.label, key.scope, key.days)}


@router.delete("/keys/{id_}")
def end_key(id_: str, people: ThePeople, who: Who) -> dict[str, str]:
    """End a key."""
    people.end_key(id_, who)
    return {"ended": id_}


@router.get("/users")
def users(people: ThePeople) -> list[dict[str, str]]:
    """List the users."""
    return [{"name": u.name, "role": u.role, "at": u.at} for u in people.users()]


@router.post("/users", status_code=201)
def set_user(user: UserIn, people: ThePeople, who: Who) -> dict[str, str]:
    """Add a user, or give one a new password and role."""
    people.set_user(user.name, user.role, user.password, by=who.name)
    return {"user": user.name.strip()}


@router.delete("/users/{name}")
def end_user(name: str, people: ThePeople, who: Who) -> dict[str, str]:
    """End an account."""
    people.end_user(name, by=who.name)
    return {"ended": name}
