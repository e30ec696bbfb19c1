"""Who may do what: accounts, passwords and logins."""

from __future__ import annotations

import hashlib
import re
import secrets
import threading
import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from ..ledger.records import User
from ..ledger.store.accounts import Accounts
from ..ledger.store.entries import utc_text
from ..quantities.errors import BadInput, NotThere
from .shop import Workshop

Role = Literal["technician", "inspector", "owner"]
ROLES: tuple[Role, ...] = ("technician", "inspector", "owner")
"""Each may do all that those before it may."""

SHORTEST_PASSWORD = 10
LOGIN_HOURS = 12.0
"""A shift."""

FREE_TRIES = 5
"""Wrong passwords of one name before it has to wait; the wait doubles from one second."""

_hasher = PasswordHasher()
_NOBODY = _hasher.hash("nobody has this password")


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
    """

    name: str
    role: Role
    csrf: str = ""
    by_pin: bool = False

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
        self._tries: dict[str, tuple[int, float]] = {}
        self._lock = threading.Lock()

    def set_user(self, name: str, role: str, password: str, *, by: str = "") -> None:
        """Add a user, or give it a new password and role; its logins end.

        Raises
        ------
        BadInput
            Empty name, unknown role, or a password that is too short.
        """
        name = name.strip()
        if not name:
            raise BadInput("The name is empty.", remedy="Type the user's name.")
        if role not in ROLES:
            raise BadInput(f"There is no role {role!r}.", remedy="Roles: " + ", ".join(ROLES) + ".")
        if len(password) < SHORTEST_PASSWORD:
            raise BadInput(
                f"The password has {len(password)} characters.",
                remedy=f"Take {SHORTEST_PASSWORD} or more; a short sentence is easy to remember.",
            )
        self._accounts.add_user(name, role, _hasher.hash(password), by=by)

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
            raise NotThere(f"There is no user {name!r}.", remedy="Look at the list of users.")
        owners = [u for u in known.values() if u.role == "owner"]
        if known[name].role == "owner" and len(owners) == 1:
            raise BadInput(f"{name} is the last owner.", remedy="Make another owner first.")
        self._accounts.add_user(name, "", "", by=by)

    def users(self) -> list[User]:
        """Return the users that may log in."""
        return [u for u in self._accounts.users() if u.role]

    def log_in(self, name: str, password: str) -> str:
        """Return a login's token, to be kept by the browser only.

        Raises
        ------
        BadInput
            Wrong name or password, or too many tries.
        """
        name = name.strip()
        user = self._accounts.user(name)
        known = user is not None and bool(user.role)
        self._prove(name, user.password_hash if user and known else "", password, "password")
        return self._begin(name, by_pin=False)

    def set_pin(self, person: Person, pin: str) -> None:
        """Give oneself a pin for the bench; an empty one ends it.

        Raises
        ------
        BadInput
            It is not four to eight digits, or the first somebody would try; or nobody is logged in by
            password.
        """
        if not person.name or person.by_pin:
            raise BadInput("A pin is set after a login by password.", remedy="Log in first.")
        if pin and not re.fullmatch(r"\d{4,8}", pin):
            raise BadInput("A pin is four to eight digits.", remedy="Take others.")
        if pin and (len(set(pin)) < 3 or pin in "01234567890" or pin in "09876543210"):
            raise BadInput("That pin is the first somebody would try.", remedy="Take others.")
        self._accounts.set_pin(person.name, _hasher.hash(pin) if pin else "")

    def with_pins(self) -> list[str]:
        """Return the names of those who may take over a bench by a pin."""
        return sorted(self._accounts.pins())

    def take_over(self, name: str, pin: str, *, token: str) -> str:
        """Return a new login's token for somebody else at a bench where somebody is logged in.

        Parameters
        ----------
        token : str
            Of the login that is taken over, which ends.

        Raises
        ------
        BadInput
            Wrong pin, or too many tries.
        """
        self._prove(name, self._accounts.pins().get(name, ""), pin, "pin")
        self.log_out(token)
        return self._begin(name, by_pin=True)

    def _prove(self, name: str, known: str, typed: str, what: str) -> None:
        """Raise `BadInput` unless what was typed fits a hash; wrong ones have to wait, password or pin."""
        self._wait_over(name)
        try:  # a name that is not known takes as long as a wrong password
            _hasher.verify(known or _NOBODY, typed)
            good = bool(known)
        except (VerificationError, InvalidHashError):
            good = False
        if not good:
            self._count(name)
            raise BadInput(f"Name or {what} is wrong.", remedy="Try again, or ask an owner.")
        with self._lock:
            self._tries.pop(name, None)

    def _begin(self, name: str, *, by_pin: bool) -> str:
        token, csrf = secrets.token_urlsafe(32), secrets.token_urlsafe(24)
        until = utc_text(datetime.now(UTC) + timedelta(hours=LOGIN_HOURS))
        self._accounts.begin(name, _digest(token), csrf, until, by_pin=by_pin)
        return token

    def who(self, token: str) -> Person | None:
        """Return whose login a token is, or None."""
        found = self._accounts.login(_digest(token)) if token else None
        if found is None:
            return None
        role = ROLES[0] if found.by_pin else _role(found.role)
        return Person(found.name, role, found.csrf, found.by_pin)

    def log_out(self, token: str) -> None:
        """End a login."""
        found = self._accounts.login(_digest(token))
        if found:
            self._accounts.end(found)

    def _wait_over(self, name: str) -> None:
        with self._lock:
            tries, last = self._tries.get(name, (0, 0.0))
        wait_s = 2.0 ** min(tries - FREE_TRIES, 9) if tries >= FREE_TRIES else 0.0
        left_s = last + wait_s - time.monotonic()
        if left_s > 0:
            raise BadInput(
                f"Too many wrong passwords for {name}.", remedy=f"Try again in {left_s:.0f} s."
            )

    def _count(self, name: str) -> None:
        with self._lock:
            tries, _ = self._tries.get(name, (0, 0.0))
            if len(self._tries) > 10_000:  # names made up by the thousand must not fill memory
                self._tries.clear()
            self._tries[name] = (tries + 1, time.monotonic())


def _role(name: str) -> Role:
    return next(r for r in ROLES if r == name)


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def people_of(shop: Workshop) -> People:
    """Return the accounts and logins of an open shop."""
    return People(shop.book.accounts)
