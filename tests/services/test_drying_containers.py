"""The container of a drying is corrected; a mass waits for the network; a balance weighs."""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import BenchPlace, LedgerEntry
from gradation.queries.preparation import drying_view, find_drying
from gradation.services import balance_readings, clock, drying_containers, dryings
from gradation.services.balance_readings import DryingField
from gradation.services.dryings import MassReading, Oven
from tests import factories

pytestmark = pytest.mark.django_db
NOW = factories.NOW


@pytest.fixture
def drying(db):
    """A portion in its tray of 100.0 g: 612.4 g moist with it, then weighed twice."""
    factories.make_laboratory()
    version = factories.make_procedure(
        constant_mass_pct=Decimal("0.1"),
        drying_temperature_c=Decimal(110),
        drying_interval_minutes=60,
    )
    actor = factories.technician()
    sample = factories.make_sample(actor, factories.make_material(version))
    portion = factories.make_portion(actor, sample)
    oven = Oven(
        oven=factories.make_instrument("oven", set_temperature_c=Decimal(110)),
        container_text="100.0",
        moist_text="612.4",
    )
    with clock.at(NOW):
        drying = dryings.begin_drying(actor=actor, portion=portion, oven=oven)
    for number, text in ((1, "600.2"), (2, "600.0")):
        with clock.at(NOW + timedelta(hours=number)):
            reading = MassReading(number, text, uuid4())
            dryings.record_drying_mass(actor=actor, drying=drying, reading=reading)
    return drying


def correct(drying, text="101.0", reason="The tray of another shelf"):
    return drying_containers.correct_container(
        actor=factories.technician(), drying=drying, container_text=text, reason=reason
    )


def seen(drying):
    return drying_view(find_drying(factories.technician(), drying.pk))


def test_every_net_mass_follows_and_the_first_values_stay_readable(drying):
    correct(drying)

    view = seen(drying)
    # 600.2 - 101.0 = 499.2; 600.0 - 101.0 = 499.0; before: 500.2 and 500.0
    assert [row.mass.mass_g for row in view.rows] == [Decimal("499.2"), Decimal("499.0")]
    assert [row.earlier[0].mass_g for row in view.rows] == [Decimal("500.2"), Decimal("500.0")]
    assert [row.mass.entered_text for row in view.rows] == ["600.2", "600.0"]
    assert [each.mass_g for each in view.containers] == [Decimal("100.0"), Decimal("101.0")]
    assert view.drying.container_g == Decimal("101.0")


def test_the_mass_before_drying_weighed_in_it_follows_too(drying):
    correct(drying)

    drying.portion.refresh_from_db()
    assert drying.portion.moist_mass_g == Decimal("511.4")  # 612.4 - 101.0


def test_times_and_verdict_are_those_of_the_weighings(drying):
    correct(drying)

    view = seen(drying)
    assert [row.weighed_at for row in view.rows] == [
        NOW + timedelta(hours=1),
        NOW + timedelta(hours=2),
    ]
    assert view.is_constant  # 0.2 / 499.2 = 0.04 %, at most 0.1 %


def test_the_correction_stands_in_the_ledger_with_its_reason(drying):
    correct(drying)

    entry = LedgerEntry.objects.get(action="container mass corrected")
    assert entry.reason == "The tray of another shelf"
    assert LedgerEntry.objects.filter(action="drying mass corrected").count() == 2


def test_a_dry_mass_that_an_open_run_took_is_corrected_with_it(drying):
    actor = factories.technician()
    run = factories.make_run(actor, portion=drying.portion)
    with clock.at(NOW + timedelta(hours=3)):
        dryings.end_drying(actor=actor, drying=drying, run=run)

    correct(drying)

    last = run.weighings.order_by("revision").last()
    assert (last.mass_g, last.revision) == (Decimal("499.0"), 2)
    assert last.reason == "The tray of another shelf"


def test_a_container_can_be_taken_away_altogether(drying):
    correct(drying, text="")

    assert [row.mass.mass_g for row in seen(drying).rows] == [Decimal("600.2"), Decimal("600.0")]


@pytest.mark.parametrize(
    ("text", "code"), [("100", "same-mass"), ("heavy", "not-a-mass"), ("700", "gross-below-tare")]
)
def test_what_is_no_correction_is_refused_and_nothing_changes(drying, text, code):
    with pytest.raises(Invalid) as refusal:
        correct(drying, text=text)

    assert refusal.value.faults[0].code == code
    assert [row.mass.revision for row in seen(drying).rows] == [1, 1]
    assert not drying.containers.exists()


def test_a_reason_is_needed_and_a_right(drying):
    with pytest.raises(Invalid):
        correct(drying, reason=" ")
    with pytest.raises(NotAllowed):
        drying_containers.correct_container(
            actor=factories.keeper(), drying=drying, container_text="101", reason="Wrong tray"
        )


def test_a_mass_that_waited_for_the_network_counts_from_when_it_was_weighed(drying):
    at = NOW + timedelta(hours=6)
    early = MassReading(
        3, "599.9", uuid4(), observed_at=at - timedelta(hours=2, minutes=7), sent_at=at
    )
    with clock.at(at):
        mass = dryings.record_drying_mass(
            actor=factories.technician(), drying=drying, reading=early
        )

    assert mass.made_at == at
    assert seen(drying).rows[-1].weighed_at == at - timedelta(hours=2, minutes=7)


def test_a_clients_clock_moves_no_mass_before_its_drying_or_into_the_future(drying):
    at = NOW + timedelta(hours=6)
    for number, age in ((3, timedelta(days=9)), (4, -timedelta(days=9))):
        reading = MassReading(number, "599.9", uuid4(), observed_at=at - age, sent_at=at)
        with clock.at(at):
            dryings.record_drying_mass(actor=factories.technician(), drying=drying, reading=reading)

    assert [row.weighed_at for row in seen(drying).rows[2:]] == [NOW, at]


def test_a_balance_reading_becomes_the_weighing_that_was_named(drying):
    link = factories.make_balance_link()
    actor = factories.technician()
    balance_readings.name_place(actor=actor, bench=link.bench, field=DryingField(drying, 3))

    reading = factories.send_line(link, "599.90 g", factories.keeper())

    assert (reading.outcome, reading.drying_mass.number) == ("placed", 3)
    # 599.90 g with the tray of 100.0 g
    assert reading.drying_mass.mass_g == Decimal("499.90")
    assert reading.drying_mass.made_by == actor
    assert reading.drying_mass.raw_text == reading.raw_text
    assert reading.weighing is None


def test_a_second_load_for_the_same_weighing_waits_and_is_taken_as_the_next(drying):
    link = factories.make_balance_link()
    actor = factories.technician()
    balance_readings.name_place(actor=actor, bench=link.bench, field=DryingField(drying, 3))
    factories.send_line(link, "599.90 g", factories.keeper())

    waiting = factories.send_line(link, "599.80 g", factories.keeper())
    assert (waiting.outcome, waiting.code) == ("waiting", "reading-clash")
    balance_readings.place_waiting(actor=actor, reading=waiting, field=DryingField(drying, 4))

    assert seen(drying).rows[-1].mass.mass_g == Decimal("499.80")


def test_no_place_is_named_at_a_drying_that_has_ended(drying):
    link = factories.make_balance_link()
    dryings.end_drying(actor=factories.technician(), drying=drying)
    drying.refresh_from_db()

    with pytest.raises(Conflict):
        balance_readings.name_place(
            actor=factories.technician(), bench=link.bench, field=DryingField(drying, 3)
        )
    assert not BenchPlace.objects.filter(drying=drying).exists()


def test_leaving_the_bench_leaves_the_drying_too(drying):
    link = factories.make_balance_link()
    actor = factories.technician()
    balance_readings.name_place(actor=actor, bench=link.bench, field=DryingField(drying, 3))

    assert balance_readings.leave_bench(actor=actor) == 1

    place = BenchPlace.objects.get(bench=link.bench)
    assert (place.person, place.drying) == (None, None)
