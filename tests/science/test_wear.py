"""Wear trend and forecast, beside ordinary regression of a general library."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.wear import (
    WearForecast,
    WearLimits,
    forecast_dates,
    forecast_uses,
    wear_trend,
)

USES = [0.0, 120.0, 260.0, 390.0, 520.0]
APERTURES_UM = [125.2, 126.0, 127.5, 128.1, 129.4]
LIMITS = WearLimits(119.2, 130.8)


def mean_band(uses: float, side: str) -> float:
    """Edge of the 95 % band of the mean line by statsmodels."""
    fit = sm.OLS(APERTURES_UM, sm.add_constant(np.array(USES))).fit()
    frame = fit.get_prediction([[1.0, uses]]).summary_frame(alpha=0.05)
    return float(frame[f"mean_ci_{side}"].iloc[0])


def test_line_agrees_with_scipy():
    expected = stats.linregress(USES, APERTURES_UM)

    trend = wear_trend(USES, APERTURES_UM)

    half = stats.t.ppf(0.975, 3) * expected.stderr
    assert trend.per_use == pytest.approx(expected.slope, rel=1e-12)
    assert trend.value_at(0) == pytest.approx(expected.intercept, rel=1e-12)
    assert trend.per_use_low == pytest.approx(expected.slope - half, rel=1e-9)
    assert trend.per_use_high == pytest.approx(expected.slope + half, rel=1e-9)


def test_forecast_interval_ends_where_the_band_meets_the_limit():
    forecast = forecast_uses(wear_trend(USES, APERTURES_UM), LIMITS, uses_now=520)

    assert mean_band(forecast.earliest_uses, "upper") == pytest.approx(130.8, abs=1e-9)
    assert mean_band(forecast.latest_uses, "lower") == pytest.approx(130.8, abs=1e-9)
    assert forecast.earliest_uses < forecast.uses < forecast.latest_uses
    assert f"{forecast.uses:.0f} uses" in forecast.sentence


@pytest.mark.parametrize("uses", [0.0, 258.0, 900.0])
def test_half_width_is_that_of_the_band_of_the_mean(uses):
    trend = wear_trend(USES, APERTURES_UM)

    half = (mean_band(uses, "upper") - mean_band(uses, "lower")) / 2
    assert trend.half_width_at(uses) == pytest.approx(half, rel=1e-9)


def test_two_checks_leave_no_band_to_show():
    assert wear_trend([0, 100], [125.0, 125.5]).half_width_at(900.0) == 0.0


def test_falling_tare_heads_for_its_lower_limit():
    # mirror of the aperture series about 125: same uses, lower limit 119.2 = 125 - 5.8
    falling = [250.0 - value for value in APERTURES_UM]

    rising = forecast_uses(wear_trend(USES, APERTURES_UM), LIMITS, uses_now=520)
    mirrored = forecast_uses(wear_trend(USES, falling), LIMITS, uses_now=520)

    assert mirrored.limit == 119.2
    assert mirrored.uses == pytest.approx(rising.uses, rel=1e-9)
    assert mirrored.earliest_uses == pytest.approx(rising.earliest_uses, rel=1e-9)
    assert mirrored.latest_uses == pytest.approx(rising.latest_uses, rel=1e-9)


def test_checks_exactly_on_a_line_give_a_point():
    # 125 + 0.01 per use reaches 130 after 500 uses
    trend = wear_trend([0, 100, 200], [125.0, 126.0, 127.0])

    forecast = forecast_uses(trend, WearLimits(None, 130.0), uses_now=200)

    assert forecast.uses == pytest.approx(500.0)
    assert forecast.earliest_uses == pytest.approx(500.0, rel=1e-5)
    assert forecast.latest_uses == pytest.approx(500.0, rel=1e-5)


def test_two_checks_give_no_interval():
    forecast = forecast_uses(
        wear_trend([0, 100], [125.0, 126.0]), WearLimits(None, 130.0), uses_now=100
    )

    assert forecast.uses == pytest.approx(500.0)
    assert (forecast.earliest_uses, forecast.latest_uses) == (None, None)
    assert "no interval" in forecast.sentence


def test_scatter_without_trend_forecasts_nothing_but_an_earliest():
    trend = wear_trend([0, 100, 200, 300], [125.0, 125.6, 125.1, 125.5])

    forecast = forecast_uses(trend, LIMITS, uses_now=300)

    assert not trend.is_shown
    assert forecast.uses is None
    assert forecast.earliest_uses > 300
    assert "no certain wear" in forecast.sentence


def test_level_checks_forecast_nothing():
    forecast = forecast_uses(wear_trend([0, 100, 200], [125.0] * 3), LIMITS, uses_now=200)

    assert forecast.uses is None
    assert forecast.earliest_uses is None
    assert "no wear" in forecast.sentence


def test_band_over_the_limit_now_gives_now_as_earliest():
    trend = wear_trend([0, 100, 200], [125.0, 129.5, 129.0])

    assert forecast_uses(trend, LIMITS, uses_now=200).earliest_uses == 200


def test_line_over_the_limit_says_already_outside():
    forecast = forecast_uses(wear_trend(USES, APERTURES_UM), LIMITS, uses_now=5000)

    assert forecast.already_outside
    assert forecast.uses is None


def test_wearing_away_from_the_only_limit_forecasts_nothing():
    forecast = forecast_uses(wear_trend(USES, APERTURES_UM), WearLimits(119.2, None), uses_now=520)

    assert forecast.uses is None


def test_dates_stay_on_the_safe_side():
    # 101 uses ahead at 2 a day are 50.5 days: day 50 after 1 January 2026 is 20 February
    forecast = WearForecast(130.8, 401.0, 290.0, 1e9, already_outside=False, sentence="")

    dates = forecast_dates(forecast, 300.0, date(2026, 1, 1), 2.0)

    assert dates.expected == date(2026, 2, 20)
    assert dates.earliest == date(2026, 1, 1)
    assert dates.latest is None


@pytest.mark.parametrize(
    ("uses", "values"),
    [([0], [125.0]), ([0, 100], [125.0]), ([100, 100], [125.0, 126.0])],
)
def test_trend_needs_two_different_checks(uses, values):
    with pytest.raises(NotDeterminable):
        wear_trend(uses, values)


def test_senseless_input_is_refused():
    trend = wear_trend(USES, APERTURES_UM)
    forecast = forecast_uses(trend, LIMITS, uses_now=520)

    with pytest.raises(OutOfRange):
        wear_trend([0, -1], [125.0, 126.0])
    with pytest.raises(OutOfRange):
        wear_trend(USES, APERTURES_UM, confidence=1.0)
    with pytest.raises(OutOfRange):
        forecast_uses(trend, LIMITS, uses_now=-1)
    with pytest.raises(OutOfRange):
        forecast_dates(forecast, 520, date(2026, 1, 1), 0.0)


def test_a_line_that_is_not_certain_puts_no_sieve_outside():
    """Five checks at use 0 and one four uses later: the line through them says nothing at use 40.

    Values from 44.6 to 45.4, limits 42.2 and 47.8: every value is well inside.
    """
    limits = WearLimits(42.2, 47.8)
    trend = wear_trend([0, 0, 0, 0, 0, 4], [44.9, 45.4, 44.6, 45.1, 45.0, 45.4])

    forecast = forecast_uses(trend, limits, 40)

    assert trend.value_at(40) > 47.8
    assert not forecast.already_outside
    assert forecast.uses is None
    assert "measure it again" in forecast.sentence


def test_a_sieve_whose_checks_lie_outside_is_outside_with_or_without_a_trend():
    trend = wear_trend([0, 10, 20, 30], [48.4, 48.6, 48.3, 48.5])

    assert not trend.is_shown
    assert forecast_uses(trend, WearLimits(42.2, 47.8), 40).already_outside
