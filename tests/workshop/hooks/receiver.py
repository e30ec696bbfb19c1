"""A receiver of web hooks on this computer that answers, fails, hangs, redirects or is not there."""

from __future__ import annotations

import json
import threading
import time
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


@dataclass
class Receiver:
    """What came, and how to answer the next.

    Attributes
    ----------
    answers : list
        A status, ``"hang"``, ``"drip"`` or ``"cut"`` each; 204 when none is left.
    """

    came: list = field(default_factory=list)
    answers: list = field(default_factory=list)
    headers: dict = field(default_factory=dict)
    port: int = 0
    over: threading.Event = field(default_factory=threading.Event)

    @property
    def url(self):
        return f"http://127.0.0.1:{self.port}/told"

    def bodies(self):
        return [json.loads(body) for _, body in self.came]

    def ids(self):
        return [head["webhook-id"] for head, _ in self.came]


@contextmanager
def receiver(port=0):
    """Give a receiver that listens."""
    made = Receiver()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):
            body = self.rfile.read(int(self.headers["content-length"]))
            made.came.append(({k.lower(): v for k, v in self.headers.items()}, body))
            answer = made.answers.pop(0) if made.answers else 204
            if answer == "hang":
                made.over.wait(30)
            elif answer == "drip":
                self.wfile.write(b"HTTP/1.1 200 OK\r\n")
                while not made.over.wait(0.1):
                    self.wfile.write(b"x-more: 1\r\n")
            elif answer == "cut":
                self.connection.close()
            else:
                self.send_response(answer)
                for name, value in made.headers.items():
                    self.send_header(name, value)
                self.send_header("content-length", "0")
                self.end_headers()

        def handle(self):
            try:
                super().handle()
            except OSError:  # who asked has gone
                return

        def log_message(self, *_):
            return

    server = ThreadingHTTPServer(("127.0.0.1", port), Handler)
    server.daemon_threads = True
    made.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield made
    finally:
        made.over.set()
        server.shutdown()
        server.server_close()
        thread.join()


def until(what, seconds=10.0):
    """Wait until something holds."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if what():
            return True
        time.sleep(0.02)
    raise AssertionError("it did not come to be")
