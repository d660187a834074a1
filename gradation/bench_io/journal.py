"""The gateway's journal: what was read and not yet acknowledged, on disk before it is sent.

A file of SQLite's, synced at every entry: it outlives a power cut and `kill -9`. An entry has its
key from the beginning, so that sending it twice is harmless.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from pathlib import Path

__all__ = ["Entry", "Journal", "JournalTaken", "State"]

_TABLES = """
CREATE TABLE IF NOT EXISTS entries (
    id INTEGER PRIMARY KEY,
    key TEXT NOT NULL UNIQUE,
    bench TEXT NOT NULL,
    balance TEXT NOT NULL,
    line TEXT NOT NULL,
    observed_at TEXT NOT NULL,
    state TEXT NOT NULL DEFAULT 'unsent',
    answer TEXT NOT NULL DEFAULT ''
);
CREATE INDEX IF NOT EXISTS entries_by_state ON entries (state, id);
CREATE TABLE IF NOT EXISTS loads (balance TEXT PRIMARY KEY, mass_g TEXT);
"""


class JournalTaken(RuntimeError):
    """Another gateway has this journal open; two would send under each other's names."""


class State(StrEnum):
    """Where an entry stands."""

    UNSENT = "unsent"
    SENT = "sent"
    REFUSED = "refused"


@dataclass(frozen=True)
class Entry:
    """One line as it was read; `observed_at` is ISO 8601 by this machine's clock."""

    key: str
    bench: str
    balance: str
    line: str
    observed_at: str
    state: str = State.UNSENT
    answer: str = ""


class Journal:
    """One gateway's journal. All methods may be called from any thread."""

    def __init__(self, path: Path | str) -> None:
        self._lock = threading.Lock()
        try:
            self._file = sqlite3.connect(
                path, timeout=0.5, isolation_level=None, check_same_thread=False
            )
            self._prepare()
        except sqlite3.Error as error:
            msg = f"The journal {path} is in use by another gateway, or is no place ({error})."
            raise JournalTaken(msg) from error

    def _prepare(self) -> None:
        """Hold the file alone, sync every entry, make the tables; let go if that cannot be."""
        try:
            for pragma in ("locking_mode=EXCLUSIVE", "journal_mode=WAL", "synchronous=FULL"):
                self._file.execute(f"PRAGMA {pragma}")
            with self._kept():
                for statement in _TABLES.split(";"):
                    self._file.execute(statement)
        except sqlite3.Error:
            self._file.close()
            raise

    @contextmanager
    def _kept(self) -> Iterator[None]:
        """Hold the file; what is done inside is on the disk afterwards, or not at all."""
        with self._lock:
            self._file.execute("BEGIN IMMEDIATE")
            try:
                yield
            except BaseException:
                self._file.execute("ROLLBACK")
                raise
            self._file.execute("COMMIT")

    def keep(self, entries: Sequence[Entry], loads_g: Mapping[str, Decimal | None]) -> None:
        """Put entries on the disk in one go, with the load that each balance has now, or none."""
        with self._kept():
            self._file.executemany(
                "INSERT INTO entries (key, bench, balance, line, observed_at) VALUES (?,?,?,?,?)",
                [(it.key, it.bench, it.balance, it.line, it.observed_at) for it in entries],
            )
            self._file.executemany(
                "REPLACE INTO loads (balance, mass_g) VALUES (?,?)",
                [
                    (balance, None if load_g is None else str(load_g))
                    for balance, load_g in loads_g.items()
                ],
            )

    def last_load_g(self, balance: str) -> Decimal | None:
        """Give the load that was taken last and may still stand there."""
        rows = self._asked("SELECT mass_g FROM loads WHERE balance = ?", balance)
        return Decimal(rows[0][0]) if rows and rows[0][0] is not None else None

    def unsent(self, most: int) -> list[Entry]:
        """Give the oldest entries that no server has acknowledged."""
        return self._entries("WHERE state = 'unsent' ORDER BY id LIMIT ?", most)

    def entries(self, state: State, most: int = 1000) -> list[Entry]:
        """Give entries of one state, the newest first."""
        return self._entries("WHERE state = ? ORDER BY id DESC LIMIT ?", state.value, most)

    def _entries(self, rest: str, *values: object) -> list[Entry]:
        columns = "key, bench, balance, line, observed_at, state, answer"
        rows = self._asked(f"SELECT {columns} FROM entries {rest}", *values)  # noqa: S608
        return [Entry(*row) for row in rows]

    def _asked(self, question: str, *values: object) -> list[tuple[str, ...]]:
        with self._lock:
            return self._file.execute(question, values).fetchall()

    def settle(self, answers: dict[str, tuple[State, str]]) -> None:
        """Note what became of entries, by key. A refused one stays, to be looked at."""
        with self._kept():
            self._file.executemany(
                "UPDATE entries SET state = ?, answer = ? WHERE key = ?",
                [(state.value, answer, key) for key, (state, answer) in answers.items()],
            )

    def count(self, state: State) -> int:
        """Count the entries of one state."""
        return int(self._asked("SELECT count(*) FROM entries WHERE state = ?", state.value)[0][0])

    def forget_sent_before(self, observed_at: str) -> int:
        """Drop what was acknowledged long ago; what was not is never dropped."""
        with self._kept():
            done = self._file.execute(
                "DELETE FROM entries WHERE state = 'sent' AND observed_at < ?", (observed_at,)
            )
        return done.rowcount

    def close(self) -> None:
        """Close the file."""
        with self._lock:
            self._file.close()
