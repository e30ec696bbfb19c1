"""A device that keeps passkeys, in software: after W3C Web Authentication, 6.1 and 6.5, from memory.

The browser's own device checks the same over again in `web/browser/people/test_passkeys.py`.
"""

from __future__ import annotations

import hashlib
import json
import secrets
from base64 import urlsafe_b64decode, urlsafe_b64encode

import cbor2
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256

PRESENT, VERIFIED, MAY_BE_BACKED_UP, BACKED_UP, WITH_KEY = 1, 4, 8, 16, 64


def text(data):
    return urlsafe_b64encode(data).rstrip(b"=").decode()


def data_of(said):
    return urlsafe_b64decode(said + "=" * (-len(said) % 4))


class Device:
    """One passkey; a counter of 0 for ever, as those have that are on several devices, unless it counts."""

    def __init__(self, origin, *, counts=False, flags=PRESENT | VERIFIED):
        self.origin, self.counts, self.flags = origin, counts, flags
        self.key = ec.generate_private_key(ec.SECP256R1())
        self.id, self.count, self.rp_id, self.handle = secrets.token_bytes(32), 0, "", ""

    def make(self, options, **lies):
        """Answer navigator.credentials.create()."""
        told = json.loads(options)
        self.rp_id, self.handle = told["rp"]["id"], told["user"]["id"]
        n = self.key.public_key().public_numbers()
        cose = {1: 2, 3: -7, -1: 1, -2: n.x.to_bytes(32, "big"), -3: n.y.to_bytes(32, "big")}
        attested = bytes(16) + len(self.id).to_bytes(2, "big") + self.id + cbor2.dumps(cose)
        data = self._data(lies.get("rp_id", self.rp_id), WITH_KEY) + attested
        statement = {"fmt": "none", "attStmt": {}, "authData": data}
        response = {
            "clientDataJSON": text(self._client("webauthn.create", told["challenge"], **lies)),
            "attestationObject": text(cbor2.dumps(statement)),
        }
        return self._answer(response)

    def show(self, options, **lies):
        """Answer navigator.credentials.get()."""
        told = json.loads(options)
        client = self._client("webauthn.get", told["challenge"], **lies)
        data = self._data(lies.get("rp_id", self.rp_id))
        signed = self.key.sign(data + hashlib.sha256(client).digest(), ec.ECDSA(SHA256()))
        response = {
            "clientDataJSON": text(client), "authenticatorData": text(data),
            "signature": text(lies.get("signature", signed)), "userHandle": lies.get("handle", self.handle),
        }  # fmt: skip
        return self._answer(response)

    def _data(self, rp_id, more=0):
        self.count += self.counts
        flags = bytes([self.flags | more])
        return hashlib.sha256(rp_id.encode()).digest() + flags + self.count.to_bytes(4, "big")

    def _client(self, kind, asked, **lies):
        said = {"type": kind, "challenge": lies.get("challenge", asked)}
        return json.dumps(said | {"origin": lies.get("origin", self.origin)}).encode()

    def _answer(self, response):
        known_by = text(self.id)
        return json.dumps(
            {"id": known_by, "rawId": known_by, "type": "public-key", "response": response}
        )
