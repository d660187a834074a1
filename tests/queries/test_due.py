"""Due: by days or by uses, whichever comes first; one place says what may not be used."""

from datetime import date, timedelta

import pytest

from gradation.models import Equipment, Laboratory
from gradation.queries.due import Due, due_list, due_of, unfit_reasons
from gradation.queries.equipment import nest_list, nest_state, nest_states
from gradation.services import upkeep
from tests import factories

TODAY = date(2026, 3, 2)


@pytest.fixture(autouse=True)
def laboratory(db):
    return factories.make_laboratory()


def item(days=None, **values):
    next_check = None if days is None else TODAY + timedelta(days=days)
    return Equipment(serial="S-1", kind="sieve", next_check_on=next_check, **values)


@pytest.mark.parametrize(
    ("days", "due"),
    [
        (-1, Due.OVERDUE),
        (0, Due.DUE_SOON),
        (30, Due.DUE_SOON),
        (31, Due.IN_DATE),
        (None, Due.NOT_PLANNED),
    ],
)
def test_day_itself_is_still_in_time(days, due):
    assert due_of(item(days), TODAY, 30) == due


@pytest.mark.parametrize(
    ("uses", "due"),
    [(100, Due.OVERDUE), (99, Due.DUE_SOON), (90, Due.DUE_SOON), (89, Due.IN_DATE)],
)
def test_uses_come_due_when_the_count_reaches_them(uses, due):
    """The last tenth of an interval of 100 uses is soon."""
    by_uses = item(next_check_at_use=100, check_interval_uses=100, use_count=uses)

    assert due_of(by_uses, TODAY, 30) == due


def test_whichever_comes_first():
    soon_by_days = item(10, next_check_at_use=100, check_interval_uses=100, use_count=5)
    over_by_uses = item(300, next_check_at_use=100, check_interval_uses=100, use_count=100)

    assert due_of(soon_by_days, TODAY, 30) == Due.DUE_SOON
    assert due_of(over_by_uses, TODAY, 30) == Due.OVERDUE


def test_due_list_names_all_kinds_the_overdue_first_and_the_withdrawn_never():
    later = factories.make_sieve(next_check_on=TODAY + timedelta(days=200))
    overdue = factories.make_instrument("balance", next_check_on=TODAY - timedelta(days=3))
    gone = factories.make_sieve(next_check_on=TODAY - timedelta(days=9))
    upkeep.withdraw_equipment(actor=factories.keeper(), item=gone, reason="worn out")
    unplanned = factories.make_instrument("oven")

    rows = due_list(TODAY)

    assert [row.thing for row in rows] == [overdue, later, unplanned]
    assert [row.due for row in rows] == [Due.OVERDUE, Due.IN_DATE, Due.NOT_PLANNED]


def test_due_list_narrows_to_a_bench_and_a_person():
    place, person = factories.make_bench(), factories.technician()
    here = factories.make_sieve(bench=place)
    theirs = factories.make_sieve(keeper=person)

    assert [row.thing for row in due_list(TODAY, bench=place)] == [here]
    assert [row.thing for row in due_list(TODAY, person=person)] == [theirs]


def test_due_list_takes_as_many_queries_for_many_items_as_for_one(django_assert_num_queries):
    for size in factories.APERTURES_UM:
        factories.make_sieve(size, bench=factories.make_bench(), keeper=factories.keeper())

    with django_assert_num_queries(2):
        names = [(row.name, row.item.bench.name, row.item.keeper.full_name, row.last_check_on)
                 for row in due_list(TODAY)]  # fmt: skip

    assert len(names) == 6


def test_policy_decides_whether_an_overdue_item_stops_a_run():
    overdue = item(-1)

    blocked = unfit_reasons(overdue, TODAY, Laboratory(overdue_sieve="block"))
    warned = unfit_reasons(overdue, TODAY, Laboratory(overdue_sieve="warn"))

    assert [reason.blocks for reason in (*blocked, *warned)] == [True, False]


@pytest.mark.parametrize("rule", [{"check_interval_days": 365}, {"check_interval_uses": 100}])
def test_new_item_with_a_rule_waits_for_its_first_check(rule):
    new = item(**rule)

    blocked = unfit_reasons(new, TODAY, Laboratory(overdue_sieve="block"))
    warned = unfit_reasons(new, TODAY, Laboratory(overdue_sieve="warn"))

    assert due_of(new, TODAY, 30) == Due.UNCHECKED
    assert [reason.blocks for reason in (*blocked, *warned)] == [True, False]
    assert {reason.code for reason in (*blocked, *warned)} == {"not-checked-yet"}
    assert "not checked yet" in str(blocked[0])


def test_item_without_a_rule_waits_for_no_check():
    assert unfit_reasons(item(), TODAY, Laboratory()) == ()
    assert unfit_reasons(item(5, check_interval_days=365), TODAY, Laboratory()) == ()


def nest_of(**values):
    procedure = factories.make_procedure((600, 300))
    sieves = [factories.make_sieve(600), factories.make_sieve(300, **values)]
    return factories.make_nest(procedure, sieves)


def state(nest):
    return nest_state(nest_list().get(pk=nest.pk), TODAY)


def test_nest_in_order_is_fit():
    assert state(nest_of()).is_fit


def test_nest_says_why_it_is_not_fit():
    overdue = nest_of(next_check_on=TODAY - timedelta(days=1))
    torn = nest_of()
    sieve = torn.places.first().sieve
    upkeep.take_out_of_service(actor=factories.keeper(), item=sieve, reason="torn at the rim")

    assert "was due on 01 Mar 2026" in state(overdue).reasons[0]
    assert "torn at the rim" in state(torn).reasons[0]


def test_nest_whose_sieve_stands_in_a_run_says_where():
    nest = factories.make_nest(factories.make_procedure())
    sample = factories.make_sample(material=factories.make_material(nest.procedure.versions.get()))
    run = factories.make_run(sample=sample, sieves=[place.sieve for place in nest.places.all()])

    assert str(run.bench) in state(nest).reasons[0]


def test_nests_take_as_many_queries_together_as_one_alone(django_assert_num_queries):
    for _ in range(3):
        nest_of()

    with django_assert_num_queries(6):
        states = nest_states(nest_list(), TODAY)

    assert [each.is_fit for each in states] == [True] * 3
