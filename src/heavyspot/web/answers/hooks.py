"""Web hooks and their deliveries."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from .common import Told


class HookTold(Told):
    """A web hook, without its secret."""

    id: str
    url: str
    events: list[str]
    by: str
    at: str
    waiting: int
    paused: str
    fault: str


class HookMade(Told):
    """A hook with its secret: shown now and never again."""

    id: str
    url: str
    events: list[str]
    secret: str = Field(examples=["whsec_..."])


class DeliveryTold(Told):
    """What was, or is to be, told to a hook; the id is the header `webhook-id` at every try."""

    id: str
    event: str
    state: Literal["waits", "delivered", "given up"]
    at: str
    tries: int
    next_at: str
    answer: str
    done_at: str
