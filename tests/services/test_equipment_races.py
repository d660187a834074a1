"""Two at the same instant about equipment: exactly one wins and the other is told.

Each contender works in a thread of its own on a connection of its own, on either database.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from threading import Barrier

import pytest
from django.db import connection

from gradation.errors import Conflict, Invalid, Refusal
from gradation.models import Check, Equipment, LedgerEntry, ReferenceLot, Run, RunSieve, Sieve, User
from gradation.services import bench, checks, clock, instruments, upkeep
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)

PATIENCE_S = 60


@pytest.fixture(autouse=True)
def laboratory(transactional_db):
    return factories.make_laboratory()


def at_once(*acts):
    """Let all begin at the same instant; give what each came home with, a refusal included."""
    start = Barrier(len(acts))

    def contend(act):
        try:
            start.wait(PATIENCE_S)
            return act()
        except Refusal as refusal:
            return refusal
        finally:
            connection.close()

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(contend, acts))


def refusals(outcomes):
    return [each for each in outcomes if isinstance(each, Refusal)]


def opener(sieves, material, *, gear=()):
    """Give the act of a technician who opens a run on these sieves at a bench of their own."""
    actor = factories.technician()
    portion = factories.make_portion(actor, factories.make_sample(actor, material))
    setup = bench.Setup(bench=factories.make_bench(), sieves=sieves, instruments=gear)
    return lambda: bench.open_run(actor=User.objects.get(pk=actor.pk), portion=portion, setup=setup)


@pytest.mark.parametrize("attempt", range(3))
def test_of_two_benches_that_claim_one_sieve_one_wins_and_the_other_is_told_who_has_it(attempt):
    """Their nests share one sieve only, registered first for one bench and last for the other."""
    material = factories.make_material(factories.make_procedure((600, 300)))
    own, shared, other = (factories.make_sieve(size) for size in (300, 600, 300))
    shaker = factories.make_instrument("shaker")

    outcomes = at_once(
        opener([shared, own], material, gear=[shaker]),
        opener([shared, other], material, gear=[shaker]),
    )

    (refusal,) = refusals(outcomes)
    run = Run.objects.get()
    assert isinstance(refusal, Conflict)
    for words in (shared.serial, str(run.bench), run.technician.full_name):
        assert words in refusal.message
    assert RunSieve.objects.filter(sieve=shared, in_use=True).count() == 1


def test_of_two_benches_that_open_the_same_portion_one_wins_and_the_other_is_told():
    material = factories.make_material(factories.make_procedure((600, 300)))
    actor = factories.technician()
    portion = factories.make_portion(actor, factories.make_sample(actor, material))
    setups = [
        bench.Setup(bench=factories.make_bench(), sieves=factories.make_sieves((600, 300)))
        for _ in range(2)
    ]

    outcomes = at_once(
        *(
            lambda setup=setup: bench.open_run(
                actor=User.objects.get(pk=actor.pk), portion=portion, setup=setup
            )
            for setup in setups
        )
    )

    (refusal,) = refusals(outcomes)
    assert (refusal.code, str(Run.objects.get()) in refusal.message) == ("claimed-twice", True)


def test_benches_with_different_sieves_and_one_shaker_do_not_hinder_one_another():
    material = factories.make_material(factories.make_procedure((600, 300)))
    shaker = factories.make_instrument("shaker")
    acts = [opener(factories.make_sieves((600, 300)), material, gear=[shaker]) for _ in range(4)]

    outcomes = at_once(*acts)

    assert refusals(outcomes) == []
    assert Run.objects.count() == 4


def test_runs_handed_over_together_each_count_on_the_shaker_they_share():
    material = factories.make_material(factories.make_procedure())
    shaker = factories.make_instrument("shaker")
    runs = [opener(factories.make_sieves(), material, gear=[shaker])() for _ in range(4)]
    for run in runs:
        factories.weigh(run)

    def submitter(run):
        return lambda: bench.submit_run(
            actor=User.objects.get(pk=run.technician_id),
            run=run,
            hand_over=bench.HandOver(shaking_minutes=Decimal(10)),
        )

    outcomes = at_once(*(submitter(run) for run in runs))

    assert refusals(outcomes) == []
    shaken = Equipment.objects.get(pk=shaker.pk)
    assert (shaken.use_count, shaken.minutes_used) == (4, Decimal(40))


def test_no_run_is_opened_on_a_sieve_after_its_check_has_failed():
    """Whichever is first: the run stands before the failure, or is refused because of it."""
    material = factories.make_material(factories.make_procedure((600, 300)))
    sieves = factories.make_sieves((600, 300))
    keeper = factories.keeper()

    def fail():
        return checks.record_check(
            actor=User.objects.get(pk=keeper.pk),
            equipment=sieves[0],
            evidence=checks.VisualEvidence({"no tear, no hole": False}),
            performed_on=clock.today(),
        )

    opened, failed = at_once(opener(sieves, material), fail)

    assert isinstance(failed, Check)
    assert Sieve.objects.get(pk=sieves[0].pk).state == Sieve.State.OUT_OF_SERVICE
    if isinstance(opened, Run):
        entries = LedgerEntry.objects.order_by("id").filter(
            action__in=["run opened", "out of service"]
        )
        assert [entry.action for entry in entries] == ["run opened", "out of service"]
    else:
        assert isinstance(opened, Invalid)
        assert "out of service" in opened.message
        assert not Run.objects.exists()


def test_last_use_of_a_reference_lot_is_given_once():
    keeper = factories.keeper()
    certified = [
        {"aperture_um": "180", "passing_pct": "90"},
        {"aperture_um": "125", "passing_pct": "10"},
    ]
    lot = instruments.register_reference_lot(
        actor=keeper,
        lot=ReferenceLot(
            name="Beads", lot="7", certificate="C-7", certified=certified, most_uses=1
        ),
    )

    def use(sieve):
        return lambda: checks.record_check(
            actor=User.objects.get(pk=keeper.pk),
            equipment=sieve,
            evidence=checks.ReferenceEvidence(lot, Decimal(46)),
            performed_on=clock.today(),
        )

    sieves = [factories.make_sieve(150, standard="ASTM E11") for _ in range(3)]
    outcomes = at_once(*(use(sieve) for sieve in sieves))

    assert len(refusals(outcomes)) == 2
    assert Check.objects.count() == 1
    assert ReferenceLot.objects.get().use_count == 1


def test_one_serial_registered_by_two_keepers_is_one_card():
    keeper = factories.keeper()

    def register():
        return upkeep.register_sieve(
            actor=User.objects.get(pk=keeper.pk),
            sieve=Sieve(
                serial="S-TWICE",
                aperture_um=Decimal(600),
                frame_diameter_mm=Decimal(200),
            ),
        )

    outcomes = at_once(register, register)

    (refusal,) = refusals(outcomes)
    assert refusal.field == "serial"
    assert Sieve.objects.count() == 1
