"""What a run is made with: instruments and sieves that may be used, and what their use counts."""

from datetime import timedelta
from decimal import Decimal

import pytest

from gradation.errors import Conflict, Invalid
from gradation.models import Equipment, Instrument, Run, RunInstrument
from gradation.services import bench, checks, clock, laboratory, people, review, upkeep
from tests import factories


def open_run(technician, *instruments, place=None, sieves=None, **procedure):
    material = factories.make_material(factories.make_procedure(**procedure))
    sample = factories.make_sample(technician, material)
    setup = bench.Setup(
        bench=place or factories.make_bench(),
        sieves=sieves or factories.make_sieves(),
        instruments=instruments,
    )
    portion = factories.make_portion(technician, sample)
    return bench.open_run(actor=technician, portion=portion, setup=setup)


def set_policy(**policies):
    laboratory.change_laboratory(actor=people.system_account(), reason="decided", **policies)


def check_weights(keeper, balance, performed_on=None):
    return checks.record_check(
        actor=keeper,
        equipment=balance,
        evidence=checks.WeightsEvidence([(200, Decimal("200.01"), Decimal("0.02"))]),
        performed_on=performed_on or clock.today(),
    )


def test_instruments_of_a_run_are_kept_with_how_their_check_stood(technician, keeper):
    next_check = clock.today() + timedelta(days=100)
    shaker = factories.make_instrument("shaker", next_check_on=next_check)

    run = open_run(technician, shaker)

    kept = RunInstrument.objects.get(run=run)
    assert (kept.instrument, kept.next_check_on) == (shaker, next_check)


def test_balances_and_shakers_of_the_bench_stand_in_when_none_is_named(technician):
    place = factories.make_bench()
    here = factories.make_instrument("shaker", bench=place)
    factories.make_instrument("oven", bench=place)
    factories.make_instrument("shaker", bench=factories.make_bench())

    run = open_run(technician, place=place)

    assert [row.instrument for row in run.instruments.all()] == [here]


def test_named_balance_takes_the_place_of_those_at_the_bench_but_not_of_the_shaker(technician):
    place = factories.make_bench()
    shaker = factories.make_instrument("shaker", bench=place)
    factories.make_instrument("balance", bench=place)
    named = factories.make_instrument("balance")

    run = open_run(technician, named, place=place)

    assert [row.instrument for row in run.instruments.all()] == [named, shaker]


def test_shaker_of_the_bench_that_is_out_of_service_stops_the_run(technician, keeper):
    place = factories.make_bench()
    shaker = factories.make_instrument("shaker", bench=place)
    upkeep.take_out_of_service(actor=keeper, item=shaker, reason="motor hums")

    with pytest.raises(Invalid, match="motor hums") as refusal:
        open_run(technician, place=place)

    assert refusal.value.field == "instruments"
    assert not Run.objects.exists()


def test_overdue_instrument_is_refused_or_noted_by_policy(technician):
    yesterday = clock.today() - timedelta(days=1)
    shaker = factories.make_instrument("shaker", next_check_on=yesterday)
    with pytest.raises(Invalid, match="was due on"):
        open_run(technician, shaker)

    set_policy(overdue_sieve="warn")
    run = open_run(technician, shaker)

    assert shaker.serial in run.deviations


def test_balance_not_checked_today_warns_or_stops_by_policy(technician, keeper):
    balance = factories.make_instrument("balance")
    check_weights(keeper, balance, clock.today() - timedelta(days=1))

    run = open_run(technician, balance)
    set_policy(balance_not_checked="block")

    said = f"was not checked with weights on {clock.today():%d %b %Y}"
    assert said in run.deviations, "the certificate shows it long after"
    with pytest.raises(Invalid, match=said):
        open_run(technician, balance)
    check_weights(keeper, balance)
    assert open_run(technician, balance).deviations == ""


def test_balance_too_coarse_for_the_portion_is_refused(technician, keeper):
    """0.1 % of a portion of 300 g is 0.3 g: 0.1 g will do, 0.5 g will not."""
    fine, coarse = (
        factories.make_instrument("balance", readability_g=Decimal(text)) for text in ("0.1", "0.5")
    )
    for balance in (fine, coarse):
        check_weights(keeper, balance)

    open_run(technician, fine, minimum_portion_g=Decimal(300))

    with pytest.raises(Invalid, match=r"needs 0\.3 g or finer"):
        open_run(technician, coarse, minimum_portion_g=Decimal(300))


def test_balance_too_small_for_the_portion_is_refused(technician):
    balance = factories.make_instrument("balance", capacity_g=Decimal(200))

    with pytest.raises(Invalid, match="weighs to 200 g"):
        open_run(technician, balance, minimum_portion_g=Decimal(300))


def test_nest_heavier_than_the_shaker_carries_is_refused(technician, keeper):
    """Six sieves of 400 g and a portion of 300 g weigh 2700 g."""
    sieves = factories.make_sieves()
    for sieve in sieves:
        upkeep.weigh_tare(actor=keeper, sieve=sieve, tare_g=Decimal(400))
    weak, strong = (
        factories.make_instrument("shaker", greatest_nest_g=Decimal(grams))
        for grams in (2699, 2700)
    )

    with pytest.raises(Invalid, match="weighs 2700 g or more"):
        open_run(technician, weak, sieves=sieves, minimum_portion_g=Decimal(300))
    open_run(technician, strong, sieves=sieves, minimum_portion_g=Decimal(300))


def test_instrument_named_twice_is_refused(technician):
    shaker = factories.make_instrument("shaker")

    with pytest.raises(Invalid, match="twice"):
        open_run(technician, shaker, shaker)


def test_master_sieve_cannot_enter_a_run(technician):
    sieves = [*factories.make_sieves()[:-1], factories.make_sieve(150, is_master=True)]

    with pytest.raises(Invalid, match="master sieve"):
        open_run(technician, sieves=sieves)


def test_sieve_due_by_uses_is_refused_or_noted_by_policy(technician):
    worn = factories.make_sieve(150, use_count=200, next_check_at_use=200)
    sieves = [*factories.make_sieves()[:-1], worn]
    with pytest.raises(Invalid, match="due after 200 uses"):
        open_run(technician, sieves=sieves)

    set_policy(overdue_sieve="warn")

    assert worn.serial in open_run(technician, sieves=sieves).deviations


def hand_over(run, minutes="12"):
    said = bench.HandOver(shaking_minutes=Decimal(minutes))
    return bench.submit_run(actor=run.technician, run=run, hand_over=said)


def used(run):
    keys = [
        *run.places.values_list("sieve_id", flat=True),
        *run.instruments.values_list("instrument_id", flat=True),
    ]
    return set(Equipment.objects.filter(pk__in=keys).values_list("use_count", "minutes_used"))


def test_handing_over_counts_a_use_and_the_minutes_of_sieves_and_instruments(technician):
    run = open_run(technician, factories.make_instrument("shaker"))
    factories.weigh(run)

    hand_over(run)

    assert used(run) == {(1, Decimal(12))}


def test_run_returned_and_handed_over_again_is_one_use(technician, reviewer):
    run = open_run(technician, factories.make_instrument("shaker"))
    factories.weigh(run)
    run = review.return_run(actor=reviewer, run=hand_over(run), reason="Look at the pan again.")

    hand_over(run)

    assert used(run) == {(1, Decimal(12))}


def test_sieve_becomes_due_by_the_uses_that_its_runs_count(technician):
    sieves = factories.make_sieves()
    Equipment.objects.filter(pk=sieves[0].pk).update(next_check_at_use=1)
    run = open_run(technician, sieves=sieves)
    factories.weigh(run)
    hand_over(run)

    with pytest.raises(Invalid, match="due after 1 uses"):
        open_run(technician, sieves=sieves)


def test_sieve_that_went_out_of_service_meanwhile_is_noted_with_the_run(technician, keeper):
    run = open_run(technician)
    factories.weigh(run)
    sieve = run.places.select_related("sieve")[0].sieve
    upkeep.take_out_of_service(actor=keeper, item=sieve, reason="wire found in the pan")
    with pytest.raises(Invalid, match="wire found in the pan"):
        hand_over(run)

    factories.answer_findings(run, "Nothing of it in this fraction.")
    run = hand_over(run)

    assert "wire found in the pan. Nothing of it in this fraction." in run.deviations


def test_who_has_the_sieve_is_told(technician):
    sieves = factories.make_sieves()
    run = open_run(technician, sieves=sieves)

    with pytest.raises(Conflict) as refusal:
        open_run(factories.technician(), sieves=sieves)

    for words in (str(run), str(run.bench), technician.full_name):
        assert words in refusal.value.message


def test_sieve_is_not_registered_as_an_instrument(keeper):
    with pytest.raises(Invalid, match="own card"):
        upkeep.register_instrument(actor=keeper, instrument=Instrument(serial="X", kind="sieve"))
