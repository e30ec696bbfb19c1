"""Users and their logins; stations, and where two buildings disagree."""

from __future__ import annotations

from dataclasses import dataclass

from .entry import Content, Entry


@dataclass(frozen=True, kw_only=True)
class User(Entry):
    """A user; an ended account has an empty role."""

    name: str
    role: str
    password_hash: str


@dataclass(frozen=True, kw_only=True)
class Login(Entry):
    """A login that holds, with its user's role."""

    name: str
    token_digest: str
    csrf: str
    until: str
    of_user: str | None = None
    passkey: str | None = None
    role: str = ""
    by_pin: bool = False


@dataclass(frozen=True, kw_only=True)
class PersonsKey(Entry):
    """A person's key for a program; an empty digest: it has ended."""

    name: str
    label: str
    key_digest: str
    scope: str
    until: str
    of_user: str


@dataclass(frozen=True, kw_only=True)
class Passkey(Entry):
    """A person's passkey: what it is known by, and its public key; an empty identifier: it has ended.

    Attributes
    ----------
    credential_id : str
        base64url.
    public_key : bytes
        COSE (RFC 9052).
    sign_count : int
        Its counter when it was added, or at its newest login.
    rp_id : str
        The name of the shop's server it holds for.
    used : str
        When it last let somebody in; empty when never.
    """

    name: str
    label: str
    credential_id: str
    public_key: bytes
    sign_count: int
    rp_id: str
    of_user: str
    used: str = ""


@dataclass(frozen=True, kw_only=True)
class Station(Entry):
    """A station of the main house; an empty digest: it has ended."""

    name: str
    key_digest: str


@dataclass(frozen=True, kw_only=True)
class Clash(Entry):
    """Where two buildings said different things: of a piece, job, model, rig, cut or sheet."""

    kind: str
    of: str
    content: Content
