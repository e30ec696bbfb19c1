"""Accounts and logins. Passwords and tokens come here hashed; nothing is overwritten."""

from __future__ import annotations

from dataclasses import replace

from sqlalchemy import Connection, func, select

from ...quantities.errors import BadInput
from ...quantities.said import Said
from ..records import Login, Passkey, PersonsKey, User, record
from .chain import link_of
from .entries import Entries, add_entry, newest, now_utc, transaction
from .tables import keys, logins, passkeys, pins, users

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

    def add_passkey(
        self,
        name: str,
        label: str,
        credential_id: str,
        public_key: bytes,
        sign_count: int,
        rp_id: str,
    ) -> str:
        """Add a passkey of a user; returns its id, empty when there is no such user or it is known already."""
        with transaction(self._engine) as c:
            row = newest(c, users, users.c.name == name)
            user = record(User, row) if row else None
            if user is None or not user.role or _known(c, credential_id):
                return ""
            values = {"label": label, "public_key": public_key, "sign_count": sign_count}
            values |= {"credential_id": credential_id, "rp_id": rp_id, "of_user": user.id}
            return add_entry(c, passkeys, name=name, by=name, **values)

    def end_passkey(self, passkey: Passkey, *, by: str) -> None:
        """End a passkey, and with it the logins that began by it."""
        same = ("name", "label", "sign_count", "rp_id", "of_user")
        values = {k: getattr(passkey, k) for k in same}
        values |= {"credential_id": "", "public_key": b"", "replaces": passkey.id, "by": by}
        with transaction(self._engine) as c:
            add_entry(c, passkeys, **values)

    def all_passkeys(self) -> list[Passkey]:
        """Return the passkeys that hold, oldest first, with their counters and when they last let somebody in.

        One ends when it was ended, and when its user's entry changed since.
        """
        now = {u.name: u.id for u in self.users() if u.role}
        with self._engine.connect() as c:
            rows = c.execute(select(passkeys).order_by(link_of(passkeys))).mappings().all()
            found = [record(Passkey, r) for r in rows]
            ended = {k.replaces for k in found}
            hold = [k for k in found if k.id not in ended and now.get(k.name) == k.of_user]
            return [_as_used(c, k) for k in hold if k.credential_id]

    def begin(
        self,
        name: str,
        token_digest: str,
        csrf: str,
        until: str,
        *,
        by_pin: bool = False,
        passkey: Passkey | None = None,
    ) -> str:
        """Add a login; returns its id.

        Parameters
        ----------
        passkey : Passkey or None
            It was begun with, its counter as it was just shown.

        Raises
        ------
        BadInput
            That counter is not beyond the newest one: another login by it came in between.
        """
        values: dict[str, object] = {"token_digest": token_digest, "csrf": csrf, "until": until}
        with transaction(self._engine) as c:
            why = BY_PIN if by_pin else ""
            if passkey:
                before = _as_used(c, passkey).sign_count
                if not counts_on(before, passkey.sign_count):
                    raise BadInput(
                        Said("refusal.this_passkey_counter_went_back"),
                        remedy=Said("remedy.ask_an_owner"),
                    )
                values |= {"passkey": passkey.id, "sign_count": passkey.sign_count}
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
        if login.passkey and self._rows(
            select(passkeys.c.id).where(passkeys.c.replaces == login.passkey)
        ):
            return None
        return replace(login, role=user.role, by_pin=login.why == BY_PIN)


def counts_on(before: int, now: int) -> bool:
    """Whether a counter may follow another: it went up, or counts nothing, as a passkey on several devices does."""
    return now > before or now == before == 0


def _as_used(c: Connection, passkey: Passkey) -> Passkey:
    """Return a passkey as its newest login left it."""
    by_it = select(func.max(logins.c.sign_count), func.max(logins.c.at))
    count, used = c.execute(by_it.where(logins.c.passkey == passkey.id)).one()
    if count is None:
        first = select(passkeys.c.sign_count).where(passkeys.c.id == passkey.id)
        count = c.execute(first).scalar_one()
    return replace(passkey, sign_count=int(count), used=used or "")


def _known(c: Connection, credential_id: str) -> bool:
    """Whether a passkey stands that is known by this: one authenticator never makes the same twice."""
    ended = select(passkeys.c.replaces).where(passkeys.c.replaces.is_not(None))
    stands = select(passkeys.c.id).where(
        passkeys.c.credential_id == credential_id, passkeys.c.id.not_in(ended)
    )
    return c.execute(stands).first() is not None
