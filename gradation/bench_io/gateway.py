"""The gateway between balances and the site: each balance is read, one sender sends.

Order of every reading: read, judged new (`settling`), on the disk (`journal`), sent (`sender`),
acknowledged. At no moment is a reading only in memory once it was judged.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from threading import Event, Thread
from uuid import uuid4

from gradation.bench_io.gateway_config import BalancePlan
from gradation.bench_io.journal import Entry, Journal, State
from gradation.bench_io.ports import OpenPort, PortReader, open_serial
from gradation.bench_io.sender import Sender, Transport
from gradation.bench_io.settling import Seen, Settler, What

__all__ = ["Gateway", "Watcher"]

_SENT_KEPT = timedelta(days=30)
_TOLD = frozenset({What.OVERLOADED, What.UNREADABLE})
Tell = Callable[..., None]


def _now() -> datetime:
    return datetime.now(UTC)


@dataclass
class Watcher:
    """Turns the lines of one balance into entries of the journal."""

    plan: BalancePlan
    journal: Journal
    tell: Tell
    new: Event
    now: Callable[[], datetime] = _now

    def __post_init__(self) -> None:
        self._load_g = self.journal.last_load_g(self.plan.serial)
        self.settler = Settler(self.plan.form, self.plan.settling, self._load_g)
        self._last_what: What | None = None

    def on_lines(self, lines: list[str]) -> None:
        """Take lines that came together: keep new loads and the first line of what is wrong."""
        kept = [seen for seen in map(self._seen, lines) if seen is not None]
        entries = [self._entry(seen.line) for seen in kept]
        if entries or self.settler.last_g != self._load_g:
            self._load_g = self.settler.last_g
            self.journal.keep(entries, {self.plan.serial: self._load_g})
        for seen, entry in zip(kept, entries, strict=True):
            self._told(seen, entry)
        if entries:
            self.new.set()

    def _seen(self, line: str) -> Seen | None:
        """Judge a line; of a spell that cannot be read the first is kept, for the server's eyes."""
        seen = self.settler.take(line, time.monotonic())
        is_first_fault = seen.what in _TOLD and seen.what != self._last_what
        self._last_what = seen.what
        return seen if seen.what == What.NEW or is_first_fault else None

    def _told(self, seen: Seen, entry: Entry) -> None:
        facts = {"balance": self.plan.serial, "line": seen.line, "key": entry.key}
        if seen.reading is not None:
            self.tell("reading kept", mass_g=str(seen.reading.mass_g), **facts)
        else:
            self.tell(seen.what.value, why=seen.words, **facts)

    def _entry(self, line: str) -> Entry:
        return Entry(str(uuid4()), self.plan.bench, self.plan.serial, line, self.now().isoformat())


class Gateway:
    """Reads several balances and sends what they weigh, until told to stop."""

    def __init__(
        self,
        plans: Sequence[BalancePlan],
        journal: Journal,
        transport: Transport,
        tell: Tell,
        open_port: OpenPort = open_serial,
    ) -> None:
        self.journal, self.tell = journal, tell
        self.new = Event()
        self.is_broken = False
        self.sender = Sender(journal, transport, tell)
        self.readers = [
            PortReader(
                plan.port,
                plan.serial_settings,
                Watcher(plan, journal, tell, self.new).on_lines,
                tell,
                open_port,
                plan.settling.streams,
            )
            for plan in plans
        ]

    def run(self, stop: Event) -> None:
        """Work until `stop` is set; then stop reading, and send what waits once more."""
        self.journal.forget_sent_before((_now() - _SENT_KEPT).isoformat())
        threads = [
            Thread(target=self._read, args=(reader, stop), name=reader.url, daemon=True)
            for reader in self.readers
        ]
        for thread in threads:
            thread.start()
        self._send_until(stop)
        for thread in threads:
            thread.join(timeout=2)
        self.sender.send()
        self.tell("gateway stopped", unsent=self.journal.count(State.UNSENT))

    def _read(self, reader: PortReader, stop: Event) -> None:
        """Read until the end; what breaks a reader ends the gateway, aloud, not one balance."""
        try:
            reader.run(stop)
        except sqlite3.Error as error:  # a disk that is full, or gone
            self.tell("journal cannot be written", why=str(error))
        finally:
            if not stop.is_set():
                self.is_broken = True
                self.tell("reader broken", port=reader.url)
                stop.set()

    def _send_until(self, stop: Event) -> None:
        pause_s = 0.0
        while not stop.is_set():
            if pause_s:
                stop.wait(pause_s)
            elif not self.journal.unsent(1):
                self.new.wait(0.5)
            self.new.clear()
            pause_s = self.sender.send()
