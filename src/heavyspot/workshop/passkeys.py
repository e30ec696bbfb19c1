"""Passkeys beside passwords (W3C Web Authentication, level 2): a device signs that its person is there.

Only the public key is kept. A passkey holds for one name of the shop's server, by the browser's own rule; so a page
elsewhere that looks like ours gets nothing. What a browser sends back is checked by py_webauthn; here is which
challenge, name and page are ours, and that each challenge is good once.
"""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import secrets
import threading
import time
from base64 import urlsafe_b64decode
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace

from ..ledger.records import Passkey
from ..ledger.store.accounts import Accounts
from ..quantities.errors import BadInput, HeavyspotError, NotThere
from ..quantities.said import Said
from .people import People, Person

GOOD_FOR_S = 120.0
"""Seconds a challenge is good for: time to find the key and touch it."""

LARGEST_ANSWER = 20_000
"""Letters of what a browser sends back; some certificates of a device's maker come with it."""

LONGEST_LABEL = 80
MOST_OF_ONE = 20
"""Passkeys of one person."""

OURS = "Heavyspot"
LOGIN = "login"


@dataclass(frozen=True)
class Site:
    """Under which name and at which origin a browser has the shop open."""

    rp_id: str
    origin: str


def site_of(scheme: str, host: str) -> Site:
    """Return the site of a page, as a browser names it.

    Parameters
    ----------
    scheme : str
        ``http`` or ``https``, as the browser sees it.
    host : str
        The request's own host, with a port where there is one.

    Raises
    ------
    BadInput
        Browsers make no passkeys there: not over https, or at an address in figures instead of a name.
    """
    host = host.lower()
    name, _, port = host.partition(":") if not host.startswith("[") else (host, "", "")
    if scheme != "https" and name != "localhost":
        raise BadInput(
            Said("refusal.passkeys_work_only_over_https"),
            remedy=Said("remedy.start_the_server_with_tls"),
        )
    if not name or _in_figures(name):
        raise BadInput(
            Said("refusal.passkeys_work_only_where_the"),
            remedy=Said("remedy.open_it_by_its_name"),
        )
    usual = "443" if scheme == "https" else "80"
    return Site(name, f"{scheme}://{name}" + (f":{port}" if port not in ("", usual) else ""))


def _in_figures(name: str) -> bool:
    try:
        ipaddress.ip_address(name.strip("[]"))
    except ValueError:
        return name.startswith("[")
    return True


class Challenges:
    """Challenges that need no list: signed with a key of this start, so that asking for many fills nothing.

    Remembered is only which of them have let somebody in, until they would be too old anyway.
    """

    def __init__(self) -> None:
        self._key = secrets.token_bytes(32)
        self._lock = threading.Lock()
        self._spent: dict[bytes, float] = {}

    def new(self, purpose: str) -> bytes:
        """Return a challenge for one purpose."""
        begin = secrets.token_bytes(24) + round(1000 * self._now()).to_bytes(8, "big")
        return begin + self._signed(purpose, begin)

    def check(self, purpose: str, challenge: bytes) -> None:
        """Raise `BadInput` unless it is one of ours, for this purpose, and not too old."""
        begin, signed = challenge[:32], challenge[32:]
        if not hmac.compare_digest(signed, self._signed(purpose, begin)):
            raise BadInput(
                Said("refusal.this_passkey_answers_another_question"),
                remedy=Said("remedy.try_again"),
            )
        age_s = self._now() - int.from_bytes(begin[24:], "big") / 1000
        if not -1.0 <= age_s <= GOOD_FOR_S:
            raise BadInput(Said("refusal.that_took_too_long"), remedy=Said("remedy.try_again"))

    def spend(self, challenge: bytes) -> None:
        """Note that a challenge was answered rightly; raises `BadInput` where it was before."""
        with self._lock:
            now = self._now()
            for old in [c for c, until in self._spent.items() if until < now]:
                del self._spent[old]
            if challenge in self._spent:
                raise BadInput(
                    Said("refusal.this_answer_was_given_before"), remedy=Said("remedy.try_again")
                )
            self._spent[challenge] = now + GOOD_FOR_S + 1.0

    def _signed(self, purpose: str, begin: bytes) -> bytes:
        return hmac.digest(self._key, purpose.encode() + b"\0" + begin, "sha256")

    @staticmethod
    def _now() -> float:
        return time.monotonic()  # no clock that somebody can set


class Passkeys:
    """The passkeys of a shop's people.

    Parameters
    ----------
    accounts : Accounts
    people : People
    """

    def __init__(self, accounts: Accounts, people: People) -> None:
        self._accounts, self._people = accounts, people
        self._challenges = Challenges()

    def begin_adding(self, person: Person, password: str, site: Site, *, where: str = "") -> str:
        """Return what the browser needs to make a passkey, JSON, for whoever is logged in and types their password.

        Raises
        ------
        BadInput
            Wrong password, too many tries, a login by pin, or too many passkeys.
        """
        import webauthn
        from webauthn.helpers import structs

        self._people.prove_again(person, password, where=where)
        mine = self.passkeys(person.name)
        if len(mine) >= MOST_OF_ONE:
            raise BadInput(
                Said("refusal.passkeys_are_enough", {"most_of_one": MOST_OF_ONE}),
                remedy=Said("remedy.end_one_first"),
            )
        needed = structs.AuthenticatorSelectionCriteria(
            resident_key=structs.ResidentKeyRequirement.REQUIRED,  # so that no name is asked for
            require_resident_key=True,
            user_verification=structs.UserVerificationRequirement.REQUIRED,
        )
        options = webauthn.generate_registration_options(
            rp_id=site.rp_id,
            rp_name=OURS,
            user_name=person.name,
            user_id=_handle(person.name),
            challenge=self._challenges.new(_adding(person)),
            timeout=round(1000 * GOOD_FOR_S),
            authenticator_selection=needed,
            exclude_credentials=[
                structs.PublicKeyCredentialDescriptor(id=_bytes(k.credential_id))
                for k in mine
                if k.rp_id == site.rp_id
            ],
        )
        return webauthn.options_to_json(options)

    def add(self, person: Person, label: str, answer: str, site: Site) -> None:
        """Keep a passkey that a browser has just made.

        Raises
        ------
        BadInput
            It answers another question, was made at another page, without its person being verified, or is
            known already; nothing was kept.
        """
        import webauthn
        from webauthn.helpers import parse_client_data_json, parse_registration_credential_json

        label = " ".join(label.split())
        if not 1 <= len(label) <= LONGEST_LABEL:
            raise BadInput(
                Said("refusal.say_which_device_it_is"),
                remedy=Said("remedy.one_to_letters", {"longest_label": LONGEST_LABEL}),
            )
        with _refusals():
            shown = parse_registration_credential_json(_short(answer))
            challenge = parse_client_data_json(shown.response.client_data_json).challenge
            self._challenges.check(_adding(person), challenge)
            made = webauthn.verify_registration_response(
                credential=shown,
                expected_challenge=challenge,
                expected_rp_id=site.rp_id,
                expected_origin=site.origin,
                require_user_verification=True,
            )
        self._challenges.spend(challenge)
        known_by = _text(made.credential_id)
        if not self._accounts.add_passkey(
            person.name, label, known_by, made.credential_public_key, made.sign_count, site.rp_id
        ):
            raise BadInput(
                Said("refusal.this_passkey_is_known_already"),
                remedy=Said("remedy.look_at_the_list_of"),
            )

    def begin_login(self, site: Site) -> str:
        """Return what the browser needs to show a passkey, JSON; it tells nothing about who has one."""
        import webauthn
        from webauthn.helpers import structs

        options = webauthn.generate_authentication_options(
            rp_id=site.rp_id,
            challenge=self._challenges.new(LOGIN),
            timeout=round(1000 * GOOD_FOR_S),
            user_verification=structs.UserVerificationRequirement.REQUIRED,
        )
        return webauthn.options_to_json(options)

    def log_in(self, answer: str, site: Site) -> str:
        """Return a login's token, as `People.log_in`, for a browser's answer.

        Raises
        ------
        BadInput
            No such passkey, or what it signs does not fit: question, page, name, person, counter.
        """
        import webauthn
        from webauthn.helpers import parse_authentication_credential_json, parse_client_data_json

        with _refusals():
            shown = parse_authentication_credential_json(_short(answer))
            challenge = parse_client_data_json(shown.response.client_data_json).challenge
            self._challenges.check(LOGIN, challenge)
            found = next((k for k in self.passkeys() if k.credential_id == shown.id), None)
            if found is None or found.rp_id != site.rp_id:
                raise BadInput(_WRONG, remedy=_INSTEAD)
            if shown.response.user_handle and shown.response.user_handle != _handle(found.name):
                raise BadInput(_WRONG, remedy=_INSTEAD)  # the device keeps it for another person
            proved = webauthn.verify_authentication_response(
                credential=shown,
                expected_challenge=challenge,
                expected_rp_id=found.rp_id,
                expected_origin=site.origin,
                credential_public_key=found.public_key,
                credential_current_sign_count=found.sign_count,
                require_user_verification=True,
            )
        self._challenges.spend(challenge)
        return self._people.enter(replace(found, sign_count=proved.new_sign_count))

    def passkeys(self, name: str = "") -> list[Passkey]:
        """Return the passkeys that hold, of one person or of all."""
        return [k for k in self._accounts.all_passkeys() if not name or k.name == name]

    def end(self, id_: str, person: Person) -> None:
        """End a passkey of one's own; an owner ends anybody's. Raises `NotThere` when there is none."""
        mine = self.passkeys("" if person.may("owner") else person.name)
        found = next((k for k in mine if k.id == id_), None)
        if found is None or person.scope or person.by_pin:
            raise NotThere(
                Said("refusal.there_is_no_such_passkey"), remedy=Said("remedy.look_at_the_list_of")
            )
        self._accounts.end_passkey(found, by=person.name)


_WRONG = Said("refusal.passkey_does_not_let_in")
_INSTEAD = Said("remedy.log_in_with_the_password")


@contextmanager
def _refusals() -> Iterator[None]:
    """Make a refusal of whatever goes wrong in reading what a stranger sent; which it was is not told."""
    try:
        yield
    except HeavyspotError:
        raise
    except Exception:
        raise BadInput(_WRONG, remedy=_INSTEAD) from None


def _short(answer: str) -> str:
    if len(answer) > LARGEST_ANSWER:
        raise BadInput(_WRONG, remedy=_INSTEAD)
    return answer


def _adding(person: Person) -> str:
    return f"add {person.name}"


def _handle(name: str) -> bytes:
    """Return what a device knows a person by: no name, as others may read it there (user handle)."""
    return hashlib.sha256(f"heavyspot person {name}".encode()).digest()


def _bytes(text: str) -> bytes:
    return urlsafe_b64decode(text + "=" * (-len(text) % 4))


def _text(data: bytes) -> str:
    from webauthn.helpers import bytes_to_base64url

    return bytes_to_base64url(data)
