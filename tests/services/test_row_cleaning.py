"""A row is refused for what Django's own `full_clean` refuses it for, and asks for less."""

import random
from datetime import UTC, date, datetime
from decimal import Decimal
from uuid import uuid4

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import models

from gradation.models import User, Weighing
from gradation.services.row_cleaning import clean_row
from tests import factories

MODELS = list(apps.get_app_config("gradation").get_models())
TRIALS = 12

#: What a field of a kind may hold, fit or not.
HELD = {
    models.BooleanField: [True, False],
    models.DateTimeField: [None, datetime(2026, 3, 4, 10, 0, tzinfo=UTC)],
    models.DateField: [None, date(2026, 3, 4), date(2020, 1, 1)],
    models.DecimalField: [None, Decimal(0), Decimal(-1), Decimal("2.5"), Decimal(10) ** 12],
    models.IntegerField: [None, 0, 1, 2, -3],
    models.TextField: ["", "words"],
    models.CharField: ["", "words", "x" * 900],
}


def held_by(field, chance):
    """Pick something for a field: a choice of its own, if it has any."""
    if field.choices:
        return chance.choice([value for value, _ in field.flatchoices] + ["neither"])
    for kind, values in HELD.items():
        if isinstance(field, kind):
            return chance.choice(values)
    return None


def some_row(model, chance):
    """Fill the fields of a row at random; it refers to nothing, or to a row that is not there."""
    row = model()
    for field in model._meta.concrete_fields:
        if isinstance(field, models.ForeignKey):
            setattr(row, field.attname, chance.choice([None, 987_654_321]))
        elif not field.primary_key:
            setattr(row, field.attname, held_by(field, chance))
    return row


def refusal(check, *given):
    """Give what a check finds at fault, by field."""
    try:
        check(*given)
    except ValidationError as error:
        return {name: sorted(said) for name, said in error.message_dict.items()}
    return {}


@pytest.mark.django_db
@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_a_row_is_refused_for_what_django_refuses_it_for(model):
    chance = random.Random(model.__name__)
    refusals = set()
    for _ in range(TRIALS):
        row = some_row(model, chance)
        left_out = {
            field.name
            for field in model._meta.concrete_fields
            if not field.primary_key and chance.random() < 0.3
        }
        for exclude in (frozenset(), frozenset(left_out)):
            expected = refusal(row.full_clean, set(exclude))
            assert refusal(clean_row, row, exclude) == expected
            refusals.update(expected)
    if any(isinstance(each, models.CheckConstraint) for each in model._meta.constraints):
        assert refusals


@pytest.mark.django_db
def test_the_conditions_of_a_table_are_one_question(django_assert_num_queries):
    weighing = a_weighing()

    unique, question, savepoint = 2, 1, 2
    with django_assert_num_queries(unique + question + savepoint):
        clean_row(weighing)


@pytest.mark.django_db
def test_each_condition_at_fault_is_named():
    weighing = a_weighing()
    weighing.mass_g, weighing.revision, weighing.reason = Decimal(-1), 2, ""

    said = refusal(clean_row, weighing)

    assert said == refusal(weighing.full_clean)
    assert len(said["__all__"]) == 2


@pytest.mark.django_db
def test_a_row_that_was_never_written_is_no_row_to_refer_to():
    weighing = a_weighing()
    weighing.made_by = User(pk=987_654_321)

    assert "made_by" in refusal(clean_row, weighing)


def a_weighing():
    """Build a reading of a run as it is about to be written."""
    run = factories.make_run()
    return Weighing(
        run=run,
        slot="dry mass",
        position=0,
        increment=1,
        mass_g=Decimal("500.0"),
        entered_text="500.0",
        decimals=1,
        key=uuid4(),
        made_by=factories.technician(),
        made_at=datetime(2026, 3, 4, 10, 0, tzinfo=UTC),
        observed_at=datetime(2026, 3, 4, 10, 0, tzinfo=UTC),
    )
