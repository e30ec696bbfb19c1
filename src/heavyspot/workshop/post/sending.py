"""Sending what waits: each letter with its sheet as it was issued, and the proof into the piece's story."""

from __future__ import annotations

import smtplib
import ssl
from dataclasses import replace
from datetime import timedelta
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime

from ...ledger.store.entries import now_utc
from ...quantities.clock import time_of, utc_text
from ...quantities.errors import HeavyspotError, UnreadableFile
from ...quantities.said import Said, in_words
from ..sheets.issued import issued_sheet, pdf_of
from ..shop import Workshop
from ..shop_file import ShopFile, load_shop_file
from .letters import Letter, drop, keep, waiting_letters

PATIENCE_S = 30.0
FIRST_PAUSE_S, LONGEST_PAUSE_S = 60.0, 3600.0
REFUSED = 500
"""From this code on a server refuses for good (RFC 5321, 4.2.1)."""


def send_waiting(shop: Workshop) -> list[Letter]:
    """Send every letter whose time has come; returns those that still wait.

    A fault of one holds no other up: it stands in the letter, with when it is tried again.
    """
    settings = load_shop_file(shop.folder)
    if not settings.mail_host:
        return waiting_letters(shop)
    for letter in waiting_letters(shop):
        if letter.next_at and letter.next_at <= now_utc():
            _try(shop, settings, letter)
    return waiting_letters(shop)


def _try(shop: Workshop, settings: ShopFile, letter: Letter) -> None:
    try:
        if not _proven(shop, settings, letter):  # a cut between the server's yes and ours
            said = _send(shop, settings, letter)
            _prove(shop, settings, letter, said)
        drop(shop, letter.id)
    except smtplib.SMTPRecipientsRefused as fault:
        code, why = next(iter(fault.recipients.values()))
        _wait(shop, letter, f"{code} {_text(why)}", for_good=code >= REFUSED)
    except smtplib.SMTPResponseException as fault:
        for_good = fault.smtp_code >= REFUSED
        _wait(shop, letter, f"{fault.smtp_code} {_text(fault.smtp_error)}", for_good=for_good)
    except HeavyspotError as fault:
        _wait(shop, letter, f"{fault.message} {fault.remedy}", for_good=True)
    except (OSError, smtplib.SMTPException) as fault:
        _wait(shop, letter, f"{settings.mail_host}: {fault}", for_good=False)


def _send(shop: Workshop, settings: ShopFile, letter: Letter) -> str:
    """Hand a letter to the server; returns what the server said of it."""
    message = message_of(shop, settings, letter)
    secure = ssl.create_default_context()
    host, port = settings.mail_host, settings.mail_port
    own = settings.mail_from.rpartition("@")[2]  # not the computer's name, nor a look-up of it
    if settings.mail_security == "tls":
        server: smtplib.SMTP = smtplib.SMTP_SSL(host, port, own, timeout=PATIENCE_S, context=secure)
    else:
        server = smtplib.SMTP(host, port, own, timeout=PATIENCE_S)
    with server:
        if settings.mail_security == "starttls":
            server.starttls(context=secure)
        if settings.mail_user:
            server.login(settings.mail_user, _password(shop, settings))
        server.ehlo_or_helo_if_needed()
        code, why = server.mail(settings.mail_from)
        if code != 250:
            raise smtplib.SMTPSenderRefused(code, why, settings.mail_from)
        code, why = server.rcpt(letter.to)
        if code not in (250, 251):
            raise smtplib.SMTPRecipientsRefused({letter.to: (code, why)})
        code, why = server.data(message.as_bytes(policy=SMTP))
        if code != 250:
            raise smtplib.SMTPDataError(code, why)
        return f"{code} {_text(why)}"


def message_of(shop: Workshop, settings: ShopFile, letter: Letter) -> EmailMessage:
    """Return the message: a line in the shop's language, and the sheet as it was issued.

    Raises
    ------
    NotThere, LedgerFault
        The sheet is not kept, or is not as it was issued.
    """
    sheet = issued_sheet(shop, letter.sheet)
    pdf = pdf_of(shop, sheet)
    piece = next(iter(shop.book.jobs.pieces_by_id([sheet.piece_id])))
    say = {"number": sheet.number, "serial": piece.serial, "shop": settings.name}
    message = EmailMessage()
    head = {
        "From": settings.mail_from,
        "To": letter.to,
        "Subject": in_words(Said("mail.subject", say), settings.language),
        "Date": format_datetime(time_of(letter.at)),
        "Message-ID": letter.message_id(settings.mail_from.rpartition("@")[2]),
    }
    for name, value in head.items():
        message[name] = value
    message.set_content(in_words(Said("mail.body", say), settings.language))
    message.add_attachment(
        pdf, maintype="application", subtype="pdf", filename=f"sheet-{sheet.number}.pdf"
    )
    return message


def _password(shop: Workshop, settings: ShopFile) -> str:
    path = shop.folder / settings.mail_password_file
    try:
        return path.read_text(encoding="utf-8").strip()
    except OSError as fault:
        raise UnreadableFile(
            f"The mail password cannot be read: {path.name} ({fault.strerror}).",
            remedy="One line in that file of the data folder.",
        ) from None


def _proven(shop: Workshop, settings: ShopFile, letter: Letter) -> bool:
    """Whether the ledger has it already that this letter went."""
    name = letter.message_id(settings.mail_from.rpartition("@")[2])
    sheet = issued_sheet(shop, letter.sheet)
    told = shop.book.events.of_piece(sheet.piece_id)
    return any(e.kind == "mailed" and e.content.get("message_id") == name for e in told)


def _prove(shop: Workshop, settings: ShopFile, letter: Letter, answer: str) -> None:
    sheet = issued_sheet(shop, letter.sheet)
    content = {
        "number": sheet.number, "to": letter.to, "sha256": sheet.sha256, "server": settings.mail_host,
        "answer": answer[:400], "message_id": letter.message_id(settings.mail_from.rpartition("@")[2]),
    }  # fmt: skip
    shop.book.events.add(sheet.piece_id, "mailed", content, by=letter.by)


def _wait(shop: Workshop, letter: Letter, fault: str, *, for_good: bool) -> None:
    pause = min(LONGEST_PAUSE_S, FIRST_PAUSE_S * 2**letter.tries)
    later = utc_text(time_of(now_utc()) + timedelta(seconds=pause))
    keep(
        shop,
        replace(
            letter, tries=letter.tries + 1, fault=fault[:400], next_at="" if for_good else later
        ),
    )


def _text(said: bytes | str) -> str:
    return said.decode(errors="replace") if isinstance(said, bytes) else said
