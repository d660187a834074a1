"""Sends what the journal holds, in order, until the server has acknowledged it.

How a request is made is handed in (`Transport`): here is only what follows from the answer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http import HTTPStatus
from typing import Any

from gradation.bench_io.journal import Entry, Journal, State

__all__ = ["Answer", "Sender", "Transport", "Unreachable"]

MOST_AT_ONCE = 50
_FIRST_PAUSE_S, _LONGEST_PAUSE_S = 0.5, 30.0
#: Answers to what will never be taken as it is: it is put aside and the next one sent.
_FOR_GOOD = frozenset({400, 404, 405, 409, 413, 422})


class Unreachable(Exception):
    """The server did not answer, or something between did not let it."""


@dataclass(frozen=True)
class Answer:
    """What the server answered: its status, its JSON, how long to wait if it said."""

    status: int
    body: Any = None
    wait_s: float | None = None


#: Posts readings of one bench and gives the answer, or raises `Unreachable`.
Transport = Callable[[str, list[dict[str, str]]], Answer]
Tell = Callable[..., None]


def _now() -> datetime:
    return datetime.now(UTC)


@dataclass
class Sender:
    """Sends readings bench by bench; an outage makes it wait, never lose."""

    journal: Journal
    transport: Transport
    tell: Tell
    now: Callable[[], datetime] = _now
    _failures: int = field(default=0, init=False)

    def send(self) -> float:
        """Send what waits, once; give the seconds to wait before the next time."""
        waiting = self.journal.unsent(MOST_AT_ONCE)
        if not waiting:
            return 0.0
        bench = waiting[0].bench
        batch = [entry for entry in waiting if entry.bench == bench]
        try:
            answer = self.transport(bench, [self._written(entry) for entry in batch])
        except Unreachable as error:
            return self._pause("server unreachable", why=str(error))
        return self._after(batch, answer)

    def _written(self, entry: Entry) -> dict[str, str]:
        return {
            "key": entry.key,
            "balance": entry.balance,
            "line": entry.line,
            "observed_at": entry.observed_at,
            "sent_at": self.now().isoformat(),
        }

    def _after(self, batch: list[Entry], answer: Answer) -> float:
        if answer.status == HTTPStatus.OK:
            return self._taken(batch, answer.body)
        if answer.status in _FOR_GOOD:
            return self._not_taken(batch, answer)
        if answer.status in {HTTPStatus.UNAUTHORIZED, HTTPStatus.FORBIDDEN}:
            why = "The token is refused. Ask the quality manager; nothing is lost meanwhile."
            return self._pause("token refused", why=why, status=answer.status, said=_said(answer))
        return self._pause("server busy", status=answer.status, wait_s=answer.wait_s)

    def _taken(self, batch: list[Entry], body: Any) -> float:  # noqa: ANN401 - whatever was sent
        results = _by_key(body)
        known = {entry.key: results[entry.key] for entry in batch if entry.key in results}
        if not known:
            return self._pause("answer not understood")
        self.journal.settle({key: (_state(one), _outcome(one)) for key, one in known.items()})
        for key, one in known.items():
            self.tell("reading delivered", key=key, outcome=_outcome(one), why=one.get("reason"))
        self._failures = 0
        return 0.0

    def _not_taken(self, batch: list[Entry], answer: Answer) -> float:
        """Find the one that is not taken by sending it alone; the others go on."""
        if len(batch) > 1:
            return max(self._alone(entry) for entry in batch)
        self.journal.settle({batch[0].key: (State.REFUSED, _said(answer))})
        self.tell("reading refused", key=batch[0].key, status=answer.status, why=_said(answer))
        return 0.0

    def _alone(self, entry: Entry) -> float:
        try:
            answer = self.transport(entry.bench, [self._written(entry)])
        except Unreachable as error:
            return self._pause("server unreachable", why=str(error))
        return self._after([entry], answer)

    def _pause(self, event: str, *, wait_s: float | None = None, **facts: object) -> float:
        pause_s = min(_LONGEST_PAUSE_S, _FIRST_PAUSE_S * 2.0**self._failures)
        self._failures = min(self._failures + 1, 10)
        pause_s = max(pause_s, min(wait_s or 0.0, 10 * _LONGEST_PAUSE_S))
        unsent = self.journal.count(State.UNSENT)
        self.tell(event, unsent=unsent, pause_s=pause_s, **facts)
        return pause_s


def _by_key(body: object) -> dict[str, Mapping[str, Any]]:
    results = body.get("results") if isinstance(body, Mapping) else None
    rows = results if isinstance(results, list) else []
    return {str(row["key"]): row for row in rows if isinstance(row, Mapping) and "key" in row}


def _state(result: Mapping[str, Any]) -> State:
    """Say whether the server has the line now; what it could not keep stays to be looked at."""
    return State.REFUSED if _outcome(result) == "not kept" else State.SENT


def _outcome(result: Mapping[str, Any]) -> str:
    return str(result.get("outcome", ""))


def _said(answer: Answer) -> str:
    detail = answer.body.get("detail") if isinstance(answer.body, Mapping) else None
    return str(detail or f"status {answer.status}")[:400]
