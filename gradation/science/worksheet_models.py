"""The model curves a worksheet asks for, fitted to its gradation."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from gradation.science.errors import GradationError
from gradation.science.gradation import Gradation

if TYPE_CHECKING:
    from gradation.science.fits import Fit

MODEL_CHOICES = ("rrsb", "ggs", "log_normal", "log_logistic")
NOT_FITTED: Mapping[str, Any] = {
    "parameters": {},
    "r2": None,
    "largest_residual_pct": None,
    "largest_residual_at_um": None,
    "left_out": [],
}
"""What stands in the place of the figures of a fit that could not be made."""


def fitted_models(names: Sequence[str], gradation: Gradation) -> tuple[Mapping[str, Any], ...]:
    """Give the fits of the models asked for, as plain JSON data.

    Parameters
    ----------
    names : sequence of str
        Out of `MODEL_CHOICES`.
    gradation : Gradation
        One run.

    Returns
    -------
    tuple of mappings
        Two for each model, the straight line on its paper and the non-linear fit: `model`,
        `method`, `parameters` by symbol, `r2`, `largest_residual_pct` and where, `reason`
        when the run has too few points.

    Raises
    ------
    ValueError
        When a name is not one of `MODEL_CHOICES`.

    Notes
    -----
    The fitting routines are loaded on the first use only: they bring an optimiser, which a
    bench preview without models should not wait for.

    References
    ----------
    As named by `models` and `fits`.

    Examples
    --------
    >>> from gradation.science.gradation import gradation
    >>> g = gradation([400, 200, 100], [10.0, 30.0, 30.0, 30.0], 100.0)
    >>> [fit["method"] for fit in fitted_models(["rrsb"], g)]
    ['straight_line', 'non_linear']
    """
    if not names:
        return ()
    from gradation.science import fits  # here, because it loads scipy's optimiser
    from gradation.science.models import Model

    answers: list[Mapping[str, Any]] = []
    for name in names:
        model = Model(name)
        for fit in (fits.fit_straight_line, fits.fit_non_linear):
            method = "straight_line" if fit is fits.fit_straight_line else "non_linear"
            try:
                found = fit(model, gradation.apertures_um, gradation.passing)
            except GradationError as refusal:
                answers.append(
                    {"model": name, "method": method, **NOT_FITTED, "reason": str(refusal)}
                )
            else:
                answers.append(_as_data(found))
    return tuple(answers)


def _as_data(fit: Fit) -> dict[str, Any]:
    """One fit as plain data."""
    return {
        "model": fit.model.value,
        "method": fit.method.value,
        "parameters": {
            each.symbol: {"value": each.value, "unit": each.unit} for each in fit.curve.parameters()
        },
        "r2": fit.r2 if math.isfinite(fit.r2) else None,
        "largest_residual_pct": 100 * fit.largest_residual,
        "largest_residual_at_um": fit.largest_residual_at_um,
        "left_out": list(fit.statements()),
        "reason": None,
    }
