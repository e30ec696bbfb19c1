"""The shop's own key and certificate, ECDSA P-256: what signs its sheets and its proofs of arrival.

Both are made when first needed, unless the shop puts its own ``shop-key.pem`` and ``shop-certificate.pem``
into the data folder.
"""

from __future__ import annotations

import base64
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

from ..quantities.durable import write_bytes
from ..quantities.errors import LedgerFault

KEY, CERTIFICATE = "shop-key.pem", "shop-certificate.pem"
VALID_DAYS = 20 * 365

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
    write_bytes(folder / KEY, secret, private=True)
    write_bytes(folder / CERTIFICATE, certificate.public_bytes(pem))


def fingerprint(folder: Path) -> str:
    """Return the SHA-256 of the shop's certificate, hexadecimal; empty when there is none yet."""
    path = folder / CERTIFICATE
    return certificate_digest(path.read_text(encoding="ascii")) if path.exists() else ""


def certificate_digest(pem: str) -> str:
    """Return the SHA-256 of a certificate, hexadecimal; raises `ValueError` when it is none."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes

    return x509.load_pem_x509_certificate(pem.encode()).fingerprint(hashes.SHA256()).hex()


def sign_words(words: str, folder: Path, *, name: str) -> str:
    """Return the shop's signature of a text, base64 (ECDSA over SHA-256)."""
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    make_certificate(folder, name)
    key = serialization.load_pem_private_key((folder / KEY).read_bytes(), None)
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise LedgerFault(f"{KEY} is no key of an elliptic curve.", remedy="Put such a key there.")
    return base64.b64encode(key.sign(words.encode(), ec.ECDSA(hashes.SHA256()))).decode()


def fits(words: str, signature: str, certificate: bytes) -> bool:
    """Whether a text was signed with the key of a certificate, PEM."""
    from cryptography import x509
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec

    key = x509.load_pem_x509_certificate(certificate).public_key()
    if not isinstance(key, ec.EllipticCurvePublicKey):
        return False
    try:
        key.verify(base64.b64decode(signature), words.encode(), ec.ECDSA(hashes.SHA256()))
    except (InvalidSignature, ValueError):
        return False
    return True
