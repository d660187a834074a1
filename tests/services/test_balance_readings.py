"""Readings of balances: placed where somebody named a field, else kept with the reason."""

from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import (
    BalanceReading,
    BenchPlace,
    Laboratory,
    LedgerEntry,
    RunInstrument,
    Weighing,
)
from gradation.services import balance_links, balance_readings, checks, clock, people, upkeep
from gradation.services.balance_readings import Field
from tests import factories

pytestmark = pytest.mark.django_db
Outcome = BalanceReading.Outcome


@pytest.fixture
def link(db):
    return factories.make_balance_link(factories.make_instrument("balance", serial="B-7"))


@pytest.fixture
def run(link):
    return factories.make_run(bench=link.bench)


@pytest.fixture
def sender(run):
    return factories.keeper()


def name(link, run, position=1, slot="fraction", actor=None, **more):
    balance_readings.name_place(
        actor=actor or run.technician,
        bench=link.bench,
        field=Field(run, slot, position, **more),
    )


def test_a_settled_line_becomes_the_reading_of_whoever_named_the_field(link, run, sender):
    name(link, run)

    reading = factories.send_line(link, "  12.340 g\r", sender)

    weighing = Weighing.objects.get(run=run)
    assert (reading.outcome, reading.weighing) == (Outcome.PLACED, weighing)
    assert (weighing.slot, weighing.position, str(weighing.mass_as_entered)) == (
        "fraction", 1, "12.340",
    )  # fmt: skip
    assert (weighing.made_by, weighing.balance, weighing.source) == (
        run.technician, link.balance, "balance",
    )  # fmt: skip
    assert reading.raw_text == "  12.340 g\r"
    assert (reading.sent_by, reading.bench) == (sender, link.bench)


def test_both_acts_stand_in_the_ledger_each_under_its_own_door(link, run, sender):
    name(link, run)

    factories.send_line(link, "12.3 g", sender)

    kept = LedgerEntry.objects.get(action="reading recorded")
    sent = LedgerEntry.objects.get(action="balance reading placed")
    assert (kept.actor, kept.door) == (run.technician, "balance B-7")
    assert (sent.actor, sent.chain) == (sender, f"bench/{link.bench.pk}/readings")


def test_another_unit_is_converted_with_the_balances_digits(link, run, sender):
    name(link, run)

    factories.send_line(link, "0.1234 kg", sender)  # exactly 123.4 g

    assert str(Weighing.objects.get().mass_as_entered) == "123.4"


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("12.3", "unstable"),
        ("OL", "overloaded"),
        ("\\xff\\x002.3", "unreadable"),
        ("-0.3 g", "below-zero"),
    ],
)
def test_what_cannot_be_taken_is_refused_and_kept_as_it_came(link, run, sender, line, code):
    name(link, run)

    reading = factories.send_line(link, line, sender)

    assert (reading.outcome, reading.code, reading.raw_text) == (Outcome.REFUSED, code, line)
    assert reading.reason
    assert not Weighing.objects.exists()


def test_an_empty_balance_that_sends_always_is_no_reading_and_a_pressed_zero_is(link, run, sender):
    name(link, run)
    assert factories.send_line(link, "0.00 g", sender).outcome == Outcome.PLACED

    streaming = factories.make_balance_link(sends="all the time")
    assert factories.send_line(streaming, "0.00 g", sender).code == "nothing-on-it"


def test_without_a_named_field_the_reading_waits(link, run, sender):
    reading = factories.send_line(link, "12.3 g", sender)

    assert (reading.outcome, reading.code) == (Outcome.WAITING, "no-place")


def test_a_filled_field_keeps_its_value_and_the_second_waits_with_both_said(link, run, sender):
    name(link, run)
    factories.send_line(link, "12.3 g", sender)

    second = factories.send_line(link, "45.6 g", sender)

    assert second.outcome == Outcome.WAITING
    assert "12.3 g" in second.reason
    assert "45.6 g" in second.reason
    assert Weighing.objects.count() == 1


def test_the_same_key_is_the_same_reading_however_often_it_comes(link, run, sender):
    name(link, run)
    key = uuid4()

    first = factories.send_line(link, "12.3 g", sender, key=key)
    again = factories.send_line(link, "12.3 g", sender, key=key)

    assert first.pk == again.pk
    assert (BalanceReading.objects.count(), Weighing.objects.count()) == (1, 1)
    with pytest.raises(Conflict, match=r"12\.3 g.*was sent before"):
        factories.send_line(link, "12.4 g", sender, key=key)


def test_one_load_that_comes_by_two_roads_is_placed_once(link, run, sender):
    """The gateway and a browser both read the balance, or a line is doubled on its way."""
    name(link, run)
    factories.send_line(link, "12.3 g", sender)
    name(link, run, position=2)  # the page has moved on to the next field

    second = factories.send_line(link, "12.3 g", sender)

    assert (second.outcome, second.code) == (Outcome.SET_ASIDE, "sent-twice")
    assert Weighing.objects.count() == 1


def test_the_same_mass_three_seconds_later_is_another_load(link, run, sender):
    now = clock.now()
    with clock.at(now):
        name(link, run)
        factories.send_line(link, "12.3 g", sender)
    with clock.at(now + timedelta(seconds=3)):
        name(link, run, position=2)
        assert factories.send_line(link, "12.3 g", sender).outcome == Outcome.PLACED


def test_a_line_that_waited_for_the_network_is_not_put_into_the_next_field(link, run, sender):
    now = clock.now()
    sent = {"observed_at": now - timedelta(minutes=5), "sent_at": now}
    name(link, run)

    late = factories.send_line(link, "12.3 g", sender, **sent)

    assert (late.outcome, late.code) == (Outcome.WAITING, "weighed-earlier")
    assert now - late.weighed_at == pytest.approx(timedelta(minutes=5), abs=timedelta(seconds=5))


def test_r47_a_senders_wrong_clock_moves_nothing(link, run, sender):
    an_hour_slow = clock.now() - timedelta(hours=1)
    name(link, run)

    reading = factories.send_line(
        link, "12.3 g", sender, observed_at=an_hour_slow, sent_at=an_hour_slow
    )

    assert reading.outcome == Outcome.PLACED
    assert reading.weighing.observed_at == an_hour_slow
    assert reading.received_at - reading.weighed_at < timedelta(seconds=1)


def test_equal_loads_from_a_queue_are_told_apart_by_when_they_were_weighed(link, run, sender):
    now = clock.now()
    outcomes = [
        factories.send_line(
            link, "12.3 g", sender, observed_at=now - timedelta(seconds=age), sent_at=now
        ).outcome
        for age in (30, 20, 10)
    ]

    assert outcomes == [Outcome.WAITING] * 3


def test_r49_nothing_comes_under_the_name_of_whoever_has_gone(link, run, sender):
    now = clock.now()
    name(link, run)
    with clock.at(now + timedelta(minutes=61)):
        assert factories.send_line(link, "1.2 g", sender).code == "place-old"

    name(link, run)
    balance_readings.leave_bench(actor=run.technician)
    assert factories.send_line(link, "3.4 g", sender).code == "no-place"

    name(link, run)
    people.deactivate_person(
        actor=factories.quality_manager(), person=run.technician, reason="Left."
    )
    assert factories.send_line(link, "5.6 g", sender).code == "person-gone"
    assert not Weighing.objects.exists()


def test_gross_masses_need_their_tare_and_are_kept_net(link, run, sender):
    name(link, run, is_gross=True)
    assert factories.send_line(link, "412.5 g", sender).code == "tare-missing"

    name(link, run, is_gross=True, tare_text="400")
    factories.send_line(link, "412.7 g", sender)

    kept = Weighing.objects.get()
    assert (kept.gross_g, kept.tare_g, kept.mass_g) == (Decimal("412.7"), 400, Decimal("12.7"))


@pytest.mark.parametrize(
    ("spoil", "code"),
    [
        (lambda link: {"balance": "B-8"}, "unknown-balance"),
        (lambda link: {"balance": factories.make_sieve(600).serial}, "unknown-balance"),
        (lambda link: {"balance": factories.make_instrument("shaker").serial}, "no-balance"),
        (lambda link: {"balance": factories.make_instrument("balance").serial}, "not-connected"),
        (lambda link: {"bench": factories.make_bench()}, "balance-elsewhere"),
    ],
)
def test_a_line_of_a_wrong_source_is_refused_and_kept(link, run, sender, spoil, code):
    name(link, run)

    reading = factories.send_line(link, "12.3 g", sender, **spoil(link))

    assert (reading.outcome, reading.code) == (Outcome.REFUSED, code)
    assert reading.raw_text == "12.3 g"


def test_r70_a_balance_out_of_service_overdue_or_unchecked_is_refused_as_for_a_run(link, sender):
    balance = link.balance
    assert factories.send_line(link, "1.1 g", sender).outcome == Outcome.WAITING
    Laboratory.objects.update(balance_not_checked="block")
    assert factories.send_line(link, "1.2 g", sender).code == "balance-not-checked"
    evidence = checks.WeightsEvidence([(500, 500, Decimal("0.1"))])
    checks.record_check(
        actor=sender, equipment=balance, evidence=evidence, performed_on=clock.today()
    )
    assert factories.send_line(link, "1.3 g", sender).outcome == Outcome.WAITING

    type(balance).objects.filter(pk=balance.pk).update(next_check_on=date(2020, 1, 1))
    assert factories.send_line(link, "1.4 g", sender).code == "overdue"
    upkeep.take_out_of_service(actor=sender, item=balance, reason="Dropped.")
    assert factories.send_line(link, "1.5 g", sender).code == "out-of-service"


def test_a_disconnected_balance_and_a_given_up_bench_take_nothing(link, sender):
    balance_links.disconnect_balance(actor=sender, link=link, reason="Sold.")
    assert factories.send_line(link, "1.2 g", sender).code == "not-connected"

    other = factories.make_balance_link()
    upkeep.retire_bench(actor=sender, bench=other.bench, reason="Room closed.")
    other.bench.refresh_from_db()
    assert factories.send_line(other, "1.2 g", sender).code == "bench-retired"


def test_a_run_opened_on_another_balance_takes_the_reading_by_hand_only(sender):
    run = factories.make_run()
    RunInstrument.objects.create(run=run, instrument=factories.make_instrument("balance"))
    link = factories.make_balance_link(bench=run.bench)
    name(link, run)

    assert factories.send_line(link, "12.3 g", sender).code == "other-balance"


def test_what_the_run_refuses_waits_with_its_words(link, sender):
    run = factories.make_weighed_run()
    BenchPlace.objects.create(
        bench=link.bench, run=run, slot="fraction", position=1, person=run.technician,
        named_at=clock.now(),
    )  # fmt: skip

    reading = factories.send_line(link, "12.3 g", sender)

    assert reading.outcome == Outcome.WAITING
    assert "weighed" in reading.reason


def test_a_waiting_reading_is_taken_to_a_field_once(link, run, sender):
    waiting = factories.send_line(link, "12.3 g", sender)

    taken = balance_readings.place_waiting(
        actor=run.technician, reading=waiting, field=Field(run, "fraction", 2)
    )

    assert (taken.outcome, taken.decided_by) == (Outcome.PLACED, run.technician)
    assert (taken.weighing.position, taken.weighing.raw_text) == (2, "12.3 g")
    with pytest.raises(Conflict, match="does not wait any more"):
        balance_readings.place_waiting(
            actor=run.technician, reading=waiting, field=Field(run, "fraction", 3)
        )


def test_into_a_filled_field_it_goes_with_a_reason_only_as_a_correction(link, run, sender):
    name(link, run)
    factories.send_line(link, "12.3 g", sender)
    waiting = factories.send_line(link, "45.6 g", sender)
    field = Field(run, "fraction", 1)

    with pytest.raises(Conflict, match="already recorded"):
        balance_readings.place_waiting(actor=run.technician, reading=waiting, field=field)
    taken = balance_readings.place_waiting(
        actor=run.technician, reading=waiting, field=field, reason="Sieve was not brushed out."
    )

    assert taken.weighing.revision == 2
    assert [str(it.mass_as_entered) for it in run.weighings.all()] == ["12.3", "45.6"]


def test_r42_set_aside_needs_a_reason_and_keeps_the_line(link, run, sender):
    waiting = factories.send_line(link, "12.3 g", sender)

    with pytest.raises(Invalid, match="Say why"):
        balance_readings.set_aside(actor=run.technician, reading=waiting, reason="")
    aside = balance_readings.set_aside(
        actor=run.technician, reading=waiting, reason="A colleague's cup."
    )

    assert (aside.outcome, aside.reason) == (Outcome.SET_ASIDE, "A colleague's cup.")
    assert BalanceReading.objects.get().raw_text == "12.3 g"


def test_only_who_may_sends_names_and_answers(link, run):
    reviewer = factories.reviewer()
    with pytest.raises(NotAllowed):
        factories.send_line(link, "1.2 g", reviewer)
    with pytest.raises(NotAllowed):
        name(link, run, actor=reviewer)
    waiting = factories.send_line(link, "1.2 g", run.technician)
    with pytest.raises(NotAllowed):
        balance_readings.set_aside(actor=reviewer, reading=waiting, reason="x")


def test_a_field_that_cannot_be_is_not_named(link, run):
    with pytest.raises(Invalid, match="nothing that is weighed"):
        name(link, run, slot="supper")
    handed_over = factories.make_weighed_run()
    with pytest.raises(Conflict, match="weighed"):
        name(link, handed_over)


def test_taking_a_bench_stands_in_the_ledger_once_not_at_every_field(link, run):
    for position in (1, 2, 3):
        name(link, run, position=position)

    assert LedgerEntry.objects.filter(action="bench taken").count() == 1


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"form": "fax"}, "form"),
        ({"form": "own", "pattern": "no number"}, "pattern"),
        ({"form": "own", "pattern": "{number} {number}"}, "pattern"),
        ({"form": "own", "pattern": "(a+)+$ {number", "default_unit": "g"}, "pattern"),
    ],
)
def test_a_form_that_cannot_be_read_is_not_connected(db, values, field):
    with pytest.raises(Invalid) as refused:
        factories.make_balance_link(**values)

    assert [fault.field for fault in refused.value.faults] == [field]


def test_only_a_balance_is_connected_and_once(link):
    with pytest.raises(Invalid, match="no balance"):
        factories.make_balance_link(factories.make_instrument("oven"))
    with pytest.raises(Invalid):
        factories.make_balance_link(link.balance)


def test_a_changed_connection_keeps_its_reason_on_the_balances_chain(link):
    balance_links.change_balance_link(
        actor=factories.keeper(), link=link, reason="New cable.", baud=2400
    )

    entry = LedgerEntry.objects.get(action="balance connection changed")
    assert (entry.chain, entry.reason) == ("equipment/B-7", "New cable.")
    assert (entry.before["baud"], entry.after["baud"]) == (9600, 2400)
