"""Work that outlasts a request: done in a thread of the server, told of in a row of its own.

A server that stops in the middle leaves the row without a sign of life; whoever looks at it is told
and may begin again. What was written in an unfinished transaction is gone, so nothing is half done.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from threading import Thread

from django.db import connection, connections

__all__ = ["Progress", "begin"]

_log = logging.getLogger(__name__)
_done: dict[str, int] = {}
_to_stop: set[str] = set()


def begin(name: str, work: Callable[[], object]) -> Thread:
    """Start `work` in a thread with connections of its own."""
    thread = Thread(target=_run, args=(name, work), name=name, daemon=True)
    thread.start()
    return thread


def _run(name: str, work: Callable[[], object]) -> None:
    try:
        work()
    except Exception:  # noqa: BLE001 - nobody waits for a thread: what stopped it is logged
        _log.exception("%s stopped", name)
    finally:
        Progress.forget(name)
        connections.close_all()


class Progress:
    """How far a piece of work is, and whether somebody asked it to stop.

    A row cannot be written from inside the transaction that holds the work, and on SQLite by nobody
    else meanwhile: there the one process remembers. Elsewhere another connection writes the row.
    """

    def __init__(
        self, name: str, keep: Callable[[int], None], is_stop_asked: Callable[[], bool]
    ) -> None:
        self.name, self._keep, self._is_stop_asked = name, keep, is_stop_asked

    def tell(self, done: int) -> None:
        """Say how much is done."""
        _done[self.name] = done
        if not connection.in_atomic_block:
            self._keep(done)
        elif connection.vendor != "sqlite":
            self._beside(done)

    def _beside(self, done: int) -> None:
        def write() -> None:
            try:
                self._keep(done)
            finally:
                connection.close()

        writer = Thread(target=write)
        writer.start()
        writer.join()

    @property
    def is_to_stop(self) -> bool:
        """Say whether somebody asked to stop."""
        return self.name in _to_stop or self._is_stop_asked()

    @staticmethod
    def of(name: str) -> int | None:
        """Give how far work in this process is; None when it is not done here."""
        return _done.get(name)

    @staticmethod
    def forget(name: str) -> None:
        """Begin afresh: what was asked of earlier work under this name is over."""
        _done.pop(name, None)
        _to_stop.discard(name)

    @staticmethod
    def ask_to_stop(name: str) -> None:
        """Ask work in this process to stop."""
        _to_stop.add(name)
