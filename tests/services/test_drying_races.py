"""Two benches at one oven at the same instant."""

from decimal import Decimal
from uuid import uuid4

import pytest

from gradation.models import Division as Way
from gradation.models import Drying, DryingMass, LedgerEntry, TestPortion
from gradation.services import dryings, preparation
from tests import factories
from tests.services.test_races import afresh, all_at_once, one_won

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def portion(transactional_db):
    factories.make_laboratory()
    procedure = factories.make_procedure(constant_mass_pct=Decimal("0.1"))
    technician = factories.technician()
    sample = factories.make_sample(technician, factories.make_material(procedure))
    return factories.make_portion(technician, sample)


@pytest.fixture
def oven(portion):
    return dryings.Oven(factories.make_instrument("oven", set_temperature_c=Decimal(110)))


def record(drying, reading):
    actor = afresh(drying.begun_by)
    return lambda: dryings.record_drying_mass(actor=actor, drying=drying, reading=reading)


def test_a_weighing_sent_twice_at_the_same_instant_is_one_row(portion, oven):
    drying = dryings.begin_drying(actor=portion.prepared_by, portion=portion, oven=oven)
    reading = dryings.MassReading(1, "500", uuid4())

    outcomes = all_at_once([record(drying, reading)] * 4)

    assert [each.refusal for each in outcomes] == [None] * 4
    assert DryingMass.objects.count() == 1
    assert LedgerEntry.objects.filter(action="drying mass recorded").count() == 1


def test_of_two_values_for_one_weighing_the_first_stays(portion, oven):
    drying = dryings.begin_drying(actor=portion.prepared_by, portion=portion, oven=oven)

    outcomes = all_at_once(
        [record(drying, dryings.MassReading(1, text, uuid4())) for text in ("500", "510")]
    )

    kept, refusal = one_won(outcomes)
    assert refusal.code == "reading-clash"
    assert DryingMass.objects.get() == kept


def test_a_portion_goes_into_one_oven_though_two_put_it_in(portion, oven):
    actor = portion.prepared_by
    outcomes = all_at_once(
        [
            lambda: dryings.begin_drying(
                actor=afresh(actor), portion=TestPortion.objects.get(pk=portion.pk), oven=oven
            )
        ]
        * 2
    )

    _, refusal = one_won(outcomes)
    assert refusal.code == "in-the-oven"
    assert Drying.objects.count() == 1


def test_portions_divided_at_the_same_instant_have_labels_of_their_own(portion):
    division = preparation.Division(way=Way.QUARTERING, passes=2)
    outcomes = all_at_once(
        [
            lambda: preparation.prepare_portions(
                actor=afresh(portion.prepared_by),
                sample=portion.sample,
                division=division,
                count=3,
            )
        ]
        * 3
    )

    assert [each.refusal for each in outcomes] == [None] * 3
    labels = sorted(TestPortion.objects.values_list("label", flat=True))
    assert [label[-1] for label in labels] == list("ABCDEFGHJK")
