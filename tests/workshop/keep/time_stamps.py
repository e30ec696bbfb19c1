"""A time stamp service of the tests' own: OpenSSL's, behind HTTP; another hand than ours."""

import contextlib
import http.server
import shutil
import subprocess
import threading

from conftest import needs

CONFIG = """
[tsa]
default_tsa = one
[one]
serial = {folder}/serial
crypto_device = builtin
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256
accuracy = secs:1
ordering = no
tsa_name = no
ess_cert_id_chain = no
ess_cert_id_alg = sha256
[req]
distinguished_name = dn
[dn]
[ext]
extendedKeyUsage = critical,timeStamping
keyUsage = critical,digitalSignature
basicConstraints = CA:FALSE
"""


def openssl(*words, **how):
    needs(shutil.which("openssl"), "openssl")
    return subprocess.run(["openssl", *map(str, words)], check=True, capture_output=True, **how)


@contextlib.contextmanager
def service(folder):
    """Yield the address of a service, its certificate in ``tsa.pem``, and what it was sent."""
    folder.mkdir()
    (folder / "tsa.cnf").write_text(CONFIG.format(folder=folder))
    (folder / "serial").write_text("01\n")
    openssl("req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "30",
            "-subj", "/CN=Harbour Time", "-keyout", folder / "tsa.key", "-out", folder / "tsa.pem",
            "-config", folder / "tsa.cnf", "-extensions", "ext")  # fmt: skip
    sent = []

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_POST(self):
            query = self.rfile.read(int(self.headers["Content-Length"]))
            sent.append((self.headers["Content-Type"], query))
            (folder / "query").write_bytes(query)
            openssl("ts", "-reply", "-config", folder / "tsa.cnf", "-queryfile", folder / "query",
                    "-signer", folder / "tsa.pem", "-inkey", folder / "tsa.key",
                    "-out", folder / "answer")  # fmt: skip
            body = (folder / "answer").read_bytes()
            self.send_response(200)
            self.send_header("Content-Type", "application/timestamp-reply")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_):
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/", sent
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
