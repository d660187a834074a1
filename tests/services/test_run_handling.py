"""End point, shaking, washing: how a run was worked, beside its masses."""

from decimal import Decimal
from uuid import uuid4

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import LedgerEntry, RunSieve, Shaking
from gradation.queries.end_points import shaken_again
from gradation.queries.shakings import Summary, compared, prefilled, summary_of
from gradation.science.worksheet_output import as_json
from gradation.services import bench, handling, run_places, shakings, upkeep
from tests import factories
from tests.services.run_steps import Slot, codes, computed, correct, open_run, passing, record


def extra_minute(technician, of="sieve", limit="1.0"):
    return open_run(
        technician,
        end_point_form="an extra minute by hand",
        end_point_of=of,
        end_point_limit_pct=Decimal(limit),
    )


def test_end_point_of_the_sieve_own_mass(technician):
    run = extra_minute(technician)
    record(run, Slot.DRY_MASS, 1000)
    record(run, Slot.END_POINT, "1.1", 1)
    assert "end_point_not_reached" not in codes(run), "what lies on the sieve is not known yet"

    record(run, Slot.FRACTION, 100, 1)
    assert "end_point_not_reached" in codes(run)

    correct(run, Slot.END_POINT, "1.0", 1, reason=shaken_again(2))
    assert "end_point_not_reached" not in codes(run)


def test_end_point_of_the_whole_below_a_split_counts_for_what_it_stands_for(technician):
    run = extra_minute(technician, of="total", limit="0.5")
    RunSieve.objects.filter(run=run, position=1).update(is_split=True)
    record(run, Slot.DRY_MASS, 1000)
    record(run, Slot.FRACTION, 400, 1)
    record(run, Slot.SPLIT_PASSING, 600, 1)
    record(run, Slot.SPLIT_REDUCED, 100, 1)
    record(run, Slot.FRACTION, 30, 2)
    record(run, Slot.END_POINT, "0.8", 2)
    assert computed(run).worksheet.end_point.passed_g == ((Decimal(2360), Decimal("0.8")),)

    # 0.8 g x 600/100 = 4.8 g of 1000 g: 0.48 %; 0.9 g would be 0.54 %.
    assert "end_point_not_reached" not in codes(run)
    correct(run, Slot.END_POINT, "0.9", 2, reason="digit")
    assert "end_point_not_reached" in codes(run)


def test_extra_minute_is_refused_where_the_procedure_asks_for_none(technician):
    run = open_run(technician)

    with pytest.raises(Invalid, match="asks for no extra minute"):
        record(run, Slot.END_POINT, 1, 1)


def test_successive_shakings_compare_each_mass_with_the_one_before(technician):
    run = open_run(
        technician,
        end_point_form="successive shakings",
        end_point_of="sieve",
        end_point_limit_pct=Decimal(5),
    )
    record(run, Slot.DRY_MASS, 1000)
    record(run, Slot.FRACTION, 90, 1)
    correct(run, Slot.FRACTION, 100, 1, reason="digit")
    assert computed(run).worksheet.end_point.passed_g == ()

    correct(run, Slot.FRACTION, "94.9", 1, reason=shaken_again(2))
    assert "end_point_not_reached" in codes(run)  # 5.1 g of 100 g
    correct(run, Slot.FRACTION, "95.0", 1, reason="digit again")
    assert "end_point_not_reached" not in codes(run)  # 5.0 g of 100 g is within 5 %

    correct(run, Slot.FRACTION, "94.0", 1, reason=shaken_again(3))
    check = computed(run).worksheet.end_point
    assert check.passed_g == ((Decimal(4750), Decimal("1.0")),)
    assert check.before_g == ((Decimal(4750), Decimal("95.0")),)
    assert passing(run)[4750] == pytest.approx(90.6)
    assert run.weighings.filter(slot=Slot.FRACTION).count() == 5


def test_named_rule_of_the_end_point_is_frozen_with_the_inputs(technician):
    run = open_run(
        technician,
        sizes=(600,),
        end_point_form="an extra minute by hand",
        end_point_of="total",
        end_point_limit_pct=Decimal("0.5"),
        end_point_rule="astm_c136_end",
    )
    record(run, Slot.DRY_MASS, 1000)
    record(run, Slot.FRACTION, 600, 1)
    record(run, Slot.END_POINT, 2, 1)
    record(run, Slot.PAN, 400)

    bench.submit_run(actor=technician, run=run)

    inputs = run.results.get().inputs["end_point"]
    assert inputs == {"rule": "astm_c136_end", "passed": [{"aperture_um": 600, "mass_g": "2"}]}


PLAN = {
    "shaking_motion": "Vertical throw",
    "shaking_minutes": Decimal(10),
    "shaking_amplitude_mm": Decimal("1.5"),
    "shaking_frequency_hz": Decimal(50),
}


def shaken(minutes="10", amplitude="1.5", frequency="50", **values):
    return shakings.Shaken(
        uuid4(), Decimal(minutes), Decimal(amplitude), None, Decimal(frequency), **values
    )


def test_shaking_as_planned_needs_no_words(technician):
    run = open_run(technician, **PLAN)
    one = shaken()

    kept = shakings.record_shaking(actor=technician, run=run, shaken=one)
    again = shakings.record_shaking(actor=technician, run=run, shaken=one)

    assert kept == again
    assert compared(run.procedure_version, kept).comparable
    assert LedgerEntry.objects.filter(action="shaking recorded").count() == 1


@pytest.mark.parametrize(
    ("settings", "words"),
    [({"minutes": "15"}, "Time shaken"), ({"frequency": "60"}, "50 Hz and 60 Hz")],
)
def test_shaking_unlike_the_plan_asks_why_and_becomes_a_deviation(technician, settings, words):
    run = open_run(technician, sizes=(600,), **PLAN)
    with pytest.raises(Invalid, match=words) as refusal:
        shakings.record_shaking(actor=technician, run=run, shaken=shaken(**settings))
    assert refusal.value.field == "note"

    shakings.record_shaking(
        actor=technician, run=run, shaken=shaken(**settings, note="shaker of bench 2 on loan")
    )
    shakings.record_shaking(actor=technician, run=run, shaken=shaken("2"))
    record(run, Slot.DRY_MASS, 1000)
    record(run, Slot.FRACTION, 600, 1)
    record(run, Slot.PAN, 400)
    handed = bench.submit_run(actor=technician, run=run)

    assert "Shaking 1: shaker of bench 2 on loan" in handed.deviations
    assert handed.shaking_minutes == Decimal(settings.get("minutes", "10")) + 2


def test_shaking_on_another_frequency_with_the_same_acceleration_is_as_planned(technician):
    run = open_run(technician, **PLAN)

    # x2 = x1 (f1/f2)^2 = 1.5 mm x (50/60)^2 = 1.042 mm.
    kept = shakings.record_shaking(actor=technician, run=run, shaken=shaken("10", "1.04", "60"))

    assert compared(run.procedure_version, kept).comparable


def test_shaking_tolerance_is_the_procedure_own(technician):
    run = open_run(technician, **PLAN, shaking_tolerance_pct=Decimal(20))

    kept = shakings.record_shaking(actor=technician, run=run, shaken=shaken("12"))

    assert compared(run.procedure_version, kept).comparable


def test_what_cannot_be_compared_says_what_is_missing(technician):
    run = open_run(technician, **(PLAN | {"shaking_frequency_hz": None}))

    kept = shakings.record_shaking(actor=technician, run=run, shaken=shaken())

    found = compared(run.procedure_version, kept)
    assert found.comparable is None
    assert "procedure's plan is not known" in " ".join(found.reasons)


TAPPED = {
    "shaking_motion": "Horizontal circle with tapping",
    "shaking_minutes": Decimal(10),
    "shaking_taps_per_min": 150,
}


def tapped(taps, **values):
    return shakings.Shaken(uuid4(), Decimal(10), taps_per_min=taps, **values)


# The procedure's tolerance is 5 %: of 150 taps a minute 143 are within it (4.7 % of the larger
# value), 140 are not (6.7 %).
@pytest.mark.parametrize(("taps", "comparable"), [(150, True), (143, True), (None, None)])
def test_taps_within_the_tolerance_are_as_planned_and_unknown_ones_are_said(
    technician, taps, comparable
):
    run = open_run(technician, **TAPPED)

    kept = shakings.record_shaking(actor=technician, run=run, shaken=tapped(taps))

    found = compared(run.procedure_version, kept)
    assert found.comparable is comparable
    assert (taps is not None) or "taps a minute of" in " ".join(found.reasons)


def test_taps_unlike_the_plan_ask_why_and_the_note_is_kept(technician):
    run = open_run(technician, **TAPPED)

    with pytest.raises(Invalid, match="Taps a minute differs: 150 and 140") as refusal:
        shakings.record_shaking(actor=technician, run=run, shaken=tapped(140))
    assert refusal.value.field == "note"
    kept = shakings.record_shaking(
        actor=technician, run=run, shaken=tapped(140, note="hammer worn, ordered anew")
    )

    assert (kept.taps_per_min, kept.note) == (140, "hammer worn, ordered anew")


def test_taps_of_the_shaker_that_stands_there_are_put_forward(technician):
    run = open_run(technician, **TAPPED)
    shaker = factories.make_instrument("shaker", taps_per_min=144)

    assert prefilled(run, shaker).taps_per_min == 144
    assert prefilled(run, None).taps_per_min == 150


def test_no_taps_are_no_number_of_taps(technician):
    with pytest.raises(Invalid) as refusal:
        shakings.record_shaking(
            actor=technician, run=open_run(technician, **TAPPED), shaken=tapped(0, note="off")
        )

    assert refusal.value.field == "taps_per_min"


def test_amplitude_outside_what_the_shaker_reaches_is_refused(technician):
    shaker = factories.make_instrument(
        "shaker", amplitude_min_mm=Decimal("0.2"), amplitude_max_mm=Decimal(3)
    )
    run = open_run(technician, **PLAN)

    with pytest.raises(Invalid, match=r"from 0\.2 to 3 mm") as refusal:
        shakings.record_shaking(
            actor=technician, run=run, shaken=shaken(amplitude="3.5", shaker=shaker, note="hard")
        )

    assert refusal.value.field == "amplitude_mm"


def test_shaking_is_corrected_by_a_revision(technician):
    run = open_run(technician, **PLAN)
    shakings.record_shaking(actor=technician, run=run, shaken=shaken("15", note="damp"))

    shakings.correct_shaking(
        actor=technician, run=run, number=1, shaken=shaken(), reason="misread the timer"
    )

    assert list(Shaking.objects.values_list("number", "revision", "minutes")) == [
        (1, 1, Decimal("15.0")),
        (1, 2, Decimal("10.0")),
    ]
    assert summary_of(run) == Summary(Decimal("10.0"), ())
    with pytest.raises(Conflict, match="no shaking 2"):
        shakings.correct_shaking(
            actor=technician, run=run, number=2, shaken=shaken(), reason="misread"
        )


def test_shaking_after_the_hand_over_is_refused(technician):
    run = factories.make_weighed_run(technician)

    with pytest.raises(Conflict):
        shakings.record_shaking(actor=technician, run=run, shaken=shaken())


def wash_run(technician):
    return open_run(technician, wash=True, guard_aperture_um=Decimal(1180))


def test_washing_is_recorded_with_its_guard_sieve(technician):
    run = wash_run(technician)
    guard = factories.make_sieve(1180)

    handling.record_handling(
        actor=technician,
        run=run,
        handling=handling.Handling("dispersing agent, 2 g/l", Decimal(30), guard, True, "brush"),
    )

    run.refresh_from_db()
    assert (run.guard_sieve, run.soak_minutes, run.wet_sieved) == (guard, Decimal(30), True)
    entry = LedgerEntry.objects.get(action="handling recorded")
    assert entry.after["guard_sieve"] == str(guard)


def test_guard_sieve_of_another_size_is_refused(technician):
    with pytest.raises(Invalid, match=r"guards with 1\.18 mm"):
        handling.record_handling(
            actor=technician,
            run=wash_run(technician),
            handling=handling.Handling(guard_sieve=factories.make_sieve(2000)),
        )


def test_guard_sieve_out_of_service_is_refused(technician, keeper):
    guard = factories.make_sieve(1180)
    upkeep.take_out_of_service(actor=keeper, item=guard, reason="sagging.")

    with pytest.raises(Invalid, match="sagging"):
        handling.record_handling(
            actor=technician,
            run=wash_run(technician),
            handling=handling.Handling(guard_sieve=guard),
        )


def test_washing_is_refused_where_the_procedure_has_none(technician):
    with pytest.raises(Invalid, match="has no washing"):
        handling.record_handling(
            actor=technician,
            run=open_run(technician),
            handling=handling.Handling(wash_agent="soap"),
        )


def test_guard_sieve_is_used_but_not_shaken(technician):
    run = open_run(technician, sizes=(600,), wash=True, guard_aperture_um=Decimal(1180), **PLAN)
    guard = factories.make_sieve(1180)
    handling.record_handling(
        actor=technician, run=run, handling=handling.Handling(guard_sieve=guard)
    )
    shakings.record_shaking(actor=technician, run=run, shaken=shaken())
    record(run, Slot.DRY_MASS, 1000)
    record(run, Slot.WASHED_DRY_MASS, 900)
    record(run, Slot.FRACTION, 600, 1)
    record(run, Slot.PAN, 300)
    bench.submit_run(actor=technician, run=run)

    guard.refresh_from_db()
    sieve = run.places.get().sieve
    assert (guard.use_count, guard.minutes_used) == (1, 0)
    assert (sieve.use_count, sieve.minutes_used) == (1, 10)


def test_wash_loss_is_known_as_soon_as_both_masses_are(technician):
    run = wash_run(technician)
    record(run, Slot.DRY_MASS, "512.4")
    record(run, Slot.WASHED_DRY_MASS, "480.1")

    assert as_json(computed(run))["wash_loss_g"] == pytest.approx(32.3)
    assert as_json(computed(run))["wash_loss_pct"] == pytest.approx(100 * 32.3 / 512.4)


def test_only_technicians_change_what_a_run_consists_of(technician, reviewer):
    run = open_run(technician)
    refused = [
        lambda: run_places.split_run(actor=reviewer, run=run, position=1, reason="x"),
        lambda: run_places.join_run(actor=reviewer, run=run, position=1, reason="x"),
        lambda: run_places.add_relief_sieve(
            actor=reviewer, run=run, sieve=factories.make_sieve(3350), reason="x"
        ),
        lambda: shakings.record_shaking(actor=reviewer, run=run, shaken=shaken()),
        lambda: shakings.correct_shaking(
            actor=reviewer, run=run, number=1, shaken=shaken(), reason="x"
        ),
        lambda: handling.record_handling(actor=reviewer, run=run, handling=handling.Handling()),
    ]

    for act in refused:
        with pytest.raises(NotAllowed):
            act()
