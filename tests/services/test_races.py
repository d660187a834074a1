"""Two at the same instant: one of them is first, the other is told, and nothing is counted twice.

Each contender works in a thread of its own, on a connection of its own, as web workers do.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from threading import Barrier
from typing import Any

import pytest
from django.db import connection

from gradation.errors import Refusal
from gradation.models import Certificate, LedgerEntry, Run, Sample, User, Weighing
from gradation.services import bench, certify, intake
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)

PATIENCE_S = 60


@dataclass(frozen=True)
class Outcome:
    """What one contender came home with."""

    done: Any = None
    refusal: Refusal | None = None


def all_at_once(acts: Sequence[Callable[[], Any]]) -> list[Outcome]:
    """Let every act begin at the same instant; give what came of each, in order."""
    start = Barrier(len(acts))

    def contend(act: Callable[[], Any]) -> Outcome:
        try:
            start.wait(PATIENCE_S)
            return Outcome(done=act())
        except Refusal as refusal:
            return Outcome(refusal=refusal)
        finally:
            connection.close()

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(contend, acts))


def one_won(outcomes: Sequence[Outcome]) -> tuple[Any, Refusal]:
    """Give what the winner has and what the other was told; there must be one of each."""
    won = [each.done for each in outcomes if each.refusal is None]
    lost = [each.refusal for each in outcomes if each.refusal is not None]
    assert (len(won), len(lost)) == (1, len(outcomes) - 1)
    return won[0], lost[0]


def afresh(person: User) -> User:
    """Give a contender the person as its own request would read it."""
    return User.objects.get(pk=person.pk)


@pytest.fixture
def laboratory(transactional_db):
    return factories.make_laboratory()


def test_two_benches_cannot_take_one_sieve_at_the_same_instant(laboratory):
    version = factories.make_procedure()
    material = factories.make_material(version)
    shared = factories.make_sieves()
    openers = []
    for _ in range(2):
        actor = factories.technician()
        portion = factories.make_portion(actor, factories.make_sample(actor, material))
        setup = bench.Setup(bench=factories.make_bench(), sieves=shared)
        openers.append((actor, portion, setup))

    outcomes = all_at_once(
        [
            lambda it=it: bench.open_run(actor=afresh(it[0]), portion=it[1], setup=it[2])
            for it in openers
        ]
    )

    run, refusal = one_won(outcomes)
    assert Run.objects.get() == run
    assert str(shared[0]) in refusal.message
    assert str(run) in refusal.message
    assert run.bench.name in refusal.message


def test_two_signatories_cannot_both_issue_a_draft(laboratory):
    run = factories.make_accepted_run()
    signatories = [factories.signatory(), factories.signatory()]
    draft = certify.draft_certificate(
        actor=signatories[0],
        sample=run.portion.sample,
        drafting=certify.Drafting(runs=[run]),
    )

    outcomes = all_at_once(
        [
            lambda who=who: certify.issue_certificate(
                actor=afresh(who),
                certificate=Certificate.objects.get(pk=draft.pk),
                password=factories.PASSWORD,
            )
            for who in signatories
        ]
    )

    issued, refusal = one_won(outcomes)
    kept = Certificate.objects.get()
    assert refusal.code in {"conflict", "signed-already"}
    assert (kept.number, kept.pdf_sha256) == (issued.number, issued.pdf_sha256)
    assert kept.number.endswith("-0001")
    assert LedgerEntry.objects.filter(action="certificate issued").count() == 1


def test_f01_many_samples_logged_in_parallel_are_numbered_without_gap_or_duplicate(laboratory):
    benches, each_logs = 8, 20
    actor, customer = factories.technician(), factories.make_customer()
    material = factories.make_material()

    def log_some() -> list[str]:
        person = afresh(actor)
        delivery = intake.Delivery(customer=customer, material=material, condition="dry")
        return [intake.log_sample(actor=person, delivery=delivery).number for _ in range(each_logs)]

    with factories.at():
        outcomes = all_at_once([log_some] * benches)

    numbers = sorted(number for each in outcomes for number in each.done)
    total = benches * each_logs
    assert [int(number.rsplit("-", 1)[1]) for number in numbers] == list(range(1, total + 1))
    assert Sample.objects.count() == total


def test_a_reading_sent_twice_at_the_same_instant_is_one_row(laboratory):
    run = factories.make_run()
    reading = factories.reading(Weighing.Slot.DRY_MASS, "500")

    outcomes = all_at_once([lambda: _record(run, reading)] * 4)

    assert [each.refusal for each in outcomes] == [None] * 4
    assert len({each.done.pk for each in outcomes}) == 1
    assert run.weighings.count() == 1
    assert LedgerEntry.objects.filter(action="reading recorded").count() == 1


def test_of_two_values_for_one_place_the_first_stays_and_the_other_is_told(laboratory):
    run = factories.make_run()
    first = factories.reading(Weighing.Slot.FRACTION, "10", 1)
    second = factories.reading(Weighing.Slot.FRACTION, "12", 1)

    outcomes = all_at_once([lambda: _record(run, first), lambda: _record(run, second)])

    kept, refusal = one_won(outcomes)
    assert refusal.code == "reading-clash"
    assert f"{kept.mass_as_entered} g was already recorded here" in refusal.message
    assert [row.pk for row in run.weighings.all()] == [kept.pk]


def _record(run: Run, reading: bench.Reading) -> Weighing:
    return bench.record_weighing(actor=afresh(run.technician), run=run, reading=reading)
