"""Uncertainty of what a specification looks at: passing, differences, characteristic values.

Public: `line_standards`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from gradation.science.envelope_form import EnvelopeLine, LineKind
from gradation.science.gradation import Gradation
from gradation.science.interpolation import Interpolation
from gradation.science.percentiles import passing_at_size
from gradation.science.propagation import FloatArray
from gradation.science.redrawn import with_passing
from gradation.science.uncertainty import PassingUncertainty

Values = Mapping[str, float | None]

# Step of passing for slopes: small beside any passing reported, large beside 1e-16.
_STEP = 1e-6


def line_standards(
    uncertainty: PassingUncertainty,
    lines: Sequence[EnvelopeLine],
    interpolation: Interpolation,
    values_of: Callable[[Gradation], Values],
) -> tuple[float | None, ...]:
    """Give the standard uncertainty of the value each line of a specification looks at.

    Parameters
    ----------
    uncertainty : PassingUncertainty
        passing values of one run with their covariance
    lines : sequence of EnvelopeLine
        lines that can be compared
    interpolation : Interpolation
        how passing is read between sieves
    values_of : callable
        gives the characteristic values by name of a curve; asked only for lines that limit one

    Returns
    -------
    tuple of float or None
        standard uncertainty in the line's unit; None where the value is not determined

    Raises
    ------
    Nothing
        What cannot be determined is None.

    Notes
    -----
    u^2 = g C g^T with the covariance C of the passing values and g the slopes of the line's
    value by them: 1 at a sieve of the nest, by symmetric differences of 1e-6 that never cross
    a neighbour elsewhere. What is read below the finest sieve (fines) moves as its passing.

    References
    ----------
    JCGM 100:2008, 5.2.2 equation (13).

    Examples
    --------
    >>> from decimal import Decimal
    >>> from gradation.science.gradation import gradation
    >>> from gradation.science.uncertainty import Balance, Weighings, passing_uncertainty
    >>> run = gradation([1000, 500], [100.0, 150.0, 250.0], 500.0)
    >>> found = passing_uncertainty(run, Weighings(Balance(0.1)))
    >>> line = EnvelopeLine(aperture_um=Decimal(500), maximum=Decimal(55))
    >>> [u] = line_standards(found, [line], Interpolation.LOG_LINEAR, lambda curve: {})
    >>> round(u, 4)
    0.0122
    """
    names = [line.characteristic for line in lines if line.kind is LineKind.CHARACTERISTIC]
    slopes = _value_slopes(uncertainty.gradation, names, values_of) if names else {}
    return tuple(
        _standard(uncertainty, slopes.get(line.characteristic))
        if line.kind is LineKind.CHARACTERISTIC
        else _standard(uncertainty, _percentage_slopes(uncertainty, line, interpolation))
        for line in lines
    )


def _standard(uncertainty: PassingUncertainty, slopes: FloatArray | None) -> float | None:
    """The standard uncertainty that goes with slopes by the passing values."""
    if slopes is None or not np.isfinite(slopes).all():
        return None
    return float(np.sqrt(max(float(slopes @ uncertainty.covariance @ slopes), 0.0)))


def _percentage_slopes(
    uncertainty: PassingUncertainty, line: EnvelopeLine, rule: Interpolation
) -> FloatArray:
    """Slopes of a line's percentage by the passing values, as shares."""
    curve = uncertainty.gradation
    slopes = _size_slopes(curve, float(line.aperture_um or 0), rule)
    if line.kind is LineKind.BETWEEN:
        slopes = slopes - _size_slopes(curve, float(line.finer_um or 0), rule)
    return 100.0 * slopes


def _size_slopes(curve: Gradation, size_um: float, rule: Interpolation) -> FloatArray:
    """Slopes of the passing at one size by the passing at every sieve."""
    own = curve.apertures_um == size_um
    if own.any():
        return np.where(own, 1.0, 0.0)
    up, down = _moves(curve)
    high, low = (
        passing_at_size(curve.apertures_um, _each_moved(curve, nodes), size_um, rule)
        for nodes in (up, down)
    )
    return _quotient(high - low, up - down)


def _value_slopes(
    curve: Gradation, names: Sequence[str], values_of: Callable[[Gradation], Values]
) -> dict[str, FloatArray]:
    """Slopes of characteristic values by the passing at every sieve."""
    up, down = _moves(curve)
    here = values_of(curve)
    highs, lows = (
        [values_of(with_passing(curve, each)) for each in _each_moved(curve, nodes)]
        for nodes in (up, down)
    )
    return {
        name: _slopes_of(here.get(name), [(h.get(name), low.get(name)) for h, low in
                                          zip(highs, lows, strict=True)], (up, down, curve))
        for name in names
    }  # fmt: skip


def _slopes_of(
    still: float | None,
    moved: Sequence[tuple[float | None, float | None]],
    ways: tuple[FloatArray, FloatArray, Gradation],
) -> FloatArray:
    """Slopes of one value; a side on which it leaves the measured range stays where it is."""
    up, down, curve = ways
    if still is None:
        return np.full(up.shape, np.nan)
    high = np.array([still if h is None else h for h, _ in moved])
    low = np.array([still if each is None else each for _, each in moved])
    gone_up, gone_down = (np.array([pair[side] is None for pair in moved]) for side in (0, 1))
    top = np.where(gone_up, curve.passing, up)
    bottom = np.where(gone_down, curve.passing, down)
    return _quotient(high - low, top - bottom)


def _moves(curve: Gradation) -> tuple[FloatArray, FloatArray]:
    """Each passing moved up and down as far as its neighbours allow, at most by the step."""
    highest = np.append(1.0, curve.passing[:-1])
    lowest = np.append(curve.passing[1:], 0.0)
    up = np.minimum(curve.passing + _STEP, highest)
    return up, np.maximum(curve.passing - _STEP, lowest)


def _each_moved(curve: Gradation, nodes: FloatArray) -> FloatArray:
    """As many curves as sieves, (n, n), each with one point moved."""
    return np.where(np.eye(nodes.size, dtype=np.bool_), nodes, curve.passing)


def _quotient(rise: FloatArray, run: FloatArray) -> FloatArray:
    """Slopes; a point that can move nowhere moves nothing."""
    return np.divide(rise, run, out=np.zeros_like(rise), where=run > 0)
