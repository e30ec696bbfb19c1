"""A sheet's signature: PAdES with the shop's own certificate, and the check a stranger can make.

Signing and checking by pyHanko; key and certificate are ECDSA P-256, made at the first sheet unless the shop
puts its own ``shop-key.pem`` and ``shop-certificate.pem`` into the data folder.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import threading
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from ..quantities.errors import LedgerFault, UnreadableFile

KEY, CERTIFICATE = "shop-key.pem", "shop-certificate.pem"
VALID_DAYS = 20 * 365
FIELD = "Shop"

_making = threading.Lock()


def make_certificate(folder: Path, name: str) -> None:
    """Make the shop's key and a certificate it signs itself; leaves those that are there."""
    with _making:
        _make(folder, name)


def _make(folder: Path, name: str) -> None:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import NameOID

    there = [(folder / file).exists() for file in (KEY, CERTIFICATE)]
    if all(there):
        return
    if any(there):
        raise LedgerFault(
            f"Of {KEY} and {CERTIFICATE} only one is in the data folder.",
            remedy="Put both there, or neither: then they are made.",
        )
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name[:64])])
    now = datetime.now(UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=VALID_DAYS))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(
            x509.KeyUsage(
                digital_signature=True, content_commitment=True, key_encipherment=False,
                data_encipherment=False, key_agreement=False, key_cert_sign=False, crl_sign=False,
                encipher_only=False, decipher_only=False,
            ),
            critical=True,
        )
        .sign(key, hashes.SHA256())
    )  # fmt: skip
    pem = serialization.Encoding.PEM
    secret = key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    _write(folder / KEY, secret, 0o600)
    _write(folder / CERTIFICATE, certificate.public_bytes(pem), 0o644)


def _write(path: Path, content: bytes, mode: int) -> None:
    part = path.with_name(path.name + ".part")
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)


def signed(pdf: bytes, folder: Path, *, name: str) -> bytes:
    """Return a PDF signed with the shop's certificate.

    Raises
    ------
    LedgerFault
        Key or certificate cannot be read.
    """
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
    signers.sign_pdf(IncrementalPdfFileWriter(io.BytesIO(pdf)), meta, signer=signer, output=out)
    return out.getvalue()


def fingerprint(folder: Path) -> str:
    """Return the SHA-256 of the shop's certificate, hexadecimal; empty when there is none yet."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes

    path = folder / CERTIFICATE
    if not path.exists():
        return ""
    return x509.load_pem_x509_certificate(path.read_bytes()).fingerprint(hashes.SHA256()).hex()


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
        status = validate_pdf_signature(found[0], _trusting(found[0]))
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
