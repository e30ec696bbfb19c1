"""The shop's own file, ``shop.toml`` in the data folder: every key optional, unknown keys refused."""

from __future__ import annotations

import re
from ipaddress import ip_network
from pathlib import Path
from typing import Annotated, Literal

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    field_validator,
    model_validator,
)

from ..quantities.dates import known_zone
from ..quantities.errors import BadInput, UnreadableFile
from ..sources.sidecar import first_fault
from ..sources.toml_text import read_toml

NEVER_THE_PEDAL = {"Enter", " ", "Tab", "Escape"}
"""Keys that press, leave or close what has the focus on every page."""


class ShopFile(BaseModel):
    """Name and address as they stand on a sheet."""

    model_config = ConfigDict(extra="forbid")
    name: str = "Turbocharger workshop"
    address: str = ""
    cautions: list[str] = []
    fitting: Annotated[list[Annotated[str, Field(max_length=60)]], Field(max_length=6)] = []
    timezone: str = ""
    verify_url: str = ""
    ledger_url: str = ""
    recordings_url: str = ""
    timestamp_url: str = ""
    keep_recordings_days: Annotated[int, Field(ge=0)] = 0
    keep_last_recording: bool = True
    language: Literal["en", "de", "fr", "es", "zh"] = "en"
    paper: Literal["a4", "letter"] = "a4"
    accent: Annotated[str, Field(pattern="^#[0-9a-fA-F]{6}$")] = "#b5371f"
    logo: str = ""
    pedal_key: Annotated[str, Field(min_length=1, max_length=20)] = "PageDown"
    scan_prefix: Annotated[str, Field(max_length=20)] = ""
    scan_end: Literal["Enter", "Tab"] = "Enter"
    scan_gap_ms: Annotated[int, Field(ge=5, le=200)] = 40
    mail_host: Annotated[str, Field(pattern=r"^[A-Za-z0-9.:-]*$", max_length=253)] = ""
    mail_port: Annotated[int, Field(ge=1, le=65535)] = 587
    mail_security: Literal["starttls", "tls", "none"] = "starttls"
    mail_user: Annotated[str, Field(max_length=200)] = ""
    mail_password_file: Annotated[str, Field(pattern=r"^[\w.-]+$", max_length=80)] = "mail-password"
    mail_from: Annotated[str, Field(max_length=254)] = ""

    hook_networks: Annotated[list[str], Field(max_length=20)] = []

    @field_validator("hook_networks")
    @classmethod
    def _networks_there_are(cls, networks: list[str]) -> list[str]:
        for one in networks:
            ip_network(one)  # its ValueError says what is wrong
        return networks

    @field_validator("timezone")
    @classmethod
    def _a_zone_there_is(cls, name: str) -> str:
        try:
            return known_zone(name)
        except BadInput as fault:
            raise ValueError(f"{fault} {fault.remedy}") from None

    @model_validator(mode="after")
    def _a_key_means_one_thing(self) -> ShopFile:
        if self.pedal_key in NEVER_THE_PEDAL or self.pedal_key in (self.scan_end, self.scan_prefix):
            raise ValueError(f"pedal_key: {self.pedal_key!r} is a scanner's key or a page's own")
        return self

    @model_validator(mode="after")
    def _a_mail_that_can_go(self) -> ShopFile:
        if self.mail_host and not re.fullmatch(r"[^@\s<>,;]+@[A-Za-z0-9.-]+", self.mail_from):
            raise ValueError("mail_from: the shop's own address is needed beside mail_host")
        here = self.mail_host in ("localhost", "127.0.0.1", "::1")
        if self.mail_user and self.mail_security == "none" and not here:
            raise ValueError(
                "mail_security: a password does not go to another computer in the clear"
            )
        return self


def load_shop_file(folder: Path) -> ShopFile:
    """Return the shop's settings; defaults when there is no file.

    Raises
    ------
    UnreadableFile
        It is not TOML, or has a key that is not known.
    """
    path = folder / "shop.toml"
    if not path.exists():
        return ShopFile()
    try:
        return ShopFile.model_validate(read_toml(path))
    except ValidationError as fault:
        raise UnreadableFile(
            f"shop.toml: {first_fault(fault)}", remedy="docs/reference/shop-file.md lists the keys."
        ) from None
