"""Checks: verdicts are computed, failures stop use at once, the next falls due by the rule."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import (
    Check,
    Equipment,
    ImpactAssessment,
    Laboratory,
    LedgerEntry,
    ReferenceLot,
    Sieve,
)
from gradation.services import bench, checks, clock, instruments, upkeep
from tests import factories

#: ASTM E11-17 at 75 µm by the formulae of the standard, computed by hand:
#: Y = 75^0.98 / 27 + 1.6 = 4.148 µm, X = (2/3) 75^0.75 + 4 75^0.25 = 28.76 µm;
#: the printed table rounds them to 4.1 µm and 29 µm (70.9 to 79.1 µm; at most 104 µm).
TRUE_75 = (Decimal("74.0"), Decimal("76.0"))
BEYOND_75 = (Decimal("79.5"), Decimal("79.7"))


def sieve_75(**values):
    return factories.make_sieve(75, **{"standard": "ASTM E11", **values})


def record(keeper, item, evidence, **values):
    return checks.record_check(
        actor=keeper,
        equipment=item,
        evidence=evidence,
        performed_on=values.pop("performed_on", clock.today()),
        **values,
    )


def measured(readings_um, **values):
    return checks.ApertureEvidence(readings_um, readings_um, **values)


def weights(*readings):
    return checks.WeightsEvidence([(Decimal(200), Decimal(text), "0.02") for text in readings])


def state_of(item):
    return Equipment.objects.get(pk=item.pk)


def test_verdict_on_measured_apertures_is_computed(keeper):
    check = record(keeper, sieve_75(), measured(TRUE_75, resolution_um=Decimal("0.1")))

    assert check.passed
    assert check.kind == Check.Kind.APERTURE
    assert check.found_aperture_um == Decimal("75.00")
    # s = sqrt(2) in each direction: u^2 = (2/2 + 2/2) / 4 + 0.1^2 / 12 = 0.50083; u = 0.708 µm.
    assert check.found_u_um == Decimal("0.708")
    assert check.findings["warp"] == {
        "count": 2,
        "mean_um": 75.0,
        "largest_um": 76.0,
        "sd_um": 1.414,
    }
    assert check.readings["warp_um"] == ["74.0", "76.0"]
    assert "ASTM E11-17" in check.edition


def test_mean_beyond_y_fails_and_takes_the_sieve_out_with_an_assessment(keeper):
    sieve = sieve_75()

    check = record(keeper, sieve, measured(BEYOND_75))

    assert not check.passed
    assert state_of(sieve).state == Equipment.State.OUT_OF_SERVICE
    assert "79.60 µm" in state_of(sieve).state_reason
    assessment = ImpactAssessment.objects.get()
    assert assessment.failed_check == check
    assert assessment.found_aperture_um == Decimal("79.60")
    actions = LedgerEntry.objects.filter(chain=f"equipment/{sieve.serial}").values_list(
        "action", flat=True
    )
    assert [*actions][:3] == ["sieve registered", "check recorded", "out of service"]


def test_largest_opening_beyond_x_fails_though_the_mean_is_true(keeper):
    check = record(keeper, sieve_75(), measured(TRUE_75, largest_um=Decimal(110)))

    assert not check.passed
    assert "Largest aperture" in check.sentence


def test_edition_of_the_card_decides(keeper):
    """ISO 3310-1:2016 permits nine tenths: Y at 75 µm is 3.7 µm, so 78.9 µm is outside."""
    readings = (Decimal("78.8"), Decimal("79.0"))

    by_astm = record(keeper, sieve_75(edition="astm_e11_17"), measured(readings))
    by_iso = record(keeper, sieve_75(edition="iso_3310_1_2016"), measured(readings))

    assert (by_astm.passed, by_iso.passed) == (True, False)
    assert "ISO 3310-1:2016" in by_iso.sentence


def test_limits_that_nobody_confirmed_are_marked_in_the_sentence(keeper):
    check = record(keeper, sieve_75(), measured(TRUE_75))

    assert "confirm them against your own edition" in check.sentence


def test_sieve_that_no_table_holds_needs_stated_limits(keeper):
    plate = factories.make_sieve(8000, medium="perforated plate", standard="ISO 3310-2")
    readings = (Decimal(8010), Decimal(8030))

    with pytest.raises(Invalid, match="state the limits"):
        record(keeper, plate, measured(readings))
    limits = checks.OwnLimits(Decimal(10), Decimal(60), "maker's certificate 4711")
    check = record(keeper, plate, measured(readings, limits=limits))

    assert not check.passed
    assert "maker's certificate 4711" in check.sentence


def make_lot(keeper, **values):
    # Glass beads of the worked catalogue example: 125 to 180 µm, 10 to 90 % finer.
    certified = [
        {"aperture_um": size, "passing_pct": pct, "u_pct": "0"}
        for size, pct in (("180", "90"), ("160", "70"), ("150", "50"), ("140", "30"), ("125", "10"))
    ]
    filled = {"name": "Beads", "lot": "7", "certificate": "C-7", "certified": certified, **values}
    return instruments.register_reference_lot(actor=keeper, lot=ReferenceLot(**filled))


def test_reference_material_gives_the_effective_aperture_and_counts_its_use(keeper):
    """46 % finer lies at 140 + (46 - 30) / (50 - 30) x 10 = 148 µm."""
    lot = make_lot(keeper)
    sieve = factories.make_sieve(150, standard="ASTM E11")

    check = record(keeper, sieve, checks.ReferenceEvidence(lot, Decimal(46)))

    assert check.passed
    assert check.found_aperture_um == Decimal("148.00")
    assert ReferenceLot.objects.get().use_count == 1
    assert ReferenceLot.objects.get().opened_on == clock.today()


def test_lot_has_a_last_use(keeper):
    lot = make_lot(keeper, most_uses=1)
    sieve = factories.make_sieve(150, standard="ASTM E11")
    record(keeper, sieve, checks.ReferenceEvidence(lot, Decimal(46)))

    with pytest.raises(Conflict, match="used 1 times"):
        record(keeper, sieve, checks.ReferenceEvidence(lot, Decimal(46)))

    assert Check.objects.count() == 1


def test_expired_and_retired_lots_are_refused(keeper):
    sieve = factories.make_sieve(150, standard="ASTM E11")
    expired = make_lot(keeper, expires_on=clock.today() - timedelta(days=1))
    retired = instruments.retire_reference_lot(
        actor=keeper, lot=make_lot(keeper, lot="8"), reason="Spilt."
    )

    for lot, words in ((expired, "expired"), (retired, "retired")):
        with pytest.raises(Conflict, match=words):
            record(keeper, sieve, checks.ReferenceEvidence(lot, Decimal(46)))


def test_material_that_cannot_tell_the_sieve_is_refused(keeper):
    sieve = factories.make_sieve(150, standard="ASTM E11")

    with pytest.raises(Invalid, match="certified from 10 to 90 %"):
        record(keeper, sieve, checks.ReferenceEvidence(make_lot(keeper), Decimal(95)))


def test_lot_whose_distribution_does_not_fall_is_refused(keeper):
    rising = [
        {"aperture_um": "100", "passing_pct": "10"},
        {"aperture_um": "50", "passing_pct": "90"},
    ]

    with pytest.raises(Invalid) as refusal:
        make_lot(keeper, certified=rising)

    assert refusal.value.field == "certified"


def test_comparison_with_a_master_sieve(keeper):
    master = factories.make_sieve(600, is_master=True)
    evidence = checks.MasterEvidence(master, Decimal("50.0"), Decimal("48.5"), Decimal("1.5"))

    check = record(keeper, factories.make_sieve(600), evidence)

    assert check.passed
    assert check.master == master


@pytest.mark.parametrize(
    ("values", "words"),
    [({"is_master": False}, "no master"), ({"next_check_on": date(2020, 1, 1)}, "was due")],
)
def test_master_must_be_one_and_in_date(keeper, values, words):
    master = factories.make_sieve(600, **{"is_master": True, **values})
    evidence = checks.MasterEvidence(master, Decimal(50), Decimal(50), Decimal(1))

    with pytest.raises(Invalid, match=words):
        record(keeper, factories.make_sieve(600), evidence)


def test_check_weight_at_its_limit_passes_and_beyond_fails(keeper):
    balance = factories.make_instrument("balance")

    at_limit = record(keeper, balance, weights("200.02"))
    beyond = record(keeper, balance, weights("200.00", "199.97"))

    assert (at_limit.passed, beyond.passed) == (True, False)
    # 0.03 g of 200 g too little.
    assert ImpactAssessment.objects.get().found_error_pct == Decimal("-0.0150")


def test_shaker_oven_and_divider_have_their_checks(keeper):
    shaker, oven, riffle = (
        factories.make_instrument(kind) for kind in ("shaker", "oven", "divider")
    )
    timer = checks.ShakerEvidence(timer_s=Decimal(603), reference_s=600, timer_limit_s=Decimal(2))

    verdicts = [
        record(keeper, shaker, timer).passed,
        record(keeper, oven, checks.TemperatureEvidence(110, Decimal("114.9"), 5)).passed,
        record(keeper, riffle, checks.HalvesEvidence(1010, 990, 2)).passed,
    ]

    assert verdicts == [False, True, True]


def test_check_that_does_not_belong_to_the_item_is_refused(keeper):
    with pytest.raises(Invalid, match="is a balance"):
        record(keeper, factories.make_instrument("balance"), measured(TRUE_75))


def test_next_check_falls_due_by_days_and_uses(keeper):
    sieve = sieve_75(check_interval_days=180, check_interval_uses=200, use_count=40)

    record(keeper, sieve, measured(TRUE_75), performed_on=date(2026, 1, 1))

    assert state_of(sieve).next_check_on == date(2026, 6, 30)
    assert state_of(sieve).next_check_at_use == 240


def test_look_alone_does_not_move_the_next_check(keeper):
    sieve = sieve_75(check_interval_days=180, next_check_on=date(2026, 6, 30))

    record(keeper, sieve, checks.VisualEvidence(dict.fromkeys(checks.VISUAL_ITEMS, True)))

    assert state_of(sieve).next_check_on == date(2026, 6, 30)


def test_r76_older_check_entered_late_does_not_move_the_next_check(keeper):
    sieve = sieve_75(check_interval_days=10)
    record(keeper, sieve, measured(TRUE_75), performed_on=date(2026, 2, 1))

    record(keeper, sieve, measured(TRUE_75), performed_on=date(2026, 1, 1))

    assert state_of(sieve).next_check_on == date(2026, 2, 11)


def test_item_of_the_list_that_is_not_in_order_fails(keeper):
    sieve = sieve_75()

    check = record(keeper, sieve, checks.VisualEvidence({"no tear, no hole": False}))

    assert check.sentence == "Not in order: “no tear, no hole”."
    assert state_of(sieve).state == Equipment.State.OUT_OF_SERVICE


def test_look_at_nothing_is_refused(keeper):
    with pytest.raises(Invalid, match="Nothing was looked at"):
        record(keeper, sieve_75(), checks.VisualEvidence({}))


def test_failed_sieve_returns_only_after_it_passed_that_check(keeper):
    sieve = sieve_75()
    record(keeper, sieve, measured(BEYOND_75), performed_on=clock.today() - timedelta(days=2))

    with pytest.raises(Conflict, match="failed its check"):
        upkeep.put_back_in_service(actor=keeper, item=sieve, reason="Needed today.")
    record(keeper, sieve, measured(TRUE_75))
    upkeep.put_back_in_service(actor=keeper, item=sieve, reason="Measured again, projector set.")

    assert state_of(sieve).state == Equipment.State.IN_SERVICE


@pytest.mark.parametrize("readings", [(), (Decimal(0),), (Decimal("NaN"),), (Decimal(-75),)])
def test_readings_that_are_no_apertures_are_refused_and_nothing_is_kept(keeper, readings):
    sieve = sieve_75()

    with pytest.raises(Invalid):
        record(keeper, sieve, measured(readings))

    assert not Check.objects.exists()
    assert state_of(sieve).state == Equipment.State.IN_SERVICE


def test_check_in_the_future_is_refused(keeper):
    with pytest.raises(Invalid, match="future"):
        record(
            keeper, sieve_75(), measured(TRUE_75), performed_on=clock.today() + timedelta(days=1)
        )


def test_withdrawn_sieve_is_checked_no_more(keeper):
    sieve = sieve_75()
    upkeep.withdraw_equipment(actor=keeper, item=sieve, reason="worn out.")

    with pytest.raises(Conflict, match="withdrawn"):
        record(keeper, sieve, measured(TRUE_75))


def test_technician_may_not_record_a_check(technician):
    sieve = sieve_75()

    with pytest.raises(NotAllowed):
        record(technician, sieve, measured(TRUE_75))

    assert Sieve.objects.get().state == Sieve.State.IN_SERVICE


def test_new_sieve_enters_no_run_before_a_check_that_counts(keeper):
    """A look tells no aperture: only a check that lets the next fall due ends the waiting."""
    portion = factories.make_portion()
    sizes = [place.aperture_um for place in portion.sample.procedure_version.apertures.all()]
    sieves = factories.make_sieves(sizes[1:])
    new = factories.make_sieve(sizes[0], check_interval_days=365, edition="astm_e11_17")
    setup = bench.Setup(bench=factories.make_bench(), sieves=[new, *sieves])
    person = factories.technician()
    looked = checks.VisualEvidence(dict.fromkeys(checks.VISUAL_ITEMS, True))
    checks.record_check(actor=keeper, equipment=new, evidence=looked, performed_on=clock.today())
    with pytest.raises(Invalid, match="is new and not checked yet"):
        bench.open_run(actor=person, portion=portion, setup=setup)

    size = sizes[0]
    measured = checks.ApertureEvidence(warp_um=[size, size + 1], weft_um=[size, size + 1])
    checks.record_check(actor=keeper, equipment=new, evidence=measured, performed_on=clock.today())

    assert bench.open_run(actor=person, portion=portion, setup=setup).deviations == ""


def test_new_sieve_is_noted_with_the_run_where_the_laboratory_only_warns(keeper):
    Laboratory.objects.update(overdue_sieve="warn")
    portion = factories.make_portion()
    sizes = [place.aperture_um for place in portion.sample.procedure_version.apertures.all()]
    sieves = [factories.make_sieve(size, check_interval_uses=50) for size in sizes]

    run = bench.open_run(
        actor=factories.technician(),
        portion=portion,
        setup=bench.Setup(bench=factories.make_bench(), sieves=sieves),
    )

    assert run.deviations.count("not checked yet") == len(sizes)


def test_reason_of_a_failed_check_is_not_cut_inside_a_sentence(keeper):
    sieve = factories.make_sieve(75, edition="astm_e11_17", standard="ASTM E11")
    torn = checks.ApertureEvidence(warp_um=[77, 78], weft_um=[77, 78], largest_um=146)

    check = checks.record_check(
        actor=keeper, equipment=sieve, evidence=torn, performed_on=clock.today()
    )

    sieve.refresh_from_db()
    assert not check.passed
    assert sieve.state_reason.endswith((".", ".)"))
    assert "library" not in " ".join(check.findings["notes"])
