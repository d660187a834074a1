"""Observations as they were made: whose, when, exactly as given; none of them is lost."""

from datetime import timedelta
from itertools import product

import pytest

from gradation.errors import Refusal
from gradation.models import LedgerEntry, Result, Run, Weighing
from gradation.science import SCIENCE_VERSION
from gradation.services import bench, clock, interface_keys, review
from tests import factories

pytestmark = pytest.mark.django_db


def test_r38_every_reading_has_its_person_moment_bench_and_balance_or_says_it_was_typed(technician):
    run = factories.make_weighed_run(technician)

    for name in ("made_by", "made_at", "run", "source", "entered_text", "key"):
        assert not Weighing._meta.get_field(name).null, name
    assert not Run._meta.get_field("bench").null
    for reading in run.weighings.all():
        assert reading.made_by == technician
        assert reading.made_at.utcoffset() == timedelta(0)
        assert reading.balance is not None or reading.source == Weighing.Source.TYPED


@pytest.mark.parametrize("text", ["123.40", "100", "0.500"])
def test_r48_a_reading_keeps_the_digits_it_was_entered_with(technician, text):
    run = factories.make_run(technician)

    bench.record_weighing(actor=technician, run=run, reading=factories.reading("dry mass", text))

    kept = Weighing.objects.get(run=run)
    assert kept.entered_text == text
    assert kept.decimals == len(text.partition(".")[2])
    assert str(kept.mass_g).rstrip("0") == text.rstrip("0") or kept.mass_g == int(text)


def test_r59_nothing_that_cleans_up_takes_an_entry_ten_years_later(technician):
    run = factories.make_weighed_run(technician)
    kept, readings = (
        set(LedgerEntry.objects.values_list("digest", flat=True)),
        run.weighings.count(),
    )

    with factories.at(clock.now() + timedelta(days=3653)):
        interface_keys.forget_old_keys()
        assert factories.make_sample(technician).pk

    assert kept < set(LedgerEntry.objects.values_list("digest", flat=True))
    assert run.weighings.count() == readings


def test_r72_a_result_says_by_which_version_of_the_calculations_it_was_made(technician):
    factories.make_weighed_run(technician)

    assert Result.objects.get().science_version == SCIENCE_VERSION
    assert not Result._meta.get_field("science_version").blank


#: In which states an act is in order; worked out from the course of a run, not from the code:
#: the bench hands over what is open or came back, a reviewer answers for what was handed over,
#: and what was accepted or given up stays as it is.
IN_ORDER = {
    "hand over": {"open", "returned"},
    "accept": {"weighed"},
    "return": {"weighed"},
    "make invalid": {"open", "weighed", "returned"},
}


def act_on(run, act, reviewer):
    if act == "hand over":
        bench.submit_run(actor=run.technician, run=run)
    elif act == "accept":
        factories.accept(run, reviewer)
    elif act == "return":
        review.return_run(actor=reviewer, run=run, reason="Look again.")
    else:
        review.invalidate_run(actor=reviewer, run=run, reason="Spilt.")


#: The way to each state.
WAY = {
    "open": (),
    "weighed": ("hand over",),
    "returned": ("hand over", "return"),
    "accepted": ("hand over", "accept"),
    "invalid": ("hand over", "make invalid"),
}


def events():
    """Count the entries but those of having looked, which changes nothing of the run."""
    return LedgerEntry.objects.exclude(action="history looked through").count()


@pytest.mark.parametrize(("state", "act"), list(product(WAY, IN_ORDER)))
def test_r68_an_act_out_of_order_is_refused_and_changes_nothing(technician, reviewer, state, act):
    run = factories.make_run(technician)
    factories.weigh(run)
    for step in WAY[state]:
        act_on(run, step, reviewer)
    run.refresh_from_db()
    assert run.state == state
    before = events()

    if state in IN_ORDER[act]:
        act_on(run, act, reviewer)
        assert events() > before
        return
    with pytest.raises(Refusal):
        act_on(run, act, reviewer)
    run.refresh_from_db()
    assert run.state == state
    assert events() == before
