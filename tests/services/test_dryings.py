"""Drying to constant mass: what is weighed, what it shows, and what the run gets of it."""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import LedgerEntry, Weighing
from gradation.queries.preparation import (
    drying_state,
    drying_view,
    dryings_open,
    find_drying,
    run_for,
    washed_drying_state,
)
from gradation.services import bench, clock, dryings, preparation, upkeep
from gradation.services.dryings import MassReading, Oven
from tests import factories
from tests.published.examples import example

pytestmark = pytest.mark.django_db
NOW = factories.NOW


@pytest.fixture
def procedure(db):
    """Ask for 0.1 %, 110 °C, an hour between weighings."""
    factories.make_laboratory()
    return factories.make_procedure(
        constant_mass_pct=Decimal("0.1"),
        drying_temperature_c=Decimal(110),
        drying_interval_minutes=60,
        wash=True,
    )


@pytest.fixture
def portion(technician, procedure):
    sample = factories.make_sample(technician, factories.make_material(procedure))
    return factories.make_portion(technician, sample)


def make_oven(**values):
    filled = {"set_temperature_c": Decimal(110), "temperature_tolerance_c": Decimal(5), **values}
    return factories.make_instrument("oven", **filled)


def begin(technician, portion, **values):
    given = {"oven": make_oven(), **values}
    with factories.at():
        return dryings.begin_drying(actor=technician, portion=portion, oven=Oven(**given))


def weigh(technician, drying, number, text, minutes=None, key=None):
    """Weigh so many minutes after it went in; an hour after the one before, if not said."""
    minutes = 60 * number if minutes is None else minutes
    with clock.at(NOW + timedelta(minutes=minutes)):
        return dryings.record_drying_mass(
            actor=technician, drying=drying, reading=MassReading(number, text, key or uuid4())
        )


def seen(technician, drying):
    return drying_view(find_drying(technician, drying.pk))


def dried(technician, portion, texts=("500.9", "500.5"), **values):
    drying = begin(technician, portion, **values)
    for number, text in enumerate(texts, start=1):
        weigh(technician, drying, number, text)
    return dryings.end_drying(actor=technician, drying=drying)


def test_published_example_with_its_container(technician, portion):
    found = example("moisture", "drying_to_constant_mass")
    given, wanted = found.inputs, found.outputs
    drying = begin(
        technician,
        portion,
        container_text=str(given["container_g"]),
        moist_text=str(given["container_plus_wet_g"]),
    )
    for number, gross in enumerate(given["container_plus_dry_after_each_cycle_g"], start=1):
        weigh(technician, drying, number, f"{gross:.1f}")

    view = seen(technician, drying)

    assert [float(row.mass.mass_as_entered) for row in view.rows] == wanted[
        "dry_mass_after_each_cycle_g"
    ]
    assert float(view.drying.portion.moist_mass_g) == wanted["wet_mass_g"]
    changes = [row.change_pct for row in view.rows[1:]]
    assert [float(round(change, 2)) for change in changes] == wanted["percent_change"]
    assert view.is_constant
    assert view.sentence == (
        f"Constant at weighing {wanted['constant_after_cycle']}: change 0.08 %, at most 0.1 %."
    )
    assert float(round(view.moisture_pct, 1)) == wanted["reported_moisture_percent"]
    assert view.moisture_said == "Moisture 9.4 % of the dry mass."


def test_until_it_is_constant_it_is_told_how_long_to_dry_on(technician, portion):
    drying = begin(technician, portion)
    assert seen(technician, drying).sentence.startswith("No weighing yet.")

    weigh(technician, drying, 1, "1405.1")
    assert (
        "Dry at least 60 minutes after it, then weigh again." in seen(technician, drying).sentence
    )
    weigh(technician, drying, 2, "1402.0")

    view = seen(technician, drying)
    assert not view.is_constant
    assert view.sentence.startswith("Not yet: change 0.22 % at weighing 2, at most 0.1 %.")
    assert view.next_due_at == NOW + timedelta(minutes=180)


def test_a_change_just_above_the_limit_is_written_with_enough_decimals(technician, portion):
    """1000 -> 998.996 is 0.1004 %: above 0.1, though 0.10 to two places."""
    drying = begin(technician, portion)
    weigh(technician, drying, 1, "1000.000")
    weigh(technician, drying, 2, "998.996")

    assert "change 0.1004 % at weighing 2" in seen(technician, drying).sentence


def test_a_change_equal_to_the_limit_is_constant(technician, portion):
    """1000 -> 999 is 0.1 %."""
    drying = begin(technician, portion)
    weigh(technician, drying, 1, "1000")
    weigh(technician, drying, 2, "999")

    assert seen(technician, drying).is_constant


def test_a_weighing_sooner_than_the_interval_is_kept_and_said_and_does_not_count(
    technician, portion
):
    drying = begin(technician, portion)
    weigh(technician, drying, 1, "1405.1", minutes=60)
    weigh(technician, drying, 2, "1405.0", minutes=70)

    view = seen(technician, drying)
    assert not view.is_constant
    assert (
        "Weighing 2 came 10 minutes after the last that counts, the procedure asks for 60"
        in view.sentence
    )
    assert view.next_due_at == NOW + timedelta(minutes=120)

    weigh(technician, drying, 3, "1404.5", minutes=120)
    view = seen(technician, drying)
    assert view.is_constant, "1405.1 to 1404.5 over the hour: 0.04 %"
    assert len(view.rows) == 3


def test_a_mass_that_grows_is_not_dry_and_says_what_to_look_at(technician, portion):
    drying = begin(technician, portion)
    weigh(technician, drying, 1, "500.0")
    weigh(technician, drying, 2, "505.0")

    view = seen(technician, drying)
    assert not view.is_constant
    assert "1.00 % heavier than the one before" in view.sentence
    assert "Check the container" in view.sentence


def test_heavier_than_before_drying_cannot_be(technician, portion):
    drying = begin(technician, portion, moist_text="500")
    weigh(technician, drying, 1, "512.0")
    weigh(technician, drying, 2, "512.0")

    view = seen(technician, drying)
    assert not view.is_constant
    assert "the portion before drying only 500 g" in view.sentence


def test_the_same_key_again_is_the_same_weighing(technician, portion):
    drying, key = begin(technician, portion), uuid4()

    first = weigh(technician, drying, 1, "500.0", key=key)
    again = weigh(technician, drying, 1, "500.0", key=key)

    assert first.pk == again.pk
    assert LedgerEntry.objects.filter(action="drying mass recorded").count() == 1


def test_a_second_value_for_a_weighing_is_told_the_first_and_not_kept(technician, portion):
    drying = begin(technician, portion)
    weigh(technician, drying, 1, "500.0")

    with pytest.raises(Conflict, match=r"Weighing 1 is 500.0 g, recorded by .* You entered 501"):
        weigh(technician, drying, 1, "501")
    with pytest.raises(Invalid, match="number 2, not 4"):
        weigh(technician, drying, 4, "501")


@pytest.mark.parametrize("text", ["", "abc", "-5", "1.2.3", "100", "1e3", "123456789", "1.12345"])
def test_what_is_no_mass_in_this_container_is_refused(technician, portion, text):
    drying = begin(technician, portion, container_text="100")

    with pytest.raises(Invalid) as refused:
        weigh(technician, drying, 1, text)

    assert refused.value.field == "text"
    assert not drying.masses.exists()


def test_a_correction_keeps_the_first_value_its_time_and_its_reason(technician, portion):
    drying = begin(technician, portion)
    weigh(technician, drying, 1, "500.0")
    weigh(technician, drying, 2, "449.9")
    with clock.at(NOW + timedelta(minutes=300)):
        dryings.correct_drying_mass(
            actor=technician,
            drying=drying,
            reading=MassReading(2, "499.9", uuid4()),
            reason="Two figures exchanged.",
        )

    row = seen(technician, drying).rows[1]
    assert (row.mass.mass_as_entered, row.mass.revision) == (Decimal("499.9"), 2)
    assert [str(was.mass_as_entered) for was in row.earlier] == ["449.9"]
    assert row.weighed_at == NOW + timedelta(minutes=120)
    assert seen(technician, drying).is_constant
    entry = LedgerEntry.objects.get(action="drying mass corrected")
    assert entry.reason == "Two figures exchanged."
    assert entry.chain == f"sample/{portion.sample.number}"


def test_a_correction_needs_a_reason_and_something_to_correct(technician, portion):
    drying = begin(technician, portion)

    for reason, refusal in (("", Invalid), ("Typed wrong.", Conflict)):
        with pytest.raises(refusal):
            dryings.correct_drying_mass(
                actor=technician,
                drying=drying,
                reading=MassReading(1, "5", uuid4()),
                reason=reason,
            )


def test_nothing_is_corrected_once_a_run_rests_on_it(technician):
    procedure = factories.make_procedure(constant_mass_pct=Decimal("0.1"))
    sample = factories.make_sample(technician, factories.make_material(procedure))
    portion = factories.make_portion(technician, sample)
    drying = dried(technician, portion)
    run = factories.make_run(technician, portion=portion)
    factories.weigh(run)
    bench.submit_run(actor=technician, run=run)

    with pytest.raises(Conflict, match="Have it returned first"):
        dryings.correct_drying_mass(
            actor=technician,
            drying=drying,
            reading=MassReading(1, "5", uuid4()),
            reason="Typed wrong.",
        )


def test_giving_up_needs_a_reason_and_the_portion_stays_not_dry(technician, portion):
    drying = begin(technician, portion)
    weigh(technician, drying, 1, "500.0")

    with pytest.raises(Invalid, match="give up the drying"):
        dryings.end_drying(actor=technician, drying=drying)
    dryings.end_drying(actor=technician, drying=drying, reason="Oven failed in the night.")

    state = drying_state(portion)
    assert not state.is_constant
    assert "Oven failed in the night." in state.sentence
    with pytest.raises(Conflict, match="has ended"):
        weigh(technician, drying, 2, "499")


def test_states_of_a_portion_on_its_way(technician, portion):
    assert "is not dried yet" in drying_state(portion).sentence
    drying = begin(technician, portion)
    weigh(technician, drying, 1, "500.9")
    assert drying_state(portion).sentence.startswith(f"{portion} is in the oven.")
    assert [view.drying for view in dryings_open()] == [drying]

    weigh(technician, drying, 2, "500.5")
    dryings.end_drying(actor=technician, drying=drying)

    assert drying_state(portion).is_constant
    assert dryings_open() == []
    child = preparation.prepare_portion(
        actor=technician,
        sample=portion.sample,
        division=preparation.Division("another way", "by hand", parent=portion),
    )
    assert drying_state(child).sentence.startswith(f"As {portion}: Constant at weighing 2")


def test_a_procedure_without_limit_asks_for_no_drying(technician):
    state = drying_state(factories.make_portion(technician))

    assert state.is_constant
    assert "asks for no proof" in state.sentence


def test_what_is_tested_as_received_is_not_dried(technician, portion):
    preparation.declare_as_received(actor=technician, portion=portion, reason="Natural basis.")
    portion.refresh_from_db()

    assert drying_state(portion).is_constant
    with pytest.raises(Conflict, match="tested as received"):
        begin(technician, portion)


def test_what_was_dried_is_not_as_received(technician, portion):
    begin(technician, portion)

    with pytest.raises(Conflict, match="drying on record"):
        preparation.declare_as_received(actor=technician, portion=portion, reason="After all.")


def test_each_drying_counts_as_a_use_of_its_oven(technician, portion):
    oven = make_oven()
    begun = begin(technician, portion, oven=oven)
    dryings.end_drying(actor=technician, drying=begun, reason="Put into another tray.")
    begin(technician, portion, oven=oven)

    oven.refresh_from_db()

    assert oven.use_count == 2


def test_a_portion_is_in_one_oven_at_a_time(technician, portion):
    begin(technician, portion)

    with pytest.raises(Conflict, match="in the oven already"):
        begin(technician, portion)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"oven": None}, "Say which oven"),
        ({"temperature_c": Decimal("115.1")}, "dries at 110 °C; the oven is set to 115.1 °C"),
        ({"temperature_c": Decimal("104.9")}, "more than its tolerance of 5 °C"),
        ({"limit_pct": Decimal("0.5")}, "sets the limit: 0.1 %"),
        ({"container_text": "600", "moist_text": "600"}, "not more than the container"),
        ({"moist_text": "wet"}, "wet"),
    ],
)
def test_what_cannot_go_into_the_oven_is_refused(technician, portion, values, said):
    with pytest.raises(Invalid, match=said):
        begin(technician, portion, **values)

    assert not portion.dryings.exists()


def test_the_edge_of_the_ovens_tolerance_is_within(technician, portion):
    assert begin(technician, portion, temperature_c=Decimal(115)).temperature_c == 115


def test_an_oven_out_of_service_or_overdue_is_refused(technician, portion):
    out = make_oven()
    upkeep.take_out_of_service(actor=factories.keeper(), item=out, reason="Door seal torn.")
    overdue = make_oven(next_check_on=NOW.date() - timedelta(days=1))

    for oven, said in ((out, "Door seal torn"), (overdue, "was due on")):
        with pytest.raises(Invalid, match=said):
            begin(technician, portion, oven=oven)
    with pytest.raises(Invalid, match="is no oven"):
        begin(technician, portion, oven=factories.make_instrument("balance"))


def test_a_limit_that_the_procedure_does_not_name_is_typed_with_its_source(technician):
    portion = factories.make_portion(technician)

    with pytest.raises(Invalid, match="names no limit"):
        begin(technician, portion)
    with pytest.raises(Invalid, match="where the limit comes from"):
        begin(technician, portion, limit_pct=Decimal("0.2"))
    drying = begin(technician, portion, limit_pct=Decimal("0.2"), limit_source="customer's order 7")
    assert (drying.limit_pct, drying.limit_source) == (Decimal("0.2"), "customer's order 7")


def test_a_moist_mass_known_from_the_division_is_not_replaced(technician, portion):
    drying = begin(technician, portion, container_text="100", moist_text="640.5")
    portion.refresh_from_db()
    assert portion.moist_mass_g == Decimal("540.5")
    assert LedgerEntry.objects.filter(action="portion weighed").count() == 1
    dryings.end_drying(actor=technician, drying=drying, reason="Wrong tray.")

    with pytest.raises(Invalid, match=r"was 540.5 g when it was divided, now 550 g"):
        begin(technician, portion, moist_text="550")


def test_the_last_mass_becomes_the_runs_dry_mass_once(technician, portion):
    drying = begin(technician, portion, container_text="100.0")
    weigh(technician, drying, 1, "600.9")
    weigh(technician, drying, 2, "600,5")
    run = factories.make_run(technician, portion=portion)
    assert run_for(drying) == run

    dryings.end_drying(actor=technician, drying=drying, run=run)
    again = dryings.take_dry_mass(actor=technician, drying=drying, run=run)

    weighing = run.weighings.get()
    assert weighing == again
    assert (weighing.slot, weighing.mass_as_entered) == ("dry mass", Decimal("500.5"))
    assert (weighing.gross_g, weighing.tare_g) == (Decimal("600.5"), Decimal(100))
    assert run_for(drying) is None
    assert LedgerEntry.objects.filter(action="dry mass taken from drying").count() == 1


def test_a_run_that_has_another_dry_mass_keeps_it(technician, portion):
    drying = dried(technician, portion)
    run = factories.make_run(technician, portion=portion)
    bench.record_weighing(
        actor=technician, run=run, reading=factories.reading(Weighing.Slot.DRY_MASS, "499")
    )

    with pytest.raises(Conflict, match="499 g was already recorded here"):
        dryings.take_dry_mass(actor=technician, drying=drying, run=run)


def test_nothing_is_taken_from_the_oven_that_is_still_in_it(technician, portion):
    drying = begin(technician, portion)
    weigh(technician, drying, 1, "500")
    run = factories.make_run(technician, portion=portion)

    with pytest.raises(Conflict, match="End the drying first"):
        dryings.take_dry_mass(actor=technician, drying=drying, run=run)


def test_nor_into_a_run_of_another_portion(technician, portion):
    drying = dried(technician, portion)
    other = factories.make_run(technician, portion.sample)

    with pytest.raises(Conflict, match="is not the run"):
        dryings.take_dry_mass(actor=technician, drying=drying, run=other)


def test_what_washing_left_is_dried_again_and_is_the_washed_dry_mass(technician, portion):
    run = factories.make_run(technician, portion=portion)
    bench.record_weighing(
        actor=technician, run=run, reading=factories.reading(Weighing.Slot.DRY_MASS, "500")
    )
    assert not washed_drying_state(run).is_constant
    drying = begin(technician, portion, run=run)
    weigh(technician, drying, 1, "480.2")
    weigh(technician, drying, 2, "480.1")

    assert washed_drying_state(run).is_constant
    dryings.end_drying(actor=technician, drying=drying, run=run_for(drying))

    washed = run.weighings.get(slot=Weighing.Slot.WASHED_DRY_MASS)
    assert washed.mass_as_entered == Decimal("480.1")
    assert seen(technician, drying).moisture_pct is None


def test_a_run_without_washing_has_nothing_to_dry_after_it(technician):
    run = factories.make_run(technician)

    with pytest.raises(Invalid, match="has no washing"):
        begin(technician, run.portion, run=run)


def test_only_technicians_dry(portion):
    with pytest.raises(NotAllowed):
        begin(factories.reviewer(), portion)
