"""The site as production serves it, for scripts that measure and for scripts that break things.

gunicorn with the shipped configuration in front of a database of its own; whoever asks looks like
the proxy, so that the production settings hold as they are.
"""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import signal
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from labsite.bootstrap import postgres

ROOT = Path(__file__).resolve().parents[2]
HOST = "lab.example.org"
STARTS_WITHIN_S = 60


@dataclass(frozen=True)
class Site:
    """A running server."""

    port: int
    master: subprocess.Popen[bytes]
    log: Path
    variables: dict[str, str]

    def workers(self) -> list[int]:
        """List the worker processes that live now."""
        children = Path(f"/proc/{self.master.pid}/task/{self.master.pid}/children")
        return [int(pid) for pid in children.read_text().split()]

    def kill_worker(self, pid: int) -> None:
        """Let a worker die as a power cut would: without a chance to say anything."""
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)

    def server_times_ms(self, method: str, ending: str) -> list[float]:
        """Read from the log how long the server took for requests to such addresses."""
        times = []
        for line in self.log.read_text().splitlines():
            told = json.loads(line) if line.startswith("{") else {}
            if told.get("method") == method and told["path"].endswith(ending):
                times.append(float(told["ms"]))
        return times


@contextlib.contextmanager
def database(kind: str, directory: Path) -> Iterator[str]:
    """Give the address of an empty database that waits for its disk."""
    if kind == "sqlite":
        yield f"sqlite:///{directory / 'load.sqlite3'}"
        return
    with postgres.throwaway_cluster(durable=True) as cluster:
        yield cluster.url


def variables(database_url: str, port: int, processes: int) -> dict[str, str]:
    """Give the environment that production settings ask for."""
    return {
        **{key: value for key, value in os.environ.items() if not key.startswith("GRADATION_")},
        "DJANGO_SETTINGS_MODULE": "labsite.settings.production",
        "GRADATION_BASE_URL": f"https://{HOST}",
        "GRADATION_SECRET_KEY": "".join(chr(97 + 7 * i % 26) for i in range(64)),
        "DATABASE_URL": database_url,
        "GRADATION_TRUSTED_PROXIES": "127.0.0.1",
        "GRADATION_LISTEN": f"127.0.0.1:{port}",
        "GRADATION_WEB_PROCESSES": str(processes),
    }


def set_up(given: dict[str, str]) -> None:
    """Make this process a part of the same installation, with its tables made."""
    os.environ.update(given)
    import django
    from django.core.management import call_command

    from tests import tables

    django.setup()
    tables.put_at(given["DATABASE_URL"])
    call_command("migrate", verbosity=0)
    call_command("collectstatic", interactive=False, verbosity=0)


def free_port() -> int:
    """Find a port nobody uses."""
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        port: int = trial.getsockname()[1]
        return port


@contextlib.contextmanager
def serving(given: dict[str, str], log: Path, by: ssl.SSLContext | None = None) -> Iterator[Site]:
    """Serve for the time of the block; `by` is how a web server with TLS of its own is called."""
    port = int(given["GRADATION_LISTEN"].rpartition(":")[2])
    command = [sys.executable, "-m", "gunicorn", "--config", "python:labsite.serving"]
    command += ["labsite.wsgi"]
    with log.open("wb") as written:
        master = subprocess.Popen(
            command, cwd=ROOT, env=given, stdout=written, stderr=subprocess.STDOUT
        )
        try:
            _wait_until_ready(port, master, log, by)
            yield Site(port, master, log, given)
        finally:
            master.terminate()
            master.wait(timeout=40)


def _wait_until_ready(
    port: int, master: subprocess.Popen[bytes], log: Path, by: ssl.SSLContext | None
) -> None:
    deadline = time.monotonic() + STARTS_WITHIN_S
    while time.monotonic() < deadline and master.poll() is None:
        with contextlib.suppress(OSError):
            asked = _call(port, by)
            asked.request("GET", "/health/ready", headers=proxied())
            if asked.getresponse().status == http.client.OK:
                return
        time.sleep(0.1)  # there is no event to wait for before the first answer
    msg = f"the server did not start:\n{log.read_text()}"
    raise RuntimeError(msg)


def _call(port: int, by: ssl.SSLContext | None) -> http.client.HTTPConnection:
    if by is None:
        return http.client.HTTPConnection("127.0.0.1", port, timeout=5)
    return http.client.HTTPSConnection("127.0.0.1", port, timeout=5, context=by)


def proxied() -> dict[str, str]:
    """Give the headers that the proxy in front would add."""
    return {"Host": HOST, "X-Forwarded-Proto": "https"}
