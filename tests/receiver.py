"""Another system, as a real HTTP server in a thread: it takes, refuses, delays or drops calls."""

from __future__ import annotations

import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Lock, Thread

from gradation.models import Event
from gradation.services import webhooks
from tests import factories


@dataclass
class Receiver:
    """What came in, and what is answered: a status, or a function of how many came before."""

    port: int = 0
    answers: int | Callable[[int], int | None] = 204
    delay_s: float = 0.0
    location: str = ""
    taken: list[tuple[dict[str, str], bytes]] = field(default_factory=list)
    lock: Lock = field(default_factory=Lock)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/hooks?of=norrhaven"

    @property
    def ids(self) -> list[str]:
        return [headers["webhook-id"] for headers, _ in self.taken]


@contextmanager
def receiving() -> Iterator[Receiver]:
    """Let another system listen on a port of this machine inside the block."""
    receiver = Receiver()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):
            body = self.rfile.read(int(self.headers["Content-Length"]))
            with receiver.lock:
                came_before = len(receiver.taken)
                headers = {name.lower(): value for name, value in self.headers.items()}
                receiver.taken.append((headers | {":path": self.path}, body))
            time.sleep(receiver.delay_s)
            answers = receiver.answers
            status = answers(came_before) if callable(answers) else answers
            if status is None:  # it dies in the middle of the call
                self.connection.shutdown(socket.SHUT_RDWR)
                return
            self.send_response(status)
            if receiver.location:
                self.send_header("Location", receiver.location)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *args):
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    receiver.port = server.server_address[1]
    Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield receiver
    finally:
        server.shutdown()
        server.server_close()


def make_webhook(url: str, name: str = "Plant office", **values: object) -> webhooks.MadeWebhook:
    """Add a webhook that hears of everything; the test allows the network of its address."""
    wanted = webhooks.WebhookWanted(**{"name": name, "url": url, "events": list(Event), **values})
    return webhooks.add_webhook(actor=factories.quality_manager(), wanted=wanted)
