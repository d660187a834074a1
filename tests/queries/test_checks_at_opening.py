"""Checks before a run is opened: each finds what it is for, and keeps quiet about its near twin."""

from datetime import timedelta
from decimal import Decimal

import pytest

from gradation.models import Competence, Equipment, Laboratory, Severity, Sieve
from gradation.policy import Role
from gradation.services import checks, clock, competence, methods, people, upkeep
from gradation.services.procedure_reading import nest_of
from tests import factories
from tests.queries.asking import at_opening, portion_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def laboratory(db):
    return factories.make_laboratory()


@pytest.fixture
def actor(laboratory):
    return factories.technician()


@pytest.fixture
def sieves(laboratory):
    return factories.make_sieves()


def days(count):
    return clock.today() + timedelta(days=count)


def test_1_finds_a_sieve_past_its_check_and_not_one_due_today(sieves):
    overdue = factories.make_sieve(150, next_check_on=days(-1))
    today = factories.make_sieve(150, next_check_on=days(0))

    (found,) = at_opening("equipment-unfit", [*sieves[:-1], overdue])

    assert overdue.serial in found.sentence
    assert (found.severity, found.field) == (Severity.STOP, "sieves")
    assert at_opening("equipment-unfit", [*sieves[:-1], today]) == []


def test_1_stops_for_what_is_held_even_where_overdue_is_only_noted(sieves):
    Laboratory.objects.update(overdue_sieve="warn")
    upkeep.take_out_of_service(actor=factories.keeper(), item=sieves[0], reason="Torn.")
    overdue = factories.make_sieve(150, next_check_on=days(-1))

    held = Sieve.objects.get(pk=sieves[0].pk)
    found = at_opening("equipment-unfit", [held, *sieves[1:-1], overdue])

    assert [each.severity for each in found] == [Severity.STOP, Severity.NOTE]


def test_1_finds_a_nest_too_heavy_for_its_shaker_and_not_one_it_just_carries(actor, sieves):
    """Six tares of 400 g and a portion from 300 g weigh 2700 g."""
    portion = portion_of(actor, minimum_portion_g=Decimal(300))
    for sieve in sieves:
        upkeep.weigh_tare(actor=factories.keeper(), sieve=sieve, tare_g=Decimal(400))
    weak, strong = (
        factories.make_instrument("shaker", greatest_nest_g=Decimal(grams))
        for grams in (2699, 2700)
    )

    (found,) = at_opening("equipment-unfit", sieves, portion=portion, instruments=[weak])

    assert "2700 g" in found.sentence
    assert at_opening("equipment-unfit", sieves, portion=portion, instruments=[strong]) == []


def test_2_finds_a_strange_size_and_not_one_that_the_specification_limits(actor, sieves):
    strange = [*sieves[:-1], factories.make_sieve(212), sieves[-1]]
    limits = ((4750, "95", "100"), (212, "5", "30"))
    plain = portion_of(actor)
    asking = portion_of(actor, specification=factories.make_specification(limits))

    (found,) = at_opening("wrong-sieve", strange, portion=plain)

    assert strange[-2].serial in found.sentence
    assert at_opening("wrong-sieve", strange, portion=asking) == []


def test_2_leaves_a_sieve_put_in_against_overload_alone(sieves):
    relief = factories.make_sieve(212)
    nest = [*sieves[:-1], relief, sieves[-1]]

    assert len(at_opening("wrong-sieve", nest)) == 1
    assert at_opening("wrong-sieve", nest, reliefs=frozenset({relief.pk})) == []


@pytest.mark.parametrize(
    ("strange", "said", "severity"),
    [
        ({"frame_diameter_mm": Decimal("203.2")}, "203.2 mm", Severity.STOP),
        ({"shape": "round"}, "shape", Severity.STOP),
        ({"standard": "ASTM E11"}, "two series", Severity.NOTE),
    ],
    ids=["frame", "shape", "series"],
)
def test_2_finds_what_does_not_go_together(sieves, strange, said, severity):
    (found,) = at_opening("wrong-sieve", [*sieves[:-1], factories.make_sieve(150, **strange)])

    assert said in found.sentence
    assert found.severity == severity
    assert at_opening("wrong-sieve", [*sieves[:-1], factories.make_sieve(150)]) == []


def test_3_finds_two_sieves_exchanged_and_two_of_one_size(sieves):
    exchanged = [sieves[1], sieves[0], *sieves[2:]]
    doubled = [*sieves, factories.make_sieve(150)]

    for nest, said in ((exchanged, "out of order"), (doubled, "same size: 150 µm")):
        (found,) = at_opening("order-not-descending", nest)
        assert said in found.sentence
        assert found.may_override is None
    assert at_opening("order-not-descending", sieves) == []


def test_4_finds_a_size_the_procedure_asks_for(sieves):
    (found,) = at_opening("sieve-missing", sieves[1:])

    assert "4.75 mm" in found.sentence
    assert at_opening("sieve-missing", sieves) == []


@pytest.mark.parametrize(
    ("interpolates", "severity"), [(False, Severity.STOP), (True, Severity.NOTE)]
)
def test_4_finds_a_limit_without_its_sieve(actor, sieves, interpolates, severity):
    limits = ((4750, "95", "100"), (425, "5", "30"))
    asking = factories.make_specification(limits, interpolate_missing=interpolates)
    portion = portion_of(actor, specification=asking)

    (found,) = at_opening("sieve-missing", sieves, portion=portion)

    assert "425 µm" in found.sentence
    assert found.severity == severity
    fitting = portion_of(actor, specification=factories.make_specification())
    assert at_opening("sieve-missing", sieves, portion=fitting) == []


def test_5_finds_a_nest_without_a_pan(sieves):
    (found,) = at_opening("pan-missing", sieves, has_pan=False)

    assert found.severity == Severity.STOP
    assert at_opening("pan-missing", sieves) == []


def checked_balance(**values):
    balance = factories.make_instrument("balance", **values)
    checks.record_check(
        actor=factories.keeper(),
        equipment=balance,
        evidence=checks.WeightsEvidence(((Decimal(500), Decimal(500), Decimal("0.1")),)),
        performed_on=clock.today(),
    )
    return balance


def test_9_finds_a_balance_not_checked_today(sieves):
    unchecked = factories.make_instrument("balance")

    (found,) = at_opening("balance-unfit", sieves, instruments=[unchecked])

    assert found.severity == Severity.NOTE
    assert at_opening("balance-unfit", sieves, instruments=[checked_balance()]) == []


@pytest.mark.parametrize(
    ("bad", "good"),
    [
        ({"readability_g": "0.5"}, {"readability_g": "0.3"}),
        ({"capacity_g": 299}, {"capacity_g": 300}),
    ],
    ids=["too coarse", "too small"],
)
def test_9_stops_for_a_balance_that_does_not_suit_the_portion(actor, sieves, bad, good):
    """0.1 % of a portion from 300 g is 0.3 g."""
    portion = portion_of(actor, minimum_portion_g=Decimal(300))

    def ask(values):
        exact = {name: Decimal(value) for name, value in values.items()}
        balance = checked_balance(**exact)
        return at_opening("balance-unfit", sieves, portion=portion, instruments=[balance])

    assert [each.severity for each in ask(bad)] == [Severity.STOP]
    assert ask(good) == []


def test_9_goes_by_the_procedures_own_readability_where_it_has_one(actor, sieves):
    portion = portion_of(
        actor, minimum_portion_g=Decimal(300), balance_readability_g=Decimal("0.01")
    )
    balance = checked_balance(readability_g=Decimal("0.1"))

    (found,) = at_opening("balance-unfit", sieves, portion=portion, instruments=[balance])

    assert "0.01 g or finer (its own figure)" in found.sentence


def grant(person, procedure, **values):
    filled = {"valid_from": days(-30), "evidence": "Three observed runs.", **values}
    return competence.grant_competence(
        actor=people.system_account(),
        competence=Competence(person=person, procedure=procedure, **filled),
    )


def test_19_is_only_a_note_while_no_competence_is_kept_at_all(actor, sieves):
    portion = portion_of(actor)
    (found,) = at_opening("not-competent", sieves, portion=portion, actor=actor)
    assert found.severity == Severity.NOTE

    grant(factories.technician(), portion.sample.procedure_version.procedure)

    (found,) = at_opening("not-competent", sieves, portion=portion, actor=actor)
    assert found.severity == Severity.STOP


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({}, ""),
        ({"valid_until": 0}, ""),
        ({"valid_until": -1}, "lapsed"),
        ({"valid_from": 1}, "begins on"),
    ],
    ids=["holds", "its last day", "lapsed", "not yet"],
)
def test_r97_19_goes_by_the_days_of_the_competence(actor, sieves, values, said):
    portion = portion_of(actor)
    exact = {name: days(count) for name, count in values.items()}
    grant(actor, portion.sample.procedure_version.procedure, **exact)

    found = at_opening("not-competent", sieves, portion=portion, actor=actor)

    assert [said in each.sentence for each in found] == ([True] if said else [])


def test_19_finds_a_withdrawn_competence_and_one_for_another_procedure(actor, sieves):
    portion, other = portion_of(actor), portion_of(actor)
    held = grant(actor, portion.sample.procedure_version.procedure)
    competence.withdraw_competence(
        actor=people.system_account(), competence=held, reason="Comparison round failed."
    )

    (withdrawn,) = at_opening("not-competent", sieves, portion=portion, actor=actor)
    (never,) = at_opening("not-competent", sieves, portion=other, actor=actor)

    assert "Comparison round failed" in withdrawn.sentence
    assert "on file" in never.sentence


def test_20_finds_a_procedure_replaced_since_the_sample_was_logged(actor, sieves):
    portion = portion_of(actor)
    version = portion.sample.procedure_version
    assert at_opening("version-not-valid", sieves, portion=portion) == []

    newer = methods.draft_procedure_version(
        actor=people.system_account(),
        version=type(version)(
            procedure=version.procedure,
            standard_reference=version.standard_reference,
            edition="2019",
            basis=version.basis,
            loss_limit_pct=version.loss_limit_pct,
        ),
        places=nest_of(*factories.APERTURES_UM),
    )
    factories.release_procedure(newer)

    portion = type(portion).objects.get(pk=portion.pk)
    (found,) = at_opening("version-not-valid", sieves, portion=portion)
    assert found.severity == Severity.REASON
    assert str(newer) in found.sentence


@pytest.mark.parametrize(
    ("dates", "said"),
    [
        ({"effective_from": 1}, "valid from"),
        ({"effective_from": 0}, ""),
        ({"effective_from": -9, "effective_to": -1}, "valid until"),
        ({"effective_from": -9, "effective_to": 0}, ""),
    ],
)
def test_20_finds_a_specification_not_valid_today(actor, sieves, dates, said):
    exact = {name: days(count) for name, count in dates.items()}
    portion = portion_of(actor, specification=factories.make_specification())
    version = portion.sample.specification_version
    type(version).objects.filter(pk=version.pk).update(**exact)

    portion = type(portion).objects.get(pk=portion.pk)
    found = at_opening("version-not-valid", sieves, portion=portion)

    assert [said in each.sentence for each in found] == ([True] if said else [])


def test_23_says_who_has_the_sieve_or_the_portion(actor, sieves):
    run = factories.make_run(actor, sieves=sieves)
    fresh = factories.make_sieves()

    taken = at_opening("claimed-twice", [*fresh[:-1], sieves[-1]])
    portion = at_opening("claimed-twice", fresh, portion=run.portion)
    sample = at_opening(
        "claimed-twice", fresh, portion=factories.make_portion(actor, run.portion.sample)
    )

    for found in (taken, portion, sample):
        assert str(run.bench) in found[0].sentence
    assert [found[0].severity for found in (taken, portion, sample)] == [
        Severity.STOP,
        Severity.STOP,
        Severity.NOTE,
    ]
    assert at_opening("claimed-twice", fresh) == []


def test_defaults_follow_the_policies_that_were_set_before(sieves):
    overdue = factories.make_sieve(150, next_check_on=days(-1))
    nest = [*sieves[:-1], overdue]
    (before,) = at_opening("equipment-unfit", nest)

    Laboratory.objects.update(overdue_sieve="warn", balance_not_checked="block")

    (after,) = at_opening("equipment-unfit", nest)
    unchecked = factories.make_instrument(Equipment.Kind.BALANCE)
    (balance,) = at_opening("balance-unfit", sieves, instruments=[unchecked])
    assert (before.severity, after.severity) == (Severity.STOP, Severity.NOTE)
    assert balance.severity == Severity.STOP
    assert balance.may_override == Role.EQUIPMENT_KEEPER
