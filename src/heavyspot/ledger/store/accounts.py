"""Accounts and logins. Passwords and tokens come here hashed; nothing is overwritten."""

from __future__ import annotations

from dataclasses import replace

from sqlalchemy import func, select

from ..records import Login, User
from .entries import Entries, add_entry, newest, now_utc, transaction
from .tables import logins, pins, users

BY_PIN = "pin"
"""Stands in a login's `why` when it was begun by a pin."""


class Accounts(Entries):
    """The users and their logins in one ledger."""

    def add_user(self, name: str, role: str, password_hash: str, *, by: str = "") -> str:
        """Add a user, or a new password or role; an empty role ends the account. Returns its id."""
        with transaction(self._engine) as c:
            old = newest(c, users, users.c.name == name)
            return add_entry(
                c,
                users,
                name=name,
                role=role,
                password_hash=password_hash,
                by=by,
                replaces=old["id"] if old else None,
            )

    def user(self, name: str) -> User | None:
        """Return a user as it stands, or None; an ended account has an empty role."""
        return self._newest(User, users, users.c.name == name)

    def users(self) -> list[User]:
        """Return all users as they stand, by name."""
        last = select(func.max(users.c.id)).group_by(users.c.name)
        query = select(users).where(users.c.id.in_(last)).order_by(users.c.name)
        return self._all(User, query)

    def set_pin(self, name: str, pin_hash: str) -> None:
        """Add a user's pin, hashed; an empty one ends it."""
        with transaction(self._engine) as c:
            old = newest(c, pins, pins.c.name == name)
            values = {"name": name, "pin_hash": pin_hash, "by": name}
            add_entry(c, pins, replaces=old["id"] if old else None, **values)

    def pins(self) -> dict[str, str]:
        """Return name and hashed pin of the users that have one and may log in."""
        found = {r["name"]: r["pin_hash"] for r in self._rows(select(pins).order_by(pins.c.id))}
        may = {u.name for u in self.users() if u.role}
        return {name: pin for name, pin in found.items() if pin and name in may}

    def begin(self, name: str, token_digest: str, csrf: str, until: str, *, by_pin: bool) -> str:
        """Add a login; returns its id."""
        values = {"token_digest": token_digest, "csrf": csrf, "until": until}
        with transaction(self._engine) as c:
            why = BY_PIN if by_pin else ""
            return add_entry(c, logins, name=name, by=name, why=why, **values)

    def end(self, login: Login) -> None:
        """End a login."""
        with transaction(self._engine) as c:
            add_entry(
                c,
                logins,
                name=login.name,
                by=login.name,
                token_digest="",
                csrf="",
                until=now_utc(),
                replaces=login.id,
            )

    def login(self, token_digest: str) -> Login | None:
        """Return a login that still holds, with its user's role, or None.

        It ends by itself at its time, when it was ended, and when its user's entry changed since.
        """
        ended = select(logins.c.replaces).where(logins.c.replaces.is_not(None))
        query = select(logins).where(
            logins.c.token_digest == token_digest,
            logins.c.until > now_utc(),
            logins.c.id.not_in(ended),
        )
        found = self._all(Login, query)
        if not found:
            return None
        login = found[0]
        user = self.user(login.name)
        if user is None or not user.role or user.id > login.id:
            return None
        return replace(login, role=user.role, by_pin=login.why == BY_PIN)
