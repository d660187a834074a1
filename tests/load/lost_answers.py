"""Every request three times, three answers in ten lost: nothing is done twice, nothing is lost.

`python -m tests.load.lost_answers [--database postgres|sqlite] [--acts 3400] [--callers 6]`

Samples are logged over the network, each under a key of its own. Each is sent three times by
callers that work side by side; of three answers in ten the caller hangs up before it reads them. At
the end each lot is there once, with one entry in the ledger, and every answer that was read named
the same sample.
"""

from __future__ import annotations

import argparse
import collections
import http.client
import json
import random
import sys
import tempfile
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from uuid import uuid4

from tests.load import served

REPEATS = 3
LOST = 0.3
#: Answers that say 'again': the first of this key is at work, or too many ask.
AGAIN = {409, 429, 503}
Send = Callable[[str, bytes, bool], tuple[int, bytes] | None]


@dataclass
class Told:
    """What callers were told: of each lot the numbers named, and answers that were no success."""

    numbers: dict[str, set[str]] = field(default_factory=lambda: collections.defaultdict(set))
    strange: list[str] = field(default_factory=list)
    sent: int = 0
    lost: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)

    def note(self, lot: str, answer: tuple[int, bytes] | None) -> bool:
        """Keep an answer; say whether the caller is to ask again."""
        with self.lock:
            self.sent += 1
            if answer is None:
                self.lost += 1
                return False
            status, body = answer
            if status in AGAIN:
                return True
            if status == http.client.CREATED:
                self.numbers[lot].add(json.loads(body)["number"])
            else:
                self.strange.append(f"{status}: {body[:200]!r}")
            return False


def repeat_and_lose(
    send: Send, delivery: dict[str, str], lots: Sequence[str], callers: int
) -> Told:
    """Send each lot three times, in no order, and lose three answers in ten."""
    told = Told()
    keys = {lot: str(uuid4()) for lot in lots}
    asked = [lot for lot in lots for _ in range(REPEATS)]
    random.Random(17).shuffle(asked)

    def one(place: int, lot: str) -> None:
        chance = random.Random(place)
        body = json.dumps({**delivery, "lot": lot}).encode()
        while told.note(lot, send(keys[lot], body, chance.random() < LOST)):
            pass

    with ThreadPoolExecutor(callers) as pool:
        list(pool.map(one, range(len(asked)), asked))
    for place, lot in enumerate(lots):  # whoever lost all three answers asks until one comes
        while not told.numbers[lot] and not told.strange:
            one(len(asked) + place, lot)
            place += len(lots)
    return told


def faults_of(told: Told, lots: Sequence[str]) -> list[str]:
    """Hold what callers were told against the database."""
    from gradation.models import LedgerEntry, Sample

    kept = collections.Counter(Sample.objects.filter(lot__in=lots).values_list("lot", flat=True))
    entries = LedgerEntry.objects.filter(action="sample logged").count()
    faults = [f"lot {lot} is there {kept[lot]} times" for lot in lots if kept[lot] != 1]
    faults += [
        f"lot {lot} was told as {sorted(numbers)}"
        for lot, numbers in told.numbers.items()
        if len(numbers) != 1
    ]
    if entries != len(lots):
        faults.append(f"{entries} entries in the ledger for {len(lots)} samples")
    return faults + told.strange


def main() -> int:
    """Serve, ask, count."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--database", choices=["postgres", "sqlite"], default="sqlite")
    parser.add_argument("--acts", type=int, default=3400)
    parser.add_argument("--callers", type=int, default=6)
    told = parser.parse_args()
    with (
        tempfile.TemporaryDirectory() as folder,
        served.database(told.database, Path(folder)) as url,
    ):
        port = served.free_port()
        processes = 4 if told.database == "postgres" else 1
        given = served.variables(url, port, processes)
        given["GRADATION_INTERFACE_CALLS_PER_MINUTE"] = "1000000"
        served.set_up(given)
        delivery, bearer = _prepared()
        with served.serving(given, Path(folder) / "log"):
            lots = [f"L{number:06d}" for number in range(told.acts)]
            found = repeat_and_lose(_over_network(port, bearer), delivery, lots, told.callers)
        faults = faults_of(found, lots)
    print(
        f"{found.sent} requests, {found.lost} answers lost, {len(lots)} acts: {len(faults)} faults"
    )
    print("\n".join(faults[:20]))
    return int(bool(faults))


def _prepared() -> tuple[dict[str, str], str]:
    from gradation.models import Scope
    from tests import factories

    delivery = {
        "customer": factories.make_customer().name,
        "material": factories.make_material().name,
        "condition": "Sealed bag.",
    }
    factories.make_laboratory()
    token = factories.make_token(factories.technician(), scopes=[Scope.WRITE_SAMPLES])
    return delivery, f"Bearer {token.text}"


def _over_network(port: int, bearer: str) -> Send:
    def send(key: str, body: bytes, is_lost: bool) -> tuple[int, bytes] | None:
        asked = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        headers = {
            **served.proxied(),
            "Authorization": bearer,
            "Content-Type": "application/json",
            "Idempotency-Key": key,
        }
        asked.request("POST", "/api/v1/samples", body, headers)
        if is_lost:
            asked.close()
            return None
        answer = asked.getresponse()
        found = answer.status, answer.read()
        asked.close()
        return found

    return send


if __name__ == "__main__":
    sys.exit(main())
