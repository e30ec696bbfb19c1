"""Who may do what: accounts, passwords and logins."""

from __future__ import annotations

import hashlib
import re
import secrets
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Literal

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from ..ledger.records import Passkey, PersonsKey, User
from ..ledger.store.accounts import Accounts
from ..quantities.clock import utc_text
from ..quantities.errors import BadInput, NotThere
from ..quantities.said import Said
from .shop import Workshop
from .tries import Tries

Role = Literal["technician", "inspector", "owner"]
ROLES: tuple[Role, ...] = ("technician", "inspector", "owner")
"""Each may do all that those before it may."""

Scope = Literal["read", "write", "metrics"]
SCOPES: tuple[Scope, ...] = ("read", "write", "metrics")
LONGEST_KEY_DAYS = 366
KEY_BEGINS = "hsk_"
"""So that a key that got into a file where it does not belong is found."""

LONGEST_BY = 120
"""Letters an entry holds of who wrote it."""

SHORTEST_PASSWORD = 10
LOGIN_HOURS = 12.0
"""A shift."""

_hasher = PasswordHasher()


@cache
def _nobody() -> str:
    """Return the hash that names nobody has are compared with: made when one first is, as it takes its time."""
    return _hasher.hash("nobody has this password")


@dataclass(frozen=True)
class Person:
    """Who is asking.

    Attributes
    ----------
    name : str
        Empty when no account is needed.
    role : str
    csrf : str
        What a form of this login must carry; empty when no account is needed.
    by_pin : bool
        Whether it came by a pin: it then does no more than a technician.
    scope : str or None
        Of the key a program shows for them; None where a person asks.
    """

    name: str
    role: Role
    csrf: str = ""
    by_pin: bool = False
    scope: Scope | None = None

    def signs(self, said: str = "") -> str:
        """Return who did a thing, where somebody typed who: whoever is logged in; another name stands beside it.

        Parameters
        ----------
        said : str
            Who it was, as typed; it alone counts where nobody has to log in.
        """
        said = " ".join(said.split())
        if not self.name:
            return said[:LONGEST_BY]
        if said in ("", self.name):
            return self.name
        return f"{self.name} (says: {said})"[:LONGEST_BY]

    def may(self, role: Role) -> bool:
        """Return whether this person may do what asks for a role."""
        return ROLES.index(self.role) >= ROLES.index(role)


LOCAL = Person("", "owner")
"""Whoever sits at the computer itself."""


class People:
    """Accounts and logins of a shop.

    Parameters
    ----------
    accounts : Accounts
    """

    def __init__(self, accounts: Accounts) -> None:
        self._accounts = accounts
        self._tries = Tries()

    def set_user(self, name: str, role: str, password: str, *, by: str = "") -> None:
        """Add a user, or give it a new password and role; its logins end.

        Raises
        ------
        BadInput
            Empty name, unknown role, a password that is too short, or the last owner would be none any more.
        """
        name = name.strip()
        if not name:
            raise BadInput(
                Said("refusal.the_name_is_empty"), remedy=Said("remedy.type_the_user_name")
            )
        if role not in ROLES:
            raise BadInput(
                Said("refusal.there_is_no_role", {"role": repr(role)}),
                remedy=Said("remedy.roles", {"known": ", ".join(ROLES)}),
            )
        if len(password) < SHORTEST_PASSWORD:
            raise BadInput(
                Said("refusal.the_password_has_characters", {"password": len(password)}),
                remedy=Said(
                    "remedy.take_or_more_a_short", {"shortest_password": SHORTEST_PASSWORD}
                ),
            )
        if role != "owner":
            self._refuse_last_owner(name)
        self._accounts.add_user(name, role, self._hash(password), by=by)

    def end_user(self, name: str, *, by: str = "") -> None:
        """End an account; its name stays on what it did.

        Raises
        ------
        NotThere
            No such user.
        BadInput
            The last owner.
        """
        known = {u.name: u for u in self.users()}
        if name not in known:
            raise NotThere(
                Said("refusal.there_is_no_user", {"name": repr(name)}),
                remedy=Said("remedy.look_at_the_list_of_users"),
            )
        self._refuse_last_owner(name)
        self._accounts.add_user(name, "", "", by=by)

    def _refuse_last_owner(self, name: str) -> None:
        """Raise `BadInput` when nobody but one is an owner: without one nobody could make another."""
        if [u.name for u in self.users() if u.role == "owner"] == [name]:
            raise BadInput(
                Said("refusal.is_the_last_owner", {"name": name}),
                remedy=Said("remedy.make_another_owner_first"),
            )

    def users(self) -> list[User]:
        """Return the users that may log in."""
        return [u for u in self._accounts.users() if u.role]

    def log_in(self, name: str, password: str, *, where: str = "") -> str:
        """Return a login's token, to be kept by the browser only.

        Parameters
        ----------
        where : str
            Address that asks.

        Raises
        ------
        BadInput
            Wrong name or password, or too many tries.
        """
        name = name.strip()
        user = self._accounts.user(name)
        known = user is not None and bool(user.role)
        kept = user.password_hash if user and known else ""
        self._prove(name, kept, password, "password", where)
        return self._begin(name)

    def set_pin(self, person: Person, pin: str) -> None:
        """Give oneself a pin for the bench; an empty one ends it.

        Raises
        ------
        BadInput
            It is not four to eight digits, or the first somebody would try; or nobody is logged in by
            password.
        """
        if not person.name or person.by_pin:
            raise BadInput(Said("refusal.a_pin_is_set_after"), remedy=Said("remedy.log_in_first"))
        if pin and not re.fullmatch(r"\d{4,8}", pin):
            raise BadInput(Said("refusal.a_pin_is_four_to"), remedy=Said("remedy.take_others"))
        if pin and (len(set(pin)) < 3 or pin in "01234567890" or pin in "09876543210"):
            raise BadInput(Said("refusal.that_pin_is_the_first"), remedy=Said("remedy.take_others"))
        self._accounts.set_pin(person.name, self._hash(pin) if pin else "")

    def with_pins(self) -> list[str]:
        """Return the names of those who may take over a bench by a pin."""
        return sorted(self._accounts.pins())

    def take_over(self, name: str, pin: str, *, token: str, where: str = "") -> str:
        """Return a new login's token for somebody else at a bench where somebody is logged in.

        Parameters
        ----------
        token : str
            Of the login that is taken over, which ends.
        where : str
            Address that asks.

        Raises
        ------
        BadInput
            Wrong pin, or too many tries.
        """
        self._prove(name, self._accounts.pins().get(name, ""), pin, "pin", where)
        self.log_out(token)
        return self._begin(name, by_pin=True)

    def _prove(self, name: str, known: str, typed: str, what: str, where: str) -> None:
        """Raise `BadInput` unless what was typed fits a hash; wrong ones have to wait, password or pin."""
        with self._tries.turn(name, where) as turn:
            turn.known = bool(known)
            try:  # a name that is not known takes as long as a wrong password
                _hasher.verify(known or _nobody(), typed)
                turn.good = bool(known)
            except (VerificationError, InvalidHashError):
                turn.good = False
        if not turn.good:
            raise BadInput(
                Said("refusal.name_or_is_wrong", {"what": Said(f"refused_noun.{what}")}),
                remedy=Said("remedy.try_again_or_ask_an"),
            )

    def _hash(self, secret: str) -> str:
        with self._tries.hashing():
            return _hasher.hash(secret)

    def prove_again(self, person: Person, password: str, *, where: str = "") -> None:
        """Raise `BadInput` unless it is the password of whoever is logged in; an open screen is not enough."""
        if not person.name or person.by_pin or person.scope:
            raise BadInput(
                Said("refusal.this_asks_for_a_login"), remedy=Said("remedy.log_in_first")
            )
        user = self._accounts.user(person.name)
        kept = user.password_hash if user and user.role else ""
        self._prove(person.name, kept, password, "password", where)

    def enter(self, passkey: Passkey) -> str:
        """Return the token of a login by a passkey that was just proved, its counter as it was shown."""
        return self._begin(passkey.name, passkey=passkey)

    def _begin(self, name: str, *, by_pin: bool = False, passkey: Passkey | None = None) -> str:
        token, csrf = secrets.token_urlsafe(32), secrets.token_urlsafe(24)
        until = utc_text(datetime.now(UTC) + timedelta(hours=LOGIN_HOURS))
        self._accounts.begin(name, _digest(token), csrf, until, by_pin=by_pin, passkey=passkey)
        return token

    def who(self, token: str) -> Person | None:
        """Return whose login a token is, or None."""
        found = self._accounts.login(_digest(token)) if token else None
        if found is None:
            return None
        role = ROLES[0] if found.by_pin else _role(found.role)
        return Person(found.name, role, found.csrf, found.by_pin)

    def make_key(self, person: Person, label: str, scope: str, days: int) -> str:
        """Make a key with which a program acts for a person; returns it, and it is never shown again.

        Parameters
        ----------
        label : str
            What it is for.
        scope : str
            ``read``: ask, and change nothing; ``write``: all that the person may, but keep users and keys;
            ``metrics``: the figures of a monitor alone.
        days : int
            Until it ends: 1 to 366.

        Raises
        ------
        BadInput
            One of these is none, or the person is not logged in by password.
        """
        if not person.name or person.by_pin or person.scope:
            raise BadInput(Said("refusal.a_key_is_made_after"), remedy=Said("remedy.log_in_first"))
        return self.make_key_of(person.name, label, scope, days)

    def make_key_of(self, name: str, label: str, scope: str, days: int) -> str:
        """Make a key of a user, at the computer itself; as `make_key`."""
        label = " ".join(label.split())
        if not 1 <= len(label) <= 80:
            raise BadInput(
                Said("refusal.say_what_the_key_is"), remedy=Said("remedy.one_to_80_letters")
            )
        if scope not in SCOPES:
            raise BadInput(
                Said("refusal.there_is_no_scope", {"scope": repr(scope)}),
                remedy=Said("remedy.known", {"known": ", ".join(SCOPES)}),
            )
        if not 1 <= days <= LONGEST_KEY_DAYS:
            raise BadInput(
                Said("refusal.a_key_of_days_is", {"days": days}),
                remedy=Said("remedy.days_of_a_key", {"most": LONGEST_KEY_DAYS}),
            )
        key = KEY_BEGINS + secrets.token_urlsafe(32)
        until = utc_text(datetime.now(UTC) + timedelta(days=days))
        if not self._accounts.add_key(name, label, _digest(key), scope, until):
            raise NotThere(
                Said("refusal.there_is_no_user", {"name": repr(name)}),
                remedy=Said("remedy.look_at_the_list_of_users"),
            )
        return key

    def keys(self, name: str = "") -> list[PersonsKey]:
        """Return the keys that were not ended, of one user or of all."""
        return [k for k in self._accounts.all_keys() if not name or k.name == name]

    def end_key(self, id_: str, person: Person) -> None:
        """End a key of one's own; an owner ends anybody's. Raises `NotThere` when there is none."""
        mine = self.keys("" if person.may("owner") else person.name)
        found = next((k for k in mine if k.id == id_), None)
        if found is None or person.scope:
            raise NotThere(
                Said("refusal.there_is_no_such_key"), remedy=Said("remedy.look_at_the_list_of_keys")
            )
        self._accounts.end_key(found, by=person.name)

    def by_key(self, key: str) -> Person | None:
        """Return for whom a key acts, or None."""
        found = self._accounts.key(_digest(key)) if key.startswith(KEY_BEGINS) else None
        if found is None:
            return None
        held, user = found
        return Person(user.name, _role(user.role), scope=_scope(held.scope))

    def log_out(self, token: str) -> None:
        """End a login."""
        found = self._accounts.login(_digest(token))
        if found:
            self._accounts.end(found)


def _role(name: str) -> Role:
    return next(r for r in ROLES if r == name)


def _scope(name: str) -> Scope:
    return next(s for s in SCOPES if s == name)


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def people_of(shop: Workshop) -> People:
    """Return the accounts and logins of an open shop."""
    return People(shop.book.accounts)
