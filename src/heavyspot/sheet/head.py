"""What every sheet says, and how its content is spelt and proved."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass

from ..quantities.said import Said


class Provable:
    """A report whose content has one spelling, and a digest of it."""

    def data(self) -> str:
        """Return the report as canonical JSON: sorted keys, no spaces."""
        return json.dumps(
            asdict(self),  # type: ignore[call-overload]  # every report is a dataclass
            sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False,
        )  # fmt: skip

    def digest(self) -> str:
        """Return the SHA-256 of `data`, hexadecimal."""
        return hashlib.sha256(self.data().encode()).hexdigest()


@dataclass(frozen=True, kw_only=True)
class Head(Provable):
    """What every sheet says: whose, of what, by whom, and how it is proved."""

    number: str
    issued_at: str
    shop: str
    address: str
    customer: str
    invoice: str
    serial: str
    model: str
    received: str
    rig: str
    calibration: tuple[Said, ...]
    operator: str
    run: int
    verdict: str
    recording_sha256: str
    uncertainty: tuple[Said, ...]
    cautions: tuple[Said, ...]
    issued_by: str
    replaces: str
    program: Said
    ledger: str
    verify_url: str
    simulated: bool = False
    """Whether it is of a simulated rig or a practice ledger: no measurement."""
