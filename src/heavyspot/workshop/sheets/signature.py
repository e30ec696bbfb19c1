"""A sheet's signature: PAdES with the shop's own certificate, by pyHanko, and the check a stranger can make."""

from __future__ import annotations

import asyncio
import hashlib
import io
import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path
from typing import Any

from ...quantities.errors import LedgerFault, UnreadableFile, need
from ..shop_key import CERTIFICATE, KEY, make_certificate

FIELD = "Shop"


def signed(pdf: bytes, folder: Path, *, name: str) -> bytes:
    """Return a PDF signed with the shop's certificate.

    Raises
    ------
    LedgerFault
        Key or certificate cannot be read.
    """
    need("pyhanko", "sheets", "Signed sheets")
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign import signers
    from pyhanko.sign.fields import SigSeedSubFilter

    make_certificate(folder, name)
    load = signers.SimpleSigner.load
    signer = load(str(folder / KEY), str(folder / CERTIFICATE))  # type: ignore[no-untyped-call]  # pyHanko leaves it so
    if signer is None:
        raise LedgerFault(
            f"{KEY} or {CERTIFICATE} in the data folder cannot be read.",
            remedy="Both are PEM; the key has no passphrase.",
        )
    meta = signers.PdfSignatureMetadata(
        field_name=FIELD, md_algorithm="sha256", subfilter=SigSeedSubFilter.PADES, name=name
    )
    out = io.BytesIO()
    writer = IncrementalPdfFileWriter(io.BytesIO(pdf))
    _outside_loops(lambda: signers.sign_pdf(writer, meta, signer=signer, output=out))
    return out.getvalue()


def _outside_loops(do: Callable[[], Any]) -> Any:
    """Call what begins an event loop of its own; in a thread where one runs already, as in a notebook."""
    try:
        asyncio.get_running_loop()
    except RuntimeError:
        return do()
    with ThreadPoolExecutor(1) as apart:
        return apart.submit(do).result()


@dataclass(frozen=True)
class SheetCheck:
    """What a sheet says of itself.

    Attributes
    ----------
    signed_by : str
        Name on the certificate; empty when there is no signature.
    fingerprint : str
        SHA-256 of the certificate.
    signed_at : str
    intact : bool
        Whether every byte is as it was signed.
    data : dict
        The sheet's attached data.
    digest : str
        SHA-256 of it.
    why : str
        What is wrong; empty when nothing is.
    """

    signed_by: str
    fingerprint: str
    signed_at: str
    intact: bool
    data: dict[str, Any]
    digest: str
    why: str = ""


def check_sheet(pdf: bytes) -> SheetCheck:
    """Return what a sheet says of itself; needs no ledger and no network.

    Raises
    ------
    UnreadableFile
        It is no PDF.
    """
    need("pyhanko", "sheets", "Signed sheets")
    from pyhanko.pdf_utils.reader import PdfFileReader
    from pyhanko.sign.validation import validate_pdf_signature

    if not pdf.startswith(b"%PDF"):
        raise UnreadableFile("This is no PDF.", remedy="Give the sheet as it was sent.")
    try:
        reader = PdfFileReader(io.BytesIO(pdf), strict=False)
        data = _attached(reader)
        found = reader.embedded_regular_signatures
        if not found:
            return SheetCheck("", "", "", False, data, _digest(data), "It carries no signature.")
        status = _outside_loops(lambda: validate_pdf_signature(found[0], _trusting(found[0])))
    except Exception as fault:  # a damaged file may fail anywhere inside the reader
        why = f"It is damaged ({type(fault).__name__}: {str(fault)[:120]})."
        return SheetCheck("", "", "", False, {}, "", why)
    whole = status.coverage is not None and status.coverage.name == "ENTIRE_FILE"
    intact = bool(status.intact and status.valid and whole and len(found) == 1)
    certificate = status.signing_cert
    why = ""
    if not status.intact:
        why = "Bytes under the signature were changed."
    elif not status.valid:
        why = "The signature does not fit its certificate."
    elif not intact:
        why = "Something was added after it was signed."
    at = status.signer_reported_dt
    return SheetCheck(
        certificate.subject.native.get("common_name", ""),
        certificate.sha256.hex(),
        at.astimezone(UTC).isoformat(timespec="seconds") if at else "",
        intact,
        data,
        _digest(data),
        why,
    )


def _trusting(signature: Any) -> Any:
    """Trust the certificate for the mathematics; whose it is, its fingerprint tells."""
    from pyhanko_certvalidator import ValidationContext

    return ValidationContext(trust_roots=[signature.signer_cert], allow_fetching=False)


def _attached(reader: Any) -> dict[str, Any]:
    names = reader.root["/Names"]["/EmbeddedFiles"]["/Names"]
    for i in range(0, len(names), 2):
        if str(names[i]) == "sheet.json":
            stream = names[i + 1]["/EF"]["/F"]
            content: dict[str, Any] = json.loads(stream.data)
            return content
    return {}


def _digest(data: dict[str, Any]) -> str:
    spelled = json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(spelled.encode()).hexdigest() if data else ""
