"""Many change the same records at once: no change is lost, stale and unversioned ones are refused.

`python -m tests.load.racing_edits [--database postgres|sqlite] [--edits 10000] [--callers 6]`

A customer's contact holds a figure. Each caller reads it with its state (ETag) and writes the next
one for that state (If-Match), over the network; one in ten sends no state. What was read meanwhile
is changed by the others, so many are refused: 412 for a state that is past, 428 without any. At the
end each figure is the number of changes that were acknowledged, and the ledger goes up in ones.
"""

from __future__ import annotations

import argparse
import collections
import contextlib
import http.client
import json
import random
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

from tests.load import served

UNVERSIONED = 0.1
FIELD = "contact_name"
#: Answers that say 'again', and change nothing.
AGAIN = {429, 503}
#: Method, address, body and ETag; gives status, body and ETag.
Ask = Callable[[str, str, bytes, str], tuple[int, bytes, str]]


@dataclass
class Told:
    """What callers were told."""

    done: collections.Counter[int] = field(default_factory=collections.Counter)
    answers: collections.Counter[int] = field(default_factory=collections.Counter)
    strange: list[str] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def note(self, customer: int, status: int, expected: set[int]) -> None:
        """Keep an answer to an edit."""
        with self.lock:
            self.answers[status] += 1
            if status == http.client.OK:
                self.done[customer] += 1
            if status not in expected:
                self.strange.append(f"{status} where one of {sorted(expected)} was due")


def race(ask: Ask, customers: Sequence[int], edits: int, callers: int) -> Told:
    """Let callers change the same few customers until so many edits were tried."""
    told = Told()

    def one(place: int) -> None:
        chance = random.Random(place)
        customer = chance.choice(customers)
        address = f"/api/v1/customers/{customer}"
        _, body, state = _until_answered(ask, "GET", address, b"", "")
        read = json.loads(body)
        read[FIELD] = str(int(read[FIELD]) + 1)
        del read["id"]
        is_versioned = chance.random() >= UNVERSIONED
        sent = json.dumps(read).encode()
        status, _, _ = _until_answered(ask, "PUT", address, sent, state if is_versioned else "")
        told.note(customer, status, {200, 412} if is_versioned else {428})

    with ThreadPoolExecutor(callers) as pool:
        list(pool.map(one, range(edits)))
    return told


def _until_answered(
    ask: Ask, method: str, address: str, body: bytes, state: str
) -> tuple[int, bytes, str]:
    while True:
        found = ask(method, address, body, state)
        if found[0] not in AGAIN:
            return found


def faults_of(told: Told, customers: Sequence[int]) -> Iterator[str]:
    """Hold what callers were told against the records."""
    from gradation.models import Customer, LedgerEntry

    for customer in customers:
        kept = int(Customer.objects.get(pk=customer).contact_name)
        if kept != told.done[customer]:
            yield f"customer {customer} is at {kept} after {told.done[customer]} changes"
        entries = LedgerEntry.objects.filter(
            action="customer changed", subject_id=customer
        ).order_by("id")
        steps = [int(entry.after[FIELD]) for entry in entries]
        if steps != list(range(1, told.done[customer] + 1)):
            yield f"the ledger of customer {customer} has {len(steps)} changes, not one by one"
    yield from told.strange


def prepare(count: int) -> tuple[list[int], str]:
    """Make customers to change and a token that may."""
    from gradation.models import Scope
    from tests import factories

    factories.make_laboratory()
    made = [factories.make_customer(contact_name="0").pk for _ in range(count)]
    scopes = [Scope.READ_PARTIES, Scope.WRITE_PARTIES]
    token = factories.make_token(factories.technician(), scopes=scopes)
    return made, f"Bearer {token.text}"


def over_network(port: int, bearer: str) -> Ask:
    """Give the way to ask the running site."""

    def ask(method: str, address: str, body: bytes, state: str) -> tuple[int, bytes, str]:
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        headers = {
            **served.proxied(),
            "Authorization": bearer,
            "Content-Type": "application/json",
            **({"If-Match": state} if state else {}),
        }
        with contextlib.closing(line):
            line.request(method, address, body, headers)
            answer = line.getresponse()
            return answer.status, answer.read(), answer.headers.get("ETag", "")

    return ask


def main() -> int:
    """Serve, race, count."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--database", choices=["postgres", "sqlite"], default="postgres")
    parser.add_argument("--edits", type=int, default=10_000)
    parser.add_argument("--callers", type=int, default=6)
    wanted = parser.parse_args()
    with (
        tempfile.TemporaryDirectory() as folder,
        served.database(wanted.database, Path(folder)) as url,
    ):
        port = served.free_port()
        given = served.variables(url, port, 4 if wanted.database == "postgres" else 1)
        given["GRADATION_INTERFACE_CALLS_PER_MINUTE"] = "1000000"
        served.set_up(given)
        customers, bearer = prepare(3)
        with served.serving(given, Path(folder) / "log"):
            told = race(over_network(port, bearer), customers, wanted.edits, wanted.callers)
        faults = list(faults_of(told, customers))
    answers = ", ".join(f"{count} x {status}" for status, count in sorted(told.answers.items()))
    print(f"{wanted.database}: {wanted.edits} edits by {wanted.callers} callers: {answers}")
    print(f"faults: {len(faults)}")
    print("\n".join(faults[:20]))
    return int(bool(faults))


if __name__ == "__main__":
    sys.exit(main())
