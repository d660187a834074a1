"""The bench: real sieves, readings kept at once, nothing overwritten, nothing doubled."""

from datetime import timedelta

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import Result, Run, RunSieve, Weighing
from gradation.services import bench, clock, intake, laboratory, people, upkeep
from tests import factories
from tests.factories import APERTURES_UM, reading

Slot = Weighing.Slot


def open_with(technician, sieves, portion=None):
    setup = bench.Setup(bench=factories.make_bench(), sieves=sieves)
    portion = portion or factories.make_portion(technician)
    return bench.open_run(actor=technician, portion=portion, setup=setup)


def record(run, slot, text, position=0, **values):
    one = reading(slot, text, position, **values)
    return bench.record_weighing(actor=run.technician, run=run, reading=one)


def test_run_stands_on_the_sieves_scanned(technician):
    sieves = factories.make_sieves()

    run = open_with(technician, sieves)

    assert [place.sieve for place in run.places.select_related("sieve")] == sieves
    assert run.portion.sample.state == "logged"
    assert Run.objects.get(pk=run.pk).portion.sample.state == "under test"


def test_sieves_out_of_order_are_refused(technician):
    with pytest.raises(Invalid, match="out of order"):
        open_with(technician, factories.make_sieves()[::-1])


def test_same_sieve_twice_is_refused(technician):
    sieves = factories.make_sieves()

    with pytest.raises(Invalid, match="stands in the nest twice"):
        open_with(technician, [*sieves[:-1], sieves[0]])


def test_wrong_size_and_missing_size_are_named(technician):
    sieves = [*factories.make_sieves(APERTURES_UM[:-1]), factories.make_sieve(75)]

    with pytest.raises(Invalid) as refusal:
        open_with(technician, sieves)

    assert "150 µm" in refusal.value.message
    assert sieves[-1].serial in refusal.value.message


def test_frames_of_two_diameters_do_not_nest(technician):
    sieves = [*factories.make_sieves()[:-1], factories.make_sieve(150, frame_diameter_mm="203.2")]

    with pytest.raises(Invalid, match=r"203\.2 mm"):
        open_with(technician, sieves)


def test_r70_r74_sieve_out_of_service_is_refused_with_its_reason(technician, keeper):
    sieves = factories.make_sieves()
    upkeep.take_out_of_service(actor=keeper, item=sieves[2], reason="torn at the solder.")

    with pytest.raises(Invalid, match="torn at the solder") as refusal:
        open_with(technician, sieves)

    assert sieves[2].serial in refusal.value.message


def test_r74_overdue_sieve_is_refused_or_noted_by_policy(technician):
    yesterday = clock.today() - timedelta(days=1)
    sieves = [*factories.make_sieves()[:-1], factories.make_sieve(150, next_check_on=yesterday)]
    with pytest.raises(Invalid, match="was due on"):
        open_with(technician, sieves)

    laboratory.change_laboratory(
        actor=people.system_account(), reason="keeper away", overdue_sieve="warn"
    )
    run = open_with(technician, sieves)

    assert sieves[-1].serial in run.deviations


def test_sieve_in_an_open_run_is_not_given_to_another_bench(technician):
    sieves = factories.make_sieves()
    first = open_with(technician, sieves)

    with pytest.raises(Conflict) as refusal:
        open_with(technician, sieves)

    assert str(first.bench) in refusal.value.message


def test_sieves_are_free_again_and_counted_once_handed_over(technician):
    run = factories.make_weighed_run(technician)

    places = RunSieve.objects.filter(run=run).select_related("sieve")

    assert not any(place.in_use for place in places)
    assert {place.sieve.use_count for place in places} == {1}


def test_decimal_comma_is_taken(technician):
    run = factories.make_run(technician)

    weighing = record(run, Slot.DRY_MASS, "500,4")

    assert str(Weighing.objects.get(pk=weighing.pk).mass_as_entered) == "500.4"


def test_digits_come_back_as_they_were_entered(technician):
    run = factories.make_run(technician)

    weighing = record(run, Slot.DRY_MASS, "123.40")

    assert str(Weighing.objects.get(pk=weighing.pk).mass_as_entered) == "123.40"


@pytest.mark.parametrize("text", ["1.2.3", "1e5", "NaN", "-5", "12 g", "abc", "", "٣٤", "1,2,3"])
def test_what_is_no_mass_is_refused_beside_its_field(technician, text):
    run = factories.make_run(technician)

    with pytest.raises(Invalid) as refusal:
        record(run, Slot.DRY_MASS, text)

    assert refusal.value.field == "text"
    assert run.weighings.count() == 0


def test_gross_below_tare_is_refused(technician):
    run = factories.make_run(technician)

    with pytest.raises(Invalid, match="below tare"):
        record(run, Slot.FRACTION, "410.2", 1, tare_text="412.0")


def test_net_is_gross_less_tare(technician):
    run = factories.make_run(technician)

    weighing = record(run, Slot.FRACTION, "512.3", 1, tare_text="412.1")

    assert str(weighing.mass_as_entered) == "100.2"


def test_after_wash_above_before_wash_is_refused_in_either_order(technician):
    material = factories.make_material(factories.make_procedure(wash=True))
    sample = factories.make_sample(technician, material)
    run = factories.make_run(technician, sample)
    record(run, Slot.WASHED_DRY_MASS, "480")

    with pytest.raises(Invalid, match="washing"):
        record(run, Slot.DRY_MASS, "470")


def test_same_key_again_is_the_same_reading(technician):
    run = factories.make_run(technician)
    one = reading(Slot.DRY_MASS, "500")
    first = bench.record_weighing(actor=technician, run=run, reading=one)

    again = bench.record_weighing(actor=technician, run=run, reading=one)

    assert again == first
    assert run.weighings.count() == 1


def test_f04_second_value_is_shown_never_overwritten(technician):
    run = factories.make_run(technician)
    record(run, Slot.DRY_MASS, "500")

    with pytest.raises(Conflict) as refusal:
        record(run, Slot.DRY_MASS, "505")

    assert "500 g" in refusal.value.message
    assert "505" in refusal.value.message


def test_r39_correction_keeps_the_first_value(technician):
    run = factories.make_run(technician)
    record(run, Slot.DRY_MASS, "500")

    bench.correct_weighing(
        actor=technician, run=run, reading=reading(Slot.DRY_MASS, "505"), reason="digit misread"
    )

    values = run.weighings.order_by("revision").values_list("revision", "entered_text", "reason")
    assert list(values) == [(1, "500", ""), (2, "505", "digit misread")]


def test_r39_correction_needs_a_reason_and_something_to_correct(technician):
    run = factories.make_run(technician)

    with pytest.raises(Invalid, match="Say why"):
        bench.correct_weighing(
            actor=technician, run=run, reading=reading(Slot.DRY_MASS, "1"), reason=""
        )
    with pytest.raises(Conflict, match="no reading here yet"):
        bench.correct_weighing(
            actor=technician, run=run, reading=reading(Slot.DRY_MASS, "1"), reason="typed wrong"
        )


def test_run_with_gaps_is_not_handed_over(technician):
    run = factories.make_run(technician)
    record(run, Slot.DRY_MASS, "500")

    with pytest.raises(Invalid, match="Not weighed yet") as refusal:
        bench.submit_run(actor=technician, run=run)

    assert "4.75 mm" in refusal.value.message
    assert "the pan" in refusal.value.message
    assert Result.objects.count() == 0


def test_handing_over_freezes_the_figures(technician):
    run = factories.make_weighed_run(technician)

    result = run.results.get()

    # 10, 75, 100, 125, 110, 60, 20 g of 500 g: hand working.
    passing = [row["passing_reported"] for row in result.values["table"]]
    assert passing == ["98", "83", "63", "38", "16", "4"]
    assert run.state == Run.State.WEIGHED


def test_reading_after_handing_over_is_refused(technician):
    run = factories.make_weighed_run(technician)

    with pytest.raises(Conflict, match="weighed"):
        record(run, Slot.DRY_MASS, "501")


def test_second_run_of_a_portion_is_the_next_determination(technician):
    run = factories.make_weighed_run(technician)

    second = factories.make_run(technician, portion=run.portion)

    assert (run.determination, second.determination) == (1, 2)


def test_closed_sample_takes_no_run(technician):
    sample = factories.make_sample(technician)
    portion = factories.make_portion(technician, sample)
    intake.cancel_sample(actor=technician, sample=sample, reason="delivered twice")

    with pytest.raises(Conflict):
        factories.make_run(technician, portion=portion)


def test_reviewer_may_not_record(reviewer, technician):
    run = factories.make_run(technician)

    with pytest.raises(NotAllowed):
        bench.record_weighing(actor=reviewer, run=run, reading=reading(Slot.DRY_MASS, "1"))


def test_place_that_the_nest_does_not_have_is_refused(technician):
    run = factories.make_run(technician)

    with pytest.raises(Invalid, match="no sieve at place 9"):
        record(run, Slot.FRACTION, "1", 9)
