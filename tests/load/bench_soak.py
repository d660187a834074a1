"""Many benches, readings sent twice, answers lost, workers killed: every reading kept once.

    python -m tests.load.bench_soak [--database postgres|sqlite] [--benches 20] [--runs 3]

Each bench weighs its runs of 15 sieves as a browser does: a reading under a key of its own is sent
until the server acknowledges it. A run is about ten minutes of work, so that three runs a bench
are half an hour, compressed. By chance a reading is sent again, or twice at once, or the answer is
thrown away, or somebody else sends another mass for the same place; worker processes die by
SIGKILL. Afterwards the database is held against what the benches were told: every acknowledged
reading is there exactly once, nothing is there that nobody sent, no second mass took a place, the
ledger has one entry a reading and its chains are whole. Ends with 1 otherwise.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from uuid import UUID, uuid4

from labsite.bootstrap import system
from tests.load import served
from tests.load.bench_fill import SIEVES_UM, Place, fill
from tests.load.people import Answer, Lost, Person, Sent

AGAIN, AT_ONCE, ANSWER_LOST, RIVAL = 0.25, 0.1, 0.1, 0.1
BETWEEN_TRIES_S = 0.1
GIVES_UP_AFTER_S = 120


@dataclass
class Told:
    """What the benches sent and what they were told, kept outside the database."""

    sent: dict[UUID, Sent] = field(default_factory=dict)
    acknowledged: set[UUID] = field(default_factory=set)
    refused: set[UUID] = field(default_factory=set)
    faults: list[str] = field(default_factory=list)
    events: Counter[str] = field(default_factory=Counter)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def note(self, event: str) -> None:
        """Count an event."""
        with self.lock:
            self.events[event] += 1

    def keep(self, sent: Sent, answer: Answer) -> None:
        """Keep what the server said about a reading."""
        with self.lock:
            self.sent[sent.key] = sent
            (self.acknowledged if answer.is_kept else self.refused).add(sent.key)


@dataclass
class Bench:
    """One bench at work, in a thread of its own."""

    place: Place
    port: int
    told: Told
    chance: random.Random
    pause_s: float = 0.0

    def work(self) -> None:
        """Weigh every run of the place, pan last; faults end up in `told`."""
        try:
            person, rival = self._signed_in(self.place.person), self._signed_in(self.place.second)
            for run in self.place.runs:
                for slot, position in rows():
                    time.sleep(self.pause_s * self.chance.uniform(0.5, 1.5))
                    self._weigh(person, rival, run, slot, position)
        except Exception as error:  # noqa: BLE001 - a thread's fault must not go unseen
            self.told.faults.append(f"bench of {self.place.username}: {error!r}")

    def _signed_in(self, whose: object) -> Person:
        while True:
            try:
                person: Person = whose(self.port)  # type: ignore[operator]
            except Lost:
                time.sleep(BETWEEN_TRIES_S)
            else:
                return person

    def _weigh(self, person: Person, rival: Person, run: int, slot: str, position: int) -> None:
        mass = 9000 if slot == "dry mass" else self.chance.randint(0, 500)
        sent = Sent(run, slot, position, f"{mass}.{self.chance.randint(0, 9)}", uuid4())
        self.told.sent[sent.key] = sent
        if self.chance.random() < ANSWER_LOST:
            self._lose(person, sent)
        if self.chance.random() < AT_ONCE:
            self._at_once(person, sent)
        answer = self._until_answered(person, sent)
        self.told.keep(sent, answer)
        if not answer.is_kept:
            self.told.faults.append(f"{sent} was refused: {answer.status} {answer.text[:200]}")
        if self.chance.random() < AGAIN:
            self._again(person, sent)
        if self.chance.random() < RIVAL:
            self._other_mass(rival, sent)

    def _until_answered(self, person: Person, sent: Sent) -> Answer:
        deadline = time.monotonic() + GIVES_UP_AFTER_S
        while time.monotonic() < deadline:
            try:
                answer = person.send(sent)
            except Lost:
                self.told.note("no answer, sent again")
            else:
                if not answer.is_worth_repeating:
                    return answer
                self.told.note(f"answered {answer.status}, sent again")
            time.sleep(BETWEEN_TRIES_S)
        msg = f"{sent} had no answer for {GIVES_UP_AFTER_S} s"
        raise RuntimeError(msg)

    def _lose(self, person: Person, sent: Sent) -> None:
        self.told.note("answer thrown away")
        try:
            person.send_and_lose(sent)
        except Lost:
            self.told.note("no answer, sent again")

    def _at_once(self, person: Person, sent: Sent) -> None:
        self.told.note("sent twice at once")
        twin = threading.Thread(target=self._until_answered, args=(person, sent))
        twin.start()
        self._until_answered(person, sent)
        twin.join()

    def _again(self, person: Person, sent: Sent) -> None:
        self.told.note("sent again later")
        answer = self._until_answered(person, sent)
        if not answer.is_kept:
            self.told.faults.append(f"{sent} again was refused: {answer.status}")

    def _other_mass(self, rival: Person, first: Sent) -> None:
        self.told.note("another mass for the same place")
        second = Sent(first.run, first.slot, first.position, "123.4", uuid4())
        answer = self._until_answered(rival, second)
        self.told.keep(second, answer)
        if answer.is_kept:
            self.told.faults.append(f"{second} took the place of {first}")


def rows() -> list[tuple[str, int]]:
    fractions = [("fraction", position) for position in range(1, len(SIEVES_UM) + 1)]
    return [("dry mass", 0), *fractions, ("pan", 0)]


def weigh_all(
    places: list[Place], site: served.Site, seed: int, kill_every_s: float
) -> tuple[Told, int]:
    """Let all benches work while workers die; give what they were told and how many died."""
    told = Told()
    benches = [
        threading.Thread(target=Bench(place, site.port, told, random.Random(seed + n)).work)
        for n, place in enumerate(places)
    ]
    for bench in benches:
        bench.start()
    killed, answered, chance = 0, 0, random.Random(seed)
    while any(bench.is_alive() for bench in benches):
        time.sleep(kill_every_s * chance.uniform(0.5, 1.5))
        workers, now = site.workers(), len(told.acknowledged)
        if not workers or now == answered:
            continue  # a worker that has not come up yet has nothing to lose
        site.kill_worker(chance.choice(workers))
        killed, answered = killed + 1, now
    return told, killed


def compare(told: Told) -> list[str]:
    """Hold the database against what the benches were told."""
    from django.db.models import Count

    from gradation.models import LedgerEntry, Weighing

    rows = {row.key: row for row in Weighing.objects.all()}
    counted = Weighing.objects.values("key").annotate(n=Count("id")).filter(n__gt=1)
    entries = Counter(
        LedgerEntry.objects.filter(subject_type="weighing").values_list("subject_id", flat=True)
    )
    faults = list(told.faults)
    faults += [f"kept twice: {row['key']}" for row in counted]
    faults += [f"lost: {told.sent[key]}" for key in told.acknowledged - rows.keys()]
    faults += [f"nobody sent: {row}" for key, row in rows.items() if key not in told.sent]
    faults += [f"refused, yet kept: {told.sent[key]}" for key in told.refused & rows.keys()]
    faults += [
        f"other text: {row} for {told.sent[key]}"
        for key, row in rows.items()
        if key in told.sent and row.entered_text != told.sent[key].text
    ]
    faults += [
        f"ledger: {entries[row.pk]} of {row}" for row in rows.values() if entries[row.pk] != 1
    ]
    return faults + broken_chains()


def broken_chains() -> list[str]:
    """Follow every chain of the ledger from its first entry to its head."""
    from gradation.models import ChainHead, LedgerEntry
    from gradation.services.ledger import digest_of

    last: dict[str, tuple[int, str]] = {}
    faults = []
    for entry in LedgerEntry.objects.order_by("chain", "sequence").iterator():
        sequence, digest = last.get(entry.chain, (0, ""))
        if (entry.sequence, entry.previous_digest) != (sequence + 1, digest):
            faults.append(f"chain broken before {entry}")
        if digest_of(entry) != entry.digest:
            faults.append(f"entry changed: {entry}")
        last[entry.chain] = (entry.sequence, entry.digest)
    heads = {head.chain: (head.sequence, head.digest) for head in ChainHead.objects.all()}
    return faults + [f"head of {chain}" for chain in last if heads.get(chain) != last[chain]]


@dataclass(frozen=True)
class Soak:
    """How much is asked of the server."""

    database: str
    benches: int
    runs: int
    processes: int
    seed: int
    kill_every_s: float


def soak(asked: Soak) -> list[str]:
    """Do the whole of it and give the faults; what happened is printed."""
    with (
        tempfile.TemporaryDirectory(prefix="gradation-load-") as home,
        served.database(asked.database, Path(home)) as url,
    ):
        processes = asked.processes if asked.database == "postgres" else 1
        given = served.variables(url, served.free_port(), processes)
        served.set_up(given)
        from django.db import connections

        places = fill(asked.benches, asked.runs)
        connections.close_all()
        began = time.monotonic()
        with served.serving(given, Path(home) / "server.log") as site:
            told, killed = weigh_all(places, site, asked.seed, asked.kill_every_s)
        faults = compare(told)
        connections.close_all()
    seconds = time.monotonic() - began
    print(
        f"{asked.database}: {len(told.acknowledged)} readings acknowledged at {asked.benches} "
        f"benches in {seconds:.0f} s, {killed} workers killed; "
        + ", ".join(f"{n} x {event}" for event, n in sorted(told.events.items()))
    )
    print(f"faults: {len(faults)}")
    return faults


def main() -> None:
    """Print what happened; end with 1 when a reading was lost or doubled."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--database", choices=("postgres", "sqlite"), default="postgres")
    parser.add_argument("--benches", type=int, default=20)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--processes", type=int, default=3)
    parser.add_argument("--kill-every", type=float, default=4.0, help="seconds, on average")
    parser.add_argument("--seed", type=int, default=2026)
    chosen = parser.parse_args()
    system.provide_libraries()
    faults = soak(
        Soak(
            chosen.database, chosen.benches, chosen.runs, chosen.processes, chosen.seed,
            chosen.kill_every,
        )
    )  # fmt: skip
    print("\n".join(faults[:20]))
    sys.exit(bool(faults))


if __name__ == "__main__":
    main()
