"""Splits, increments, relief and optional sieves: where masses of a run belong."""

from dataclasses import replace
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from gradation.errors import Conflict, Invalid
from gradation.models import LedgerEntry, ProcedureAperture, ReportForm, RunSieve, Weighing
from gradation.queries.readings import missing_readings, next_increment
from gradation.services import bench, run_places, upkeep
from gradation.services.certificate_tables import result_table
from gradation.services.certificate_verdicts import computed_run
from tests import factories
from tests.published.examples import example
from tests.services.run_steps import (
    SIZES,
    Slot,
    codes,
    computed,
    correct,
    open_run,
    passing,
    record,
)


def test_published_split_gives_the_same_figures_at_the_bench(technician):
    found = example("splits", "reduced_fine_portion_washed")
    given, printed = found.inputs, found.outputs
    coarse_um = [int(1000 * size) for size in given["coarse_sieve_mm"]]
    fine_um = [int(1000 * size) for size in given["fine_sieve_mm"]]
    run = open_run(technician, [*coarse_um, *fine_um], splits=[4750], entry="cumulative", wash=True)
    record(run, Slot.DRY_MASS, given["total_dry_mass_g"])
    at = {place.aperture_um: place.position for place in run.places.all()}
    for size, mass in zip(coarse_um, given["coarse_cumulative_mass_g"], strict=True):
        record(run, Slot.FRACTION, mass, at[size])
    record(run, Slot.SPLIT_PASSING, given["minus_4_75_g"], at[coarse_um[-1]])
    record(run, Slot.SPLIT_REDUCED, given["fine_portion_before_wash_g"], at[coarse_um[-1]])
    record(run, Slot.SPLIT_WASHED, given["fine_portion_after_wash_g"], at[coarse_um[-1]])
    for size, mass in zip(fine_um, given["fine_cumulative_mass_g"], strict=True):
        record(run, Slot.FRACTION, mass, at[size])
    pan_g = Decimal(str(given["fine_total_with_pan_g"])) - Decimal(
        str(given["fine_cumulative_mass_g"][-1])
    )
    record(run, Slot.PAN, pan_g)

    bench.submit_run(actor=technician, run=run)

    values = run.results.get().values
    shown = [row["passing_pct"] for row in values["table"]]
    want = [*printed["coarse_percent_passing"], *printed["total_percent_passing_fine_sieves"]]
    assert shown == pytest.approx(want, abs=found.tolerance["percent"])
    assert run.results.get().inputs["splits"] == [
        {
            "below_um": 4750,
            "passing_g": "2008.9",
            "reduced_g": "527.6",
            "washed_reduced_g": "495.3",
        }
    ]


def test_split_planned_by_the_procedure_stands_in_the_run(technician):
    run = open_run(technician, splits=[2360])

    assert [int(place.aperture_um) for place in run.places.all() if place.is_split] == [2360]
    assert "what passed 2.36 mm" in missing_readings(run)
    assert "the reduced part below 2.36 mm" in missing_readings(run)


def test_figures_below_a_split_wait_for_its_masses(technician):
    run = open_run(technician, splits=[4750])
    record(run, Slot.DRY_MASS, 1000)
    record(run, Slot.FRACTION, 400, 1)
    record(run, Slot.FRACTION, 30, 2)
    assert passing(run) == {4750: 60.0, 2360: None, 600: None, 75: None}

    record(run, Slot.SPLIT_PASSING, 600, 1)
    record(run, Slot.SPLIT_REDUCED, 100, 1)

    # 30 g of 100 g stand for 180 g of the 600 g that passed: 420 g of 1000 g pass.
    assert passing(run)[2360] == pytest.approx(42.0)


def test_two_splits_multiply(technician):
    run = open_run(technician, splits=[4750, 2360])
    record(run, Slot.DRY_MASS, 1000)
    for position, mass in enumerate((200, 50, 20, 10), start=1):
        record(run, Slot.FRACTION, mass, position)
    record(run, Slot.SPLIT_PASSING, 800, 1)
    record(run, Slot.SPLIT_REDUCED, 200, 1)
    record(run, Slot.SPLIT_PASSING, 150, 2)
    record(run, Slot.SPLIT_REDUCED, 50, 2)
    record(run, Slot.PAN, 20)

    # Above 4.75 mm 200 g; 50 g x 4; then x 4 x 3: 20 g -> 240 g, 10 g -> 120 g, pan 240 g.
    assert passing(run) == pytest.approx({4750: 80.0, 2360: 60.0, 600: 36.0, 75: 24.0})
    assert [stage.loss_g for stage in computed(run).stages] == [0, 0, 0]


def test_loss_of_each_stage_is_told_apart(technician):
    run = open_run(technician, sizes=(4750, 600), splits=[4750], loss_limit_pct=Decimal(1))
    record(run, Slot.DRY_MASS, 1000)
    record(run, Slot.FRACTION, 400, 1)
    record(run, Slot.SPLIT_PASSING, 600, 1)
    record(run, Slot.SPLIT_REDUCED, 100, 1)
    record(run, Slot.FRACTION, 60, 2)
    record(run, Slot.PAN, 38)

    # Of the whole nothing is missing; of the reduced part 2 g of 100 g are.
    assert [stage.loss for stage in computed(run).stages] == pytest.approx([0, 0.02])
    assert "loss_exceeded" in codes(run)


def test_reduced_part_above_what_passed_is_refused_in_either_order(technician):
    run = open_run(technician, splits=[4750])
    record(run, Slot.SPLIT_PASSING, 600, 1)
    with pytest.raises(Invalid, match="more than the 600 g that passed"):
        record(run, Slot.SPLIT_REDUCED, "600.1", 1)
    record(run, Slot.SPLIT_REDUCED, 600, 1)

    with pytest.raises(Invalid, match="more than the 599 g that passed"):
        correct(run, Slot.SPLIT_PASSING, 599, 1, reason="digit")


def test_reduced_part_of_nothing_is_refused(technician):
    run = open_run(technician, splits=[4750])

    with pytest.raises(Invalid, match="cannot stand for"):
        record(run, Slot.SPLIT_REDUCED, "0", 1)


def test_split_masses_are_refused_where_the_run_is_not_split(technician):
    run = open_run(technician, splits=[4750])

    with pytest.raises(Invalid, match="Split the run there first"):
        record(run, Slot.SPLIT_PASSING, 600, 2)


def test_split_is_decided_at_the_bench_with_its_reason_in_the_ledger(technician):
    run = open_run(technician)
    record(run, Slot.FRACTION, 400, 1)

    run_places.split_run(actor=technician, run=run, position=1, reason="600 µm would be overloaded")

    entry = LedgerEntry.objects.filter(action="run split").get()
    assert entry.after["split_below"] == "4.75 mm"
    assert entry.reason == "600 µm would be overloaded"
    assert entry.chain == f"sample/{run.portion.sample.number}"
    record(run, Slot.SPLIT_PASSING, 600, 1)


def test_split_may_follow_the_overload_of_the_next_sieve_but_no_later(technician):
    run = open_run(technician)
    record(run, Slot.FRACTION, 400, 1)
    record(run, Slot.FRACTION, 700, 2)
    run_places.split_run(actor=technician, run=run, position=1, reason="overload")

    other = open_run(technician)
    record(other, Slot.FRACTION, 70, 3)
    with pytest.raises(Conflict, match="600 µm is weighed already"):
        run_places.split_run(actor=technician, run=other, position=1, reason="overload")


def test_split_at_the_finest_sieve_is_no_split(technician):
    run = open_run(technician)

    with pytest.raises(Invalid, match="nothing to sieve on"):
        run_places.split_run(actor=technician, run=run, position=4, reason="why not")


def test_split_is_taken_back_only_while_none_of_its_masses_is_weighed(technician):
    run = open_run(technician, splits=[4750])
    run_places.join_run(actor=technician, run=run, position=1, reason="little passes")
    assert not RunSieve.objects.get(run=run, position=1).is_split

    run_places.split_run(actor=technician, run=run, position=1, reason="much passes after all")
    record(run, Slot.SPLIT_PASSING, 600, 1)
    with pytest.raises(Conflict, match="it was made"):
        run_places.join_run(actor=technician, run=run, position=1, reason="again")


def test_reduced_part_is_washed_instead_of_the_whole_not_as_well(technician):
    run = open_run(technician, splits=[4750], wash=True)
    record(run, Slot.WASHED_DRY_MASS, 900)

    with pytest.raises(Invalid, match="washed once"):
        record(run, Slot.SPLIT_WASHED, 90, 1)
    assert "the dry mass after washing" not in missing_readings(run)


def test_increments_add_up_and_each_is_corrected_on_its_own(technician):
    run = open_run(technician)
    record(run, Slot.DRY_MASS, 1000)
    record(run, Slot.FRACTION, "100.0", 1)
    record(run, Slot.FRACTION, "150.0", 1, increment=2)
    record(run, Slot.FRACTION, "52.0", 1, increment=3)
    assert passing(run)[4750] == pytest.approx(69.8)

    correct(run, Slot.FRACTION, "50.0", 1, increment=3, reason="figures exchanged")

    assert passing(run)[4750] == pytest.approx(70.0)
    rows = list(run.weighings.filter(position=1))
    assert next_increment(rows, Slot.FRACTION, 1) == 4
    assert run.weighings.get(increment=3, revision=1).mass_as_entered == Decimal("52.0")


def test_load_of_a_sieve_is_that_of_its_heaviest_increment(technician):
    run = open_run(technician, loading_rule="astm_c136")
    record(run, Slot.DRY_MASS, 1000)
    record(run, Slot.FRACTION, 0, 1)
    record(run, Slot.FRACTION, 0, 2)
    # ASTM C136: 7 kg/m2 below 4.75 mm; a 200 mm frame, 12.7 mm less: 0.02756 m2, 193 g.
    record(run, Slot.FRACTION, 180, 3)
    record(run, Slot.FRACTION, 180, 3, increment=2)
    assert "overloaded" not in codes(run)

    correct(run, Slot.FRACTION, 200, 3, increment=2, reason="digit")

    assert "overloaded" in codes(run)


def test_cumulative_masses_have_no_increments(technician):
    run = open_run(technician, entry="cumulative")
    record(run, Slot.FRACTION, 100, 1)

    with pytest.raises(Invalid, match="one reading a sieve"):
        record(run, Slot.FRACTION, 100, 1, increment=2)


@pytest.mark.parametrize("slot", [Slot.WASHED_DRY_MASS, Slot.END_POINT])
def test_what_is_one_mass_has_no_increments(technician, slot):
    run = open_run(
        technician,
        wash=True,
        end_point_form="an extra minute by hand",
        end_point_limit_pct=Decimal(1),
    )

    with pytest.raises(Invalid, match="not weighed in increments"):
        record(run, slot, 5, 1 if slot in Weighing.AT_A_SIEVE else 0, increment=2)


def test_relief_sieve_stands_between_two_others_and_gives_a_point_of_the_curve(technician):
    run = open_run(technician)
    record(run, Slot.DRY_MASS, 1000)
    record(run, Slot.FRACTION, 100, 1)
    sieve = factories.make_sieve(3350)

    place = run_places.add_relief_sieve(
        actor=technician, run=run, sieve=sieve, reason="2.36 mm heaped"
    )
    record(run, Slot.FRACTION, 200, place.position)

    assert [int(each.aperture_um) for each in run.places.all()] == [4750, 3350, 2360, 600, 75]
    assert passing(run)[3350] == pytest.approx(70.0)
    assert run.weighings.get(slot=Slot.FRACTION, position=1).mass_g == 100
    assert LedgerEntry.objects.filter(
        action="relief sieve put in", reason="2.36 mm heaped"
    ).exists()


@pytest.mark.parametrize(
    ("size", "words"),
    [(2360, "stands in the nest already"), (63, "above or below"), (8000, "above or below")],
)
def test_relief_sieve_of_no_use_is_refused(technician, size, words):
    run = open_run(technician)

    with pytest.raises(Invalid, match=words):
        run_places.add_relief_sieve(
            actor=technician, run=run, sieve=factories.make_sieve(size), reason="load"
        )


def test_relief_sieve_out_of_service_or_of_another_frame_is_refused(technician, keeper):
    run = open_run(technician)
    torn = factories.make_sieve(3350)
    upkeep.take_out_of_service(actor=keeper, item=torn, reason="torn.")

    with pytest.raises(Invalid, match="torn"):
        run_places.add_relief_sieve(actor=technician, run=run, sieve=torn, reason="load")
    with pytest.raises(Invalid, match="do not nest"):
        run_places.add_relief_sieve(
            actor=technician,
            run=run,
            sieve=factories.make_sieve(3350, frame_diameter_mm="203.2"),
            reason="load",
        )


def test_relief_sieve_in_another_open_run_is_not_taken(technician):
    other = open_run(technician)
    run = open_run(technician, sizes=(4750, 600, 75))

    with pytest.raises(Conflict):
        run_places.add_relief_sieve(
            actor=technician, run=run, sieve=other.places.all()[1].sieve, reason="load"
        )


def test_relief_sieve_comes_before_finer_sieves_are_weighed(technician):
    run = open_run(technician)
    record(run, Slot.FRACTION, 100, 2)
    record(run, Slot.FRACTION, 50, 3)

    with pytest.raises(Conflict, match="600 µm is weighed already"):
        run_places.add_relief_sieve(
            actor=technician, run=run, sieve=factories.make_sieve(3350), reason="load"
        )


def test_relief_sieve_is_declared_at_the_opening(technician):
    version = factories.make_procedure(SIZES)
    material = factories.make_material(version)
    portion = factories.make_portion(technician, factories.make_sample(technician, material))
    sieves = factories.make_sieves([4750, 3350, *SIZES[1:]])
    setup = bench.Setup(bench=factories.make_bench(), sieves=sieves)
    with pytest.raises(Invalid):
        bench.open_run(actor=technician, portion=portion, setup=setup)

    run = bench.open_run(
        actor=technician,
        portion=portion,
        setup=replace(setup, reliefs=frozenset({sieves[1].pk})),
    )

    assert [place.is_relief for place in run.places.all()] == [False, True, False, False, False]


def test_optional_sieve_may_be_left_out(technician):
    run = open_run(technician, optional=[2360])

    assert [int(place.aperture_um) for place in run.places.all()] == [4750, 600, 75]
    assert ProcedureAperture.objects.get(version=run.procedure_version, aperture_um=2360)


def test_certificate_says_what_passed_the_split_and_what_of_it_was_sieved_on(technician):
    run = open_run(technician, sizes=(4750, 600), splits=[4750], loss_limit_pct=Decimal(1))
    record(run, Slot.DRY_MASS, "1000.0")
    record(run, Slot.FRACTION, "250.0", 1)
    record(run, Slot.FRACTION, "150.0", 1, increment=2)
    record(run, Slot.SPLIT_PASSING, "600.0", 1)
    record(run, Slot.SPLIT_REDUCED, "100.0", 1)
    record(run, Slot.FRACTION, "60.0", 2)
    record(run, Slot.PAN, "39.5")
    bench.submit_run(actor=technician, run=run)

    table = result_table(
        computed_run(run, ReportForm()), ZoneInfo("UTC"), "", states_uncertainty=False
    )

    assert [(row.retained_g, row.retained_pct, row.passing_pct) for row in table.rows] == [
        ("400.0", "40.0", "60"),
        ("60.0", "36.0", "24"),
    ]
    told = {row.label: (row.mass_g, row.share_pct) for row in table.balance}
    assert told["Passed 4.75 mm"] == ("600.0", "")
    assert told["Of it sieved below 4.75 mm"] == ("100.0", "")
    assert told["Pan"][0] == "39.5"
    # 0.5 g of the reduced part stand for 3.0 g of the whole portion of 1000 g.
    assert told["Loss in sieving"] == ("3.0", "0.30")
