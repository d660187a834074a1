"""A few warm printing children, kept by the process that asks; each prints one document at a time.

Children are programs started anew, not forks: threads of the one who asks hold locks that a fork
would copy. One that takes too long or too much is ended, and the next order gets another.
"""

import atexit
import contextlib
import os
import selectors
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from gradation.documents.printing import wire
from gradation.documents.printing.terms import NotBundled, NotPrinted, Order
from gradation.errors import Unavailable

WALL_SECONDS = 30  # the child's own limit is 20 s of processor time; a busy machine takes longer
START_SECONDS = 120
WAIT_SECONDS = 90
MOST_CHILDREN = max(1, min(2, os.cpu_count() or 1))
ORDERS_EACH = 200  # then the child makes room for a fresh one, so that memory comes back
MOST_ORDER_BYTES = 24 * 1024 * 1024
_ROOT = Path(__file__).resolve().parents[3]
#: What a child is told of the environment: never a key or the address of the database.
_PASSED_ON = ("PATH", "HOME", "LANG", "LC_ALL", "TMPDIR", "LD_LIBRARY_PATH", "FONTCONFIG_PATH")


class TooLargeToPrint(Unavailable):
    """A document took more time or memory than any document may; nothing else was harmed."""

    code = "too-large-to-print"


class _Gone(Exception):
    """The child ended, or was ended because its time was over."""


class _Child:
    """One child and the pipes to it."""

    def __init__(self, task: str) -> None:
        environment = {name: os.environ[name] for name in _PASSED_ON if name in os.environ}
        self._process = subprocess.Popen(  # noqa: S603 - our own interpreter and program
            [sys.executable, "-m", "gradation.documents.printing.child", task],
            cwd=_ROOT,
            env={**environment, "PYTHONPATH": str(_ROOT), "PYTHONDONTWRITEBYTECODE": "1"},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        self.served = 0
        self._answer(START_SECONDS)

    @property
    def process_id(self) -> int:
        return self._process.pid

    def serve(self, message: bytes) -> tuple[wire.Head, bytes]:
        """Hand an order over and wait for the answer; raises `_Gone` when there is none."""
        self.served += 1
        sink = self._process.stdin
        try:
            if sink is not None:
                sink.write(message)
                sink.flush()
        except OSError as gone:
            raise _Gone from gone
        return self._answer(WALL_SECONDS)

    def _answer(self, seconds: float) -> tuple[wire.Head, bytes]:
        try:
            return wire.unpacked(partial(self._read, time.monotonic() + seconds))
        except (wire.Broken, ValueError) as broken:
            raise _Gone from broken

    def _read(self, until: float, count: int) -> bytes:
        source = self._process.stdout
        if source is None:
            raise wire.Broken
        got = bytearray()
        with selectors.DefaultSelector() as waiting:
            waiting.register(source, selectors.EVENT_READ)
            while len(got) < count:
                if not waiting.select(max(0.0, until - time.monotonic())):
                    raise wire.Broken
                part = os.read(source.fileno(), min(count - len(got), 1 << 20))
                if not part:
                    raise wire.Broken
                got += part
        return bytes(got)

    def end(self) -> None:
        """End the process and close the pipes to it."""
        self._process.kill()
        self.let_go()
        self._process.wait()

    def let_go(self) -> None:
        """Close the pipes; in a fork of the one who asks the process itself is not ours."""
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()


class _Pool:
    """Children for one task: those that wait for an order, and how many there may be."""

    def __init__(self, task: str) -> None:
        self.task = task
        self.idle: list[_Child] = []
        self.lock = threading.Lock()
        self.places = threading.BoundedSemaphore(MOST_CHILDREN)

    def serve(self, message: bytes) -> tuple[wire.Head, bytes]:
        if not self.places.acquire(timeout=WAIT_SECONDS):
            msg = "Other documents are being printed. Ask again in a minute."
            raise Unavailable(msg, code="printers-busy")
        try:
            return self._served(message)
        finally:
            self.places.release()

    def _served(self, message: bytes) -> tuple[wire.Head, bytes]:
        child = self._taken()
        try:
            answer = child.serve(message)
        except BaseException:
            child.end()
            raise
        if child.served >= ORDERS_EACH:
            child.end()
        else:
            with self.lock:
                self.idle.append(child)
        return answer

    def _taken(self) -> _Child:
        with self.lock:
            if self.idle:
                return self.idle.pop()
        try:
            return _Child(self.task)
        except _Gone:
            msg = "No printing process could be started. Tell who looks after this server."
            raise Unavailable(msg, code="printers-down") from None

    def close(self, end: Callable[[_Child], None]) -> None:
        while self.idle:
            end(self.idle.pop())


_pools = {task: _Pool(task) for task in ("print", "read")}


def _forget() -> None:
    """In a fork: let go of the parent's children, and keep none."""
    for task, pool in list(_pools.items()):
        pool.close(_Child.let_go)
        _pools[task] = _Pool(task)


os.register_at_fork(after_in_child=_forget)


@atexit.register
def close() -> None:
    """End the children that wait."""
    for pool in _pools.values():
        pool.close(_Child.end)


def warm_children() -> list[int]:
    """Return the process numbers of the children that wait for an order."""
    return [child.process_id for child in _pools["print"].idle]


def printed(order: Order) -> bytes:
    """Have a document printed, as PDF; raises what `Press.print` raises, and `TooLargeToPrint`."""
    head = {
        "page_css": order.page_css,
        "embedded": [(each.name, each.text, each.description) for each in order.embedded],
        "pictures": list(order.pictures),
    }
    answer, pdf = _served("print", head, order.html.encode())
    if answer["state"] == "too much":
        raise _too_large("print")
    if answer["state"] == "not bundled":
        raise NotBundled(answer["says"])
    if answer["state"] != "done":
        raise NotPrinted(answer["says"])
    return pdf


def read(pdf: bytes) -> dict[str, Any]:
    """Have a file from outside read; returns what `reading.found_in` found."""
    return dict(_served("read", {}, pdf)[0]["found"])


def _served(task: str, head: wire.Head, body: bytes) -> tuple[wire.Head, bytes]:
    message = wire.packed(head, body)
    if len(message) > MOST_ORDER_BYTES:
        raise _too_large(task)
    try:
        return _pools[task].serve(message)
    except _Gone:
        raise _too_large(task) from None


def _too_large(task: str) -> TooLargeToPrint:
    if task == "read":
        msg = (
            "This file is too large, or takes too long, to be read. Check that it is the right one."
        )
        return TooLargeToPrint(msg, code="too-large-to-read")
    return TooLargeToPrint(
        "This document cannot be printed in 20 seconds and the memory that one document gets. Put "
        "less on it: fewer runs, a shorter time, shorter texts."
    )
