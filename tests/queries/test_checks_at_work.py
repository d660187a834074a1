"""Checks while a run is weighed and handed over: portion, masses, shaking, times.

Each finds what it is for, and keeps quiet about a near twin.
"""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest

from gradation.models import Severity, Stage, Weighing
from gradation.queries.run_checks import findings
from gradation.services import bench, clock, dryings, shakings, upkeep
from tests import factories
from tests.factories import reading
from tests.queries.asking import found_in, run_of
from tests.tampering import guards_lifted

pytestmark = pytest.mark.django_db

Slot = Weighing.Slot


@pytest.fixture
def actor(db):
    factories.make_laboratory()
    return factories.technician()


def enter(run, slot, text, position=0, **values):
    one = reading(slot, text, position, **values)
    return bench.record_weighing(actor=run.technician, run=run, reading=one)


def slip_in(run, slot, mass_g, position=0):
    """Let a reading stand as an import could leave it: past the refusals of the bench."""
    return Weighing.objects.create(
        run=run,
        slot=slot,
        position=position,
        mass_g=Decimal(mass_g),
        entered_text=str(mass_g),
        decimals=0,
        source=Weighing.Source.IMPORT,
        key=uuid4(),
        made_at=clock.now(),
        made_by=run.technician,
    )


def test_1_finds_a_sieve_that_went_out_of_service_meanwhile(actor):
    run, twin = factories.make_run(actor), factories.make_run(actor)
    sieve = run.places.select_related("sieve")[0].sieve
    upkeep.take_out_of_service(actor=factories.keeper(), item=sieve, reason="Wire in the pan.")

    (found,) = found_in(run, "equipment-unfit")

    assert (found.place, found.severity) == ("fraction-1", Severity.REASON)
    assert "Wire in the pan" in found.sentence
    assert found_in(twin, "equipment-unfit") == []


def test_6_finds_a_portion_that_is_not_dry(actor):
    run, twin = (run_of(actor, constant_mass_pct=Decimal("0.1")) for _ in range(2))
    oven = dryings.Oven(factories.make_instrument("oven"), Decimal(110))
    drying = dryings.begin_drying(actor=actor, portion=twin.portion, oven=oven)
    for number, text in ((1, "512.4"), (2, "512.3")):  # 0.02 % less
        one = dryings.MassReading(number, text, uuid4())
        dryings.record_drying_mass(actor=actor, drying=drying, reading=one)

    (found,) = found_in(run, "not-constant-mass")

    assert "not dried yet" in found.sentence
    assert found_in(twin, "not-constant-mass") == []


@pytest.mark.parametrize(
    ("dry_mass_g", "finds"), [("299", True), ("300", False), ("600", False), ("601", True)]
)
def test_7_finds_a_portion_outside_its_band(actor, dry_mass_g, finds):
    run = run_of(actor, minimum_portion_g=Decimal(300), maximum_portion_g=Decimal(600))
    enter(run, Slot.DRY_MASS, dry_mass_g)

    found = found_in(run, "portion-outside-band", Stage.WEIGHING)

    assert bool(found) == finds
    assert all(each.place == "dry-mass-0" for each in found)


@pytest.mark.parametrize(("after_g", "finds"), [(501, True), (500, False)])
def test_8_finds_material_gained_by_washing(actor, after_g, finds):
    run = run_of(actor, wash=True)
    slip_in(run, Slot.DRY_MASS, 500)
    slip_in(run, Slot.WASHED_DRY_MASS, after_g)

    assert bool(found_in(run, "gained-by-washing")) == finds


def test_9_finds_a_balance_that_only_a_reading_names(actor):
    run, twin = factories.make_run(actor), factories.make_run(actor)
    balance = factories.make_instrument("balance")
    enter(run, Slot.DRY_MASS, "500", balance=balance)
    enter(twin, Slot.DRY_MASS, "500")

    (found,) = found_in(run, "balance-unfit")

    assert balance.serial in found.sentence
    assert found_in(twin, "balance-unfit") == []


def tared(run, tare_g):
    upkeep.weigh_tare(
        actor=factories.keeper(),
        sieve=run.places.select_related("sieve")[0].sieve,
        tare_g=Decimal("412.0"),
    )
    enter(run, Slot.FRACTION, "512.0", 1, tare_text=tare_g)


@pytest.mark.parametrize(("tare_g", "finds"), [("412.5", False), ("412.6", True)])
def test_10_finds_a_tare_that_changed_by_more_than_half_a_gram(actor, tare_g, finds):
    run = factories.make_run(actor)
    tared(run, tare_g)

    found = found_in(run, "tare-drift", Stage.WEIGHING)

    assert bool(found) == finds
    assert all("last time 412 g" in each.sentence for each in found)


def test_10_goes_by_the_run_before_and_names_the_sieve_whose_tare_it_is(actor):
    sieves = factories.make_sieves()
    first = factories.make_run(actor, sieves=sieves)
    for position, tare_g in enumerate(("412", "398", "405", "380", "377", "371"), start=1):
        enter(first, Slot.FRACTION, str(int(tare_g) + 20), position, tare_text=tare_g)
    enter(first, Slot.DRY_MASS, "140")
    enter(first, Slot.PAN, "20")
    factories.hand_over(first)
    second = factories.make_run(actor, sieves=sieves)
    enter(second, Slot.FRACTION, "450", 1, tare_text="398")
    enter(second, Slot.FRACTION, "450", 3, tare_text="405")

    (found,) = found_in(second, "tare-drift", Stage.WEIGHING)

    assert found.place == "fraction-1"
    assert f"It is the tare of {sieves[1]}" in found.sentence


@pytest.mark.parametrize(("third_g", "finds"), [("40", True), ("60", False)])
def test_11_finds_cumulative_masses_that_fall(actor, third_g, finds):
    run = run_of(actor, entry="cumulative")
    for position, mass_g in enumerate(("10", "60", third_g), start=1):
        enter(run, Slot.FRACTION, mass_g, position)

    found = found_in(run, "cumulative-falls", Stage.WEIGHING)

    assert [each.place for each in found] == (["fraction-3"] if finds else [])
    assert all(each.severity == Severity.STOP for each in found)


@pytest.mark.parametrize(("first_g", "finds"), [("506", True), ("500", False)])
def test_11_finds_more_on_the_sieves_than_there_was(actor, first_g, finds):
    run = factories.make_run(actor)
    enter(run, Slot.DRY_MASS, "500")
    enter(run, Slot.FRACTION, first_g, 1)

    found = found_in(run, "cumulative-falls", Stage.WEIGHING)

    assert [each.severity for each in found] == ([Severity.REASON] if finds else [])


def test_12_finds_a_sieve_with_more_than_its_load(actor):
    """Below 4.75 mm at most 7 kg/m² (ASTM C136/C136M-19, 8.3): on 200 mm about 0.2 kg."""
    run, twin = (run_of(actor, loading_rule="astm_c136") for _ in range(2))
    for one, mass_g in ((run, "260"), (twin, "150")):
        enter(one, Slot.DRY_MASS, "500")
        enter(one, Slot.FRACTION, "10", 1)
        enter(one, Slot.FRACTION, mass_g, 2)

    (found,) = found_in(run, "sieve-overloaded", Stage.WEIGHING)

    assert found.place == "fraction-2"
    assert found_in(twin, "sieve-overloaded", Stage.WEIGHING) == []


def test_13_finds_an_end_point_not_shown_and_one_not_reached(actor):
    """At most 0.5 % of the total may pass in the extra minute (ASTM C136-14, 8.4): 2.5 g of 500."""
    asked = {
        "end_point_form": "an extra minute by hand",
        "end_point_limit_pct": Decimal("0.5"),
        "end_point_of": "total",
        "apertures_um": (600, 300),
    }
    silent, shown, beyond = (run_of(actor, **asked) for _ in range(3))
    for run in (silent, shown, beyond):
        factories.weigh(run, masses_g=("200", "200", "100"))
    for run, passed_g in ((shown, "2.5"), (beyond, "2.6")):
        enter(run, Slot.END_POINT, passed_g, 1)
        enter(run, Slot.END_POINT, "0.4", 2)

    (missing,) = found_in(silent, "end-point-not-shown")
    (exceeded,) = found_in(beyond, "end-point-not-shown")

    assert "600 µm, 300 µm" in missing.sentence
    assert found_in(silent, "end-point-not-shown", Stage.WEIGHING) == []
    assert exceeded.place == "fraction-1"
    assert found_in(shown, "end-point-not-shown") == []


@pytest.mark.parametrize(
    ("dry_mass_g", "finds"), [("501.5", False), ("501.6", True), ("498.6", False), ("498.4", True)]
)
def test_14_finds_a_loss_or_gain_over_the_limit(actor, dry_mass_g, finds):
    """Limit 0.3 %: of 501.5 g 1.5 g are 0.2991 %, of 498.4 g 1.6 g are 0.3210 %."""
    run = factories.make_run(actor)
    factories.weigh(run, dry_mass_g=dry_mass_g)

    found = found_in(run, "loss-over-limit", Stage.WEIGHING)

    assert [each.place for each in found] == (["pan-0"] if finds else [])


def shaken(run, minutes, **values):
    return shakings.record_shaking(
        actor=run.technician,
        run=run,
        shaken=shakings.Shaken(key=uuid4(), minutes=Decimal(minutes), **values),
    )


def test_15_notes_a_shaking_unlike_the_plan_with_the_word_given_for_it(actor):
    plan = {"shaking_motion": "horizontal circular", "shaking_minutes": Decimal(10)}
    run, twin, silent = (run_of(actor, **plan) for _ in range(3))
    shaken(run, 20, note="Clay lumps seen.")
    shaken(twin, 10)

    (found,) = found_in(run, "shaking-differs")
    (unrecorded,) = found_in(silent, "shaking-differs")

    assert "Clay lumps seen" in found.sentence
    assert found.severity == Severity.NOTE
    assert "No shaking is recorded" in unrecorded.sentence
    assert found_in(twin, "shaking-differs") == []


def test_15_asks_where_no_word_was_given(actor):
    run = run_of(actor, shaking_motion="horizontal circular", shaking_minutes=Decimal(10))
    shaking = shaken(run, 20, note="x")
    with guards_lifted():
        type(shaking).objects.filter(pk=shaking.pk).update(note="")

    (found,) = found_in(run, "shaking-differs")

    assert found.severity == Severity.REASON


@pytest.mark.parametrize(("second_g", "finds"), [("0", True), ("0.1", False)])
def test_16_finds_a_sieve_with_nothing_between_two_with_much(actor, second_g, finds):
    run = factories.make_run(actor)
    masses_g = ("85", second_g, "100", "125", "110", "60", "20")
    factories.weigh(run, masses_g=masses_g)

    found = found_in(run, "zero-or-kink", Stage.WEIGHING)

    assert [each.place for each in found] == (["fraction-2"] if finds else [])


def test_22_finds_a_figure_that_the_sieves_cannot_give(actor):
    """Finest sieve 600 µm with 60 % passing: there is no d10."""
    run = run_of(actor, apertures_um=(1180, 600), repeatability_of="d10")
    twin = run_of(actor, repeatability_of="d10")
    factories.weigh(run, masses_g=("100", "100", "300"))
    factories.weigh(twin)

    (found,) = found_in(run, "not-determinable")

    assert "d10" in found.sentence
    assert found_in(twin, "not-determinable") == []


def later(run, slot, position=0, **values):
    return enter(run, slot, "10", position, **values)


def test_24_finds_a_reading_dated_ahead_of_the_server(actor):
    run = factories.make_run(actor)
    later(run, Slot.FRACTION, 1, observed_at=clock.now() + timedelta(minutes=6))
    later(run, Slot.FRACTION, 2, observed_at=clock.now() + timedelta(minutes=4))

    (found,) = found_in(run, "impossible-time", Stage.WEIGHING)

    assert (found.place, "by its own clock" in found.sentence) == ("fraction-1", True)


def test_24_finds_a_reading_entered_long_after_it_was_made(actor):
    with clock.at(clock.now() - timedelta(days=2)):
        run = factories.make_run(actor)
    later(run, Slot.FRACTION, 1, observed_at=clock.now() - timedelta(hours=13))
    later(run, Slot.FRACTION, 2, observed_at=clock.now() - timedelta(hours=11))

    (found,) = found_in(run, "impossible-time", Stage.WEIGHING)

    assert found.place == "fraction-1"


def test_24_finds_a_reading_made_before_the_portion_was(actor):
    run = factories.make_run(actor)
    prepared = run.portion.prepared_at
    later(run, Slot.FRACTION, 1, observed_at=prepared - timedelta(minutes=4))
    assert found_in(run, "impossible-time", Stage.WEIGHING) == []

    later(run, Slot.FRACTION, 2, observed_at=prepared - timedelta(minutes=6))

    (found,) = found_in(run, "impossible-time", Stage.WEIGHING)
    assert "before portion" in found.sentence


@pytest.mark.parametrize(("minutes_early", "finds"), [(4, False), (6, True)])
def test_24_finds_a_fraction_weighed_while_the_nest_was_shaken(actor, minutes_early, finds):
    began = clock.now() - timedelta(hours=1)
    with clock.at(began - timedelta(minutes=5)):
        run = factories.make_run(actor)
    shaken(run, 10, began_at=began)
    made = began + timedelta(minutes=10 - minutes_early)
    with clock.at(made):
        later(run, Slot.FRACTION, 1)

    found = found_in(run, "impossible-time", Stage.WEIGHING)

    assert bool(found) == finds


@pytest.mark.parametrize(("source", "finds"), [("typed", True), ("balance", False)])
def test_24_finds_more_readings_than_a_hand_makes(actor, source, finds):
    run = factories.make_run(actor)
    with clock.at(clock.now().replace(second=5)):
        for increment in range(1, 32):
            one = reading(Slot.FRACTION, "10", 1, increment=increment, source=source)
            bench.record_weighing(actor=actor, run=run, reading=one)

    found = found_in(run, "impossible-time", Stage.WEIGHING)

    assert ["31 readings" in each.sentence for each in found] == ([True] if finds else [])


def test_a_sound_run_has_no_finding_that_asks_for_anything(actor):
    run = factories.make_run(actor)
    factories.weigh(run)

    noted = {"not-competent"}  # the laboratory keeps none yet
    for stage in (Stage.WEIGHING, Stage.HAND_OVER):
        assert {each.code for each in findings(run, stage)} <= noted
