"""The work queue of a bench: what comes next on each run, what dries, what has to be checked."""

from decimal import Decimal

import pytest

from gradation.models import Equipment, Weighing
from gradation.queries.work_queue import work_queue
from gradation.services import bench, clock, review
from tests import factories

pytestmark = pytest.mark.django_db
Slot = Weighing.Slot


@pytest.fixture
def person():
    return factories.technician()


def shaken_procedure(**values):
    return factories.make_procedure(shaking_minutes=Decimal(10), **values)


def queue(person, at=None):
    return work_queue(person, at, clock.now(), clock.today())


def keep(run, slot, text, position=0):
    bench.record_weighing(
        actor=run.technician, run=run, reading=factories.reading(slot, text, position)
    )


def test_open_run_says_what_comes_next_in_the_order_of_the_work(person):
    material = factories.make_material(shaken_procedure())
    run = factories.make_run(person, factories.make_sample(person, material))

    steps = [queue(person).in_hand[0].next_step]
    keep(run, Slot.DRY_MASS, "500")
    steps.append(queue(person).to_shake[0].next_step)
    keep(run, Slot.FRACTION, "10", 1)
    steps.append(queue(person).in_hand[0].next_step)

    assert steps == ["weigh the portion", "shake", "weigh the fractions: 1 of 7"]


def test_washed_run_waits_for_its_washing_before_it_is_shaken(person):
    material = factories.make_material(shaken_procedure(wash=True))
    run = factories.make_run(person, factories.make_sample(person, material))
    keep(run, Slot.DRY_MASS, "500")

    assert queue(person).in_hand[0].next_step == "wash, dry and weigh again"


def test_returned_run_stands_first_with_its_reason(person):
    run = factories.make_weighed_run(person)
    review.return_run(actor=factories.reviewer(), run=run, reason="Weigh the pan again.")

    returned = queue(person).returned

    assert [task.run.state_reason for task in returned] == ["Weigh the pan again."]


def test_other_bench_has_other_work(person):
    run = factories.make_run(person)

    assert not queue(person, factories.make_bench()).in_hand
    assert [task.run for task in queue(person, run.bench).in_hand] == [run]


def test_balance_not_checked_today_is_named_first_of_all(person):
    at = factories.make_bench()
    balance = factories.make_instrument(Equipment.Kind.BALANCE, bench=at)

    reminders = queue(person, at).reminders

    assert [reminder.row.item.serial for reminder in reminders] == [balance.serial]


def test_portion_in_the_oven_waits_with_its_next_weighing(person):
    portion = factories.make_portion(person)
    drying = factories.make_drying(portion)

    assert [view.drying for view in queue(person).drying] == [drying]


def test_sample_due_yesterday_is_late(person):
    sample = factories.make_sample(person, due_on=clock.today())
    factories.make_sample(person)

    tasks = {task.sample.pk: task for task in queue(person).samples}

    assert tasks[sample.pk].is_due_today
    assert not tasks[sample.pk].is_late


def test_number_of_queries_does_not_grow_with_the_runs(person, django_assert_max_num_queries):
    material = factories.make_material(shaken_procedure())
    for _ in range(6):
        keep(
            factories.make_run(person, factories.make_sample(person, material)),
            Slot.DRY_MASS,
            "500",
        )

    with django_assert_max_num_queries(14):
        assert len(queue(person).to_shake) == 6
