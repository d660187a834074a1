"""Many runs at once: every figure and verdict is that of the run alone, to the last digit."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradation.science import batch
from gradation.science.batch import ManyMasses, Wanted, evaluate_many
from gradation.science.batch_envelopes import assess_many, inside_span
from gradation.science.characteristics import characteristics
from gradation.science.decisions import DecisionRule, Rule
from gradation.science.envelopes import (
    AssessmentRule,
    CompareWith,
    EnvelopeLine,
    LineKind,
    MissingAperture,
    Outcome,
    assess,
)
from gradation.science.errors import Impossible, NotDeterminable, OutOfRange, UnknownName
from gradation.science.gradation import Basis, gradation
from gradation.science.interpolation import Interpolation
from gradation.science.rounding import FinerRule, Rounding, RoundingMode
from tests.load import batch_speed

NEST_UM = (4750, 9500, 2360, 1180, 600, 300, 150, 75)
ALL_VALUES = (*batch._RATIOS, *batch.MODULUS_SETS, *batch._OF_FRACTIONS)


def masses(runs: int = 300, seed: int = 7) -> ManyMasses:
    """Runs with empty sieves, gains, losses and everything on one sieve."""
    chance = np.random.default_rng(seed)
    retained_g = chance.gamma(0.6, 30.0, (runs, len(NEST_UM) + 1)).round(1)
    retained_g[chance.random(retained_g.shape) < 0.2] = 0.0
    retained_g[:, 4] += 0.1
    retained_g[: len(NEST_UM) + 1] = 400 * np.eye(len(NEST_UM) + 1)
    dry_mass_g = (retained_g.sum(axis=-1) * chance.uniform(0.99, 1.2, runs)).round(1)
    return ManyMasses(NEST_UM, retained_g, dry_mass_g, (0.97 * dry_mass_g).round(1))


def lines() -> list[EnvelopeLine]:
    return [
        EnvelopeLine(aperture_um=Decimal(2360), minimum=Decimal(40), maximum=Decimal(90)),
        EnvelopeLine(aperture_um=Decimal(500), target=Decimal(30), tolerance=Decimal(25)),
        EnvelopeLine(LineKind.RETAINED, Decimal(150), minimum=Decimal(70), is_inclusive=False),
        EnvelopeLine(
            LineKind.BETWEEN, Decimal(1180), Decimal(300), minimum=Decimal(5), maximum=Decimal(60)
        ),
        EnvelopeLine(
            LineKind.CHARACTERISTIC, characteristic="fineness_modulus", maximum=Decimal("3.1")
        ),
        EnvelopeLine(LineKind.CHARACTERISTIC, characteristic="d50", minimum=Decimal(200)),
        EnvelopeLine(aperture_um=Decimal(75), maximum=Decimal(5)),
    ]


def one_by_one(given_masses: ManyMasses, place: int):
    return gradation(
        given_masses.apertures_um,
        given_masses.retained_g[place],
        given_masses.dry_mass_g[place],
        given_masses.washed_dry_mass_g[place],
        given_masses.basis,
    )


@pytest.mark.parametrize("interpolation", Interpolation)
@pytest.mark.parametrize("basis", Basis)
def test_batch_gives_the_digits_of_each_run_alone(interpolation, basis, monkeypatch):
    monkeypatch.setattr(batch, "RUNS_AT_ONCE", 77)  # the last piece is a short one
    runs = replace(masses(), basis=basis)
    shares = (0.05, 0.10, 0.33, 0.50, 0.90)

    found = evaluate_many(runs, Wanted(shares, ALL_VALUES, interpolation))

    for place in range(len(runs.retained_g)):
        alone = one_by_one(runs, place)
        single = {each.name: each.value for each in characteristics(alone, interpolation)}
        np.testing.assert_array_equal(found.passing[place], alone.passing)
        for name in ("d10", "d50", "d90", *ALL_VALUES):
            expected = np.nan if single[name] is None else single[name]
            np.testing.assert_array_equal(found.values[name][place], expected, err_msg=name)


@pytest.mark.parametrize("compare", CompareWith)
@pytest.mark.parametrize("mode", RoundingMode)
@pytest.mark.parametrize("missing", MissingAperture)
def test_batch_gives_the_verdicts_of_each_run_alone(compare, mode, missing):
    finer = (FinerRule(Decimal(75), Decimal(10), 1),)
    rule = AssessmentRule(missing=missing, compare=compare, rounding=Rounding(0, mode, finer))
    runs = masses()

    found = evaluate_many(runs, Wanted(envelope=lines(), rule=rule)).verdicts

    for place, outcome in enumerate(found.outcomes):
        alone = one_by_one(runs, place)
        values = {each.name: each.value for each in characteristics(alone)}
        single = assess(alone, lines(), rule, values)
        assert outcome is single.outcome
        assert found.is_tested[place].tolist() == [each.is_tested for each in single.lines]
        assert found.is_inside[place].tolist() == [bool(each.is_inside) for each in single.lines]


@given(
    tenths=st.integers(0, 1000),
    limit=st.integers(0, 100),
    mode=st.sampled_from(RoundingMode),
    is_inclusive=st.booleans(),
)
def test_a_tie_is_decided_as_for_a_single_run(tenths, limit, mode, is_inclusive):
    # 1000 g on one sieve: passing in steps of 0.1 %, so halves come up as often as not
    curve = gradation([600], [1000 - tenths, tenths], 1000)
    rule = AssessmentRule(rounding=Rounding(0, mode))
    line = EnvelopeLine(aperture_um=Decimal(600), minimum=Decimal(limit), is_inclusive=is_inclusive)

    found = assess_many(curve, [line], rule)

    assert found.outcomes.item() is assess(curve, [line], rule).outcome


def test_limit_of_five_percent_accepts_up_to_the_half_that_rounds_down():
    line = EnvelopeLine(aperture_um=Decimal(75), maximum=Decimal(4))

    to_even = inside_span(line, AssessmentRule(rounding=Rounding(0, RoundingMode.HALF_EVEN)))
    up = inside_span(line, AssessmentRule(rounding=Rounding(0, RoundingMode.HALF_UP)))

    assert up.most < 4.5 <= to_even.most  # 4.5 is reported as 4 by the one and as 5 by the other
    assert to_even.most == pytest.approx(4.5, abs=1e-9)
    assert to_even.least == -np.inf


@pytest.mark.parametrize("limits", [{"minimum": Decimal(-2)}, {"maximum": Decimal(102)}])
def test_limit_beyond_every_percentage_accepts_all_of_them(limits):
    span = inside_span(EnvelopeLine(aperture_um=Decimal(75), **limits), AssessmentRule())

    assert (span.least, span.most) == (-np.inf, np.inf)


@pytest.mark.parametrize("limits", [{"minimum": Decimal(102)}, {"maximum": Decimal(-2)}])
def test_limit_that_no_percentage_keeps_accepts_none(limits):
    span = inside_span(EnvelopeLine(aperture_um=Decimal(75), **limits), AssessmentRule())

    assert not any(span.least <= passing_pct <= span.most for passing_pct in (0, 50, 100))


def test_batch_axes_of_the_masses_come_back():
    flat = masses(runs=24)
    shape = (2, 3, 4)
    folded = ManyMasses(
        flat.apertures_um,
        flat.retained_g.reshape(*shape, -1),
        flat.dry_mass_g.reshape(shape),
        flat.washed_dry_mass_g.reshape(shape),
    )
    wanted = Wanted(envelope=lines())

    found, row = evaluate_many(folded, wanted), evaluate_many(flat, wanted)

    assert found.passing.shape == (*shape, len(NEST_UM))
    np.testing.assert_array_equal(found.passing, row.passing.reshape(*shape, -1))
    np.testing.assert_array_equal(found.values["d50"], row.values["d50"].reshape(shape))
    assert found.verdicts.outcomes.tolist() == row.verdicts.outcomes.reshape(shape).tolist()


def test_value_limited_by_the_envelope_is_calculated_without_being_asked():
    line = EnvelopeLine(LineKind.CHARACTERISTIC, characteristic="fines", maximum=Decimal(50))
    runs = ManyMasses([600], [[60.0, 40.0], [40.0, 60.0]], 100.0)

    found = evaluate_many(runs, Wanted((), (), envelope=[line]))

    assert found.values["fines"].tolist() == [40.0, 60.0]
    assert found.verdicts.outcomes.tolist() == [Outcome.CONFORMS, Outcome.DOES_NOT_CONFORM]


def test_value_that_a_batch_cannot_give_is_refused():
    line = EnvelopeLine(LineKind.CHARACTERISTIC, characteristic="maximum_size", maximum=Decimal(9))

    with pytest.raises(UnknownName, match="maximum_size is not told for many runs"):
        evaluate_many(masses(), Wanted(envelope=[line]))
    with pytest.raises(UnknownName, match="colour"):
        evaluate_many(masses(), Wanted(values=("colour",)))


def test_one_impossible_run_stops_the_batch():
    sound = masses()
    retained_g = sound.retained_g.copy()
    retained_g[200] = 0.0

    with pytest.raises(Impossible, match="All fractions weigh zero"):
        evaluate_many(replace(sound, retained_g=retained_g))


def test_rule_that_needs_uncertainty_is_refused_for_a_batch():
    guarded = AssessmentRule(decision=DecisionRule(Rule.GUARD_BAND))

    with pytest.raises(NotDeterminable, match="judged by plain acceptance"):
        evaluate_many(masses(), Wanted(envelope=lines(), rule=guarded))


def test_lines_and_spans_must_match():
    curve = gradation([600], [60.0, 40.0], 100.0)

    with pytest.raises(OutOfRange, match="1 lines need as many spans"):
        batch.verdicts_within(curve, lines()[:1], [], AssessmentRule(), {})


def test_envelope_without_lines_determines_nothing():
    curve = gradation([600], [[60.0, 40.0]], [100.0])

    assert assess_many(curve, []).outcomes.tolist() == [Outcome.NOT_DETERMINED]


def test_benchmark_compares_the_same_figures():
    chance = np.random.default_rng(1)
    runs = batch_speed.draw_masses(500, chance)
    arrays = (np.asarray(runs.apertures_um, float), runs.retained_g, runs.dry_mass_g)

    passing, sizes = batch_speed.floor(*arrays)
    found = evaluate_many(runs, Wanted(envelope=batch_speed.envelope()))

    np.testing.assert_allclose(found.passing, passing, rtol=0, atol=1e-12)
    for name, size_um in zip(("d10", "d50", "d90"), sizes, strict=True):
        is_known = ~np.isnan(found.values[name])
        assert is_known.mean() > 0.9
        np.testing.assert_allclose(found.values[name][is_known], size_um[is_known], rtol=1e-9)
    assert {each.value for each in found.verdicts.outcomes} >= {"does_not_conform"}
