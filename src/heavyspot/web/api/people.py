"""The shop's users as JSON under /api."""

from __future__ import annotations

from typing import Annotated

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
