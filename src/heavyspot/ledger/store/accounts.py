"""Accounts and logins. Passwords and tokens come here hashed; nothing is overwritten."""

from __future__ import annotations

from dataclasses import replace

from sqlalchemy import select

from ..records import Login, PersonsKey, User, record
from .chain import link_of
from .entries import Entries, add_entry, newest, now_utc, transaction
from .tables import keys, logins, pins, users

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
        found = {u.name: u for u in self._all(User, select(users).order_by(link_of(users)))}
        return [found[name] for name in sorted(found)]

    def set_pin(self, name: str, pin_hash: str) -> None:
        """Add a user's pin, hashed; an empty one ends it."""
        with transaction(self._engine) as c:
            old = newest(c, pins, pins.c.name == name)
            values = {"name": name, "pin_hash": pin_hash, "by": name}
            add_entry(c, pins, replaces=old["id"] if old else None, **values)

    def pins(self) -> dict[str, str]:
        """Return name and hashed pin of the users that have one and may log in."""
        found = {r["name"]: r["pin_hash"] for r in self._rows(select(pins).order_by(link_of(pins)))}
        may = {u.name for u in self.users() if u.role}
        return {name: pin for name, pin in found.items() if pin and name in may}

    def add_key(self, name: str, label: str, digest: str, scope: str, until: str) -> str:
        """Add a key of a user, hashed; returns its id, empty when there is no such user."""
        with transaction(self._engine) as c:
            row = newest(c, users, users.c.name == name)
            user = record(User, row) if row else None
            if user is None or not user.role:
                return ""
            values = {"label": label, "key_digest": digest, "scope": scope, "until": until}
            return add_entry(c, keys, name=name, by=name, of_user=user.id, **values)

    def end_key(self, key: PersonsKey, *, by: str) -> None:
        """End a key."""
        values = {k: getattr(key, k) for k in ("name", "label", "scope", "until", "of_user")}
        with transaction(self._engine) as c:
            add_entry(c, keys, key_digest="", replaces=key.id, by=by, **values)

    def all_keys(self) -> list[PersonsKey]:
        """Return the keys that were not ended, oldest first; some may be past their date."""
        rows = self._all(PersonsKey, select(keys).order_by(link_of(keys)))
        ended = {k.replaces for k in rows}
        return [k for k in rows if k.key_digest and k.id not in ended]

    def key(self, digest: str) -> tuple[PersonsKey, User] | None:
        """Return a key that holds, and whose it is, or None.

        It ends at its time, when it was ended, and when its user's entry changed since.
        """
        ended = select(keys.c.replaces).where(keys.c.replaces.is_not(None))
        query = select(keys).where(
            keys.c.key_digest == digest, keys.c.until > now_utc(), keys.c.id.not_in(ended)
        )
        found = self._all(PersonsKey, query)
        user = self.user(found[0].name) if found else None
        if user is None or not user.role or user.id != found[0].of_user:
            return None
        return found[0], user

    def begin(self, name: str, token_digest: str, csrf: str, until: str, *, by_pin: bool) -> str:
        """Add a login; returns its id."""
        values = {"token_digest": token_digest, "csrf": csrf, "until": until}
        with transaction(self._engine) as c:
            why = BY_PIN if by_pin else ""
            user = newest(c, users, users.c.name == name)
            of_user = user["id"] if user else None
            return add_entry(c, logins, name=name, by=name, why=why, of_user=of_user, **values)

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
        if user is None or not user.role or user.id != login.of_user:
            return None
        return replace(login, role=user.role, by_pin=login.why == BY_PIN)
