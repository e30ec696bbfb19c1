"""Sheets by mail over TLS, against a server whose certificate is made here: trusted, and not trusted."""

import datetime
import ipaddress
import smtplib
import socket
import ssl

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from workshop.post import test_post
from workshop.post.test_post import Box, write_settings

from heavyspot.workshop.post import mail_sheet, send_waiting
from heavyspot.workshop.sheets.issue import issue_sheet
from heavyspot.workshop.shop_file import load_shop_file

shop = test_post.shop


class StartTls(Controller):
    """TLS when it is asked for; nothing is taken before."""

    tls: ssl.SSLContext

    def factory(self):
        return SMTP(self.handler, tls_context=self.tls, require_starttls=True)


@pytest.fixture(scope="module")
def certificate(tmp_path_factory):
    """A certificate of 127.0.0.1 that signs itself; and the context of a server that has it."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "127.0.0.1")])
    now = datetime.datetime.now(datetime.UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(days=1))
        .not_valid_after(now + datetime.timedelta(days=2))
        .add_extension(
            x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]), False
        )
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), True)
        .sign(key, hashes.SHA256())
    )
    pem = serialization.Encoding.PEM
    folder = tmp_path_factory.mktemp("tls")
    (folder / "certificate.pem").write_bytes(made.public_bytes(pem))
    (folder / "key.pem").write_bytes(
        key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    )
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(folder / "certificate.pem", folder / "key.pem")
    return folder / "certificate.pem", context


def free_port():
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


@pytest.fixture
def box():
    """Where nobody listens yet: each test says how its server speaks."""
    return Box(free_port())


def serving(box, security, context):
    if security == "tls":
        return Controller(
            box, hostname="127.0.0.1", port=box.port, ready_timeout=60, ssl_context=context
        )
    made = StartTls(box, hostname="127.0.0.1", port=box.port, ready_timeout=60)
    made.tls = context
    return made


@pytest.mark.parametrize("security", ["starttls", "tls"])
@pytest.mark.parametrize("trusted", [True, False])
def test_a_sheet_goes_over_tls_to_a_server_that_is_trusted_and_to_no_other(
    shop,
    box,
    certificate,
    monkeypatch,
    security,
    trusted,
):
    if trusted:
        monkeypatch.setenv("SSL_CERT_FILE", str(certificate[0]))
    write_settings(shop.folder, box.port)
    path = shop.folder / "shop.toml"
    path.write_text(path.read_text().replace('"none"', f'"{security}"'))
    assert load_shop_file(shop.folder).mail_security == security
    server = serving(box, security, certificate[1])
    server.start()
    try:
        mail_sheet(shop, issue_sheet(shop, "P-1").number, "kontor@fjord.example")
        waiting = send_waiting(shop)
    finally:
        server.stop()
    if trusted:
        assert waiting == [] and len(box.got) == 1
    else:
        (letter,) = waiting
        assert box.got == [] and "certificate" in letter.fault.lower()


def test_a_server_that_speaks_no_tls_gets_nothing_when_tls_is_asked_for(
    shop,
    box,
):
    write_settings(shop.folder, box.port)
    path = shop.folder / "shop.toml"
    path.write_text(path.read_text().replace('"none"', '"starttls"'))
    server = Controller(box, hostname="127.0.0.1", port=box.port, ready_timeout=60)
    server.start()
    try:
        with smtplib.SMTP("127.0.0.1", box.port) as plain:
            plain.ehlo("saltmarsh.example")
            assert not plain.has_extn("starttls")
        mail_sheet(shop, issue_sheet(shop, "P-1").number, "kontor@fjord.example")
        (letter,) = send_waiting(shop)
    finally:
        server.stop()
    assert box.got == [] and box.tried == 0 and letter.fault
