"""The statistics behind an uncertainty: repeated readings, a line, degrees of freedom."""

from __future__ import annotations

from collections.abc import Mapping
from math import hypot, inf
from typing import Any

from gradation.science.calculations.reading import (
    ZERO,
    Answer,
    Reader,
    maybe,
    number,
    numbers,
    table,
)
from gradation.science.calculations.writing import plain
from gradation.science.propagation import (
    correlation_of,
    effective_degrees_of_freedom,
    expand,
)
from gradation.science.type_a import fit_line, type_a
from gradation.science.uncertainty import root_diagonal
from gradation.science.worksheet_reading import Fields


def _expanded_uncertainty(fields: Fields) -> Answer:
    """Expanded uncertainty from independent contributions and their degrees of freedom."""
    fields.only(("contributions", "confidence"))
    fields.require("contributions")
    parts = [_contribution(each) for each in fields.objects("contributions")]
    confidence = number(fields, "confidence", 0.95, above=ZERO)
    if fields.has("contributions") and not parts:
        fields.fault("contributions", "holds no contribution.")

    def answer() -> dict[str, Any]:
        sizes, freedoms = [u for u, _ in parts], [nu for _, nu in parts]
        freedom = effective_degrees_of_freedom(sizes, freedoms)
        found = expand(hypot(*sizes), confidence, freedom)
        return {
            "u": found.standard,
            "degrees_of_freedom": plain(freedom),
            "coverage_factor": found.coverage_factor,
            "U": found.expanded,
            "confidence": confidence,
            "not_determinable": {} if freedom < inf else {"degrees_of_freedom": "Unlimited."},
        }

    return answer


def _contribution(fields: Fields) -> tuple[float, float]:
    """One contribution in the unit of the result, with its degrees of freedom."""
    fields.only(("u", "degrees_of_freedom"))
    fields.require("u")
    freedom = maybe(fields, "degrees_of_freedom")
    if freedom is not None and freedom <= 0:
        fields.fault("degrees_of_freedom", "must be above 0; leave it out when it is unlimited.")
    return number(fields, "u", least=ZERO), inf if freedom is None else freedom


def _repeated_observations(fields: Fields) -> Answer:
    """Means of repeated simultaneous observations, with uncertainty and correlation."""
    fields.only(("observations",))
    fields.require("observations")
    rows = table(fields, "observations")
    if rows and len({len(row) for row in rows}) != 1:
        fields.fault("observations", "has rows of different length.")

    def answer() -> dict[str, Any]:
        means, covariance = type_a(rows)
        return {
            "means": plain(means),
            "u": plain(root_diagonal(covariance)),
            "correlation": plain(correlation_of(covariance)),
            "repetitions": len(rows),
        }

    return answer


def _calibration_line(fields: Fields) -> Answer:
    """Least-squares line through points, and what it predicts."""
    fields.only(("x", "y", "reference", "predict"))
    fields.require("x", "y")
    x, y, wanted = (numbers(fields, name) for name in ("x", "y", "predict"))
    reference = number(fields, "reference")
    if fields.has("x") and fields.has("y") and len(x) != len(y):
        fields.fault("y", "needs one value for each x.")

    def answer() -> dict[str, Any]:
        line = fit_line(x, y, reference)
        u = root_diagonal(line.covariance)
        return {
            "intercept": line.intercept,
            "slope": line.slope,
            "u_intercept": float(u[0]),
            "u_slope": float(u[1]),
            "correlation": float(correlation_of(line.covariance)[0, 1]),
            "residual_sd": line.residual_sd,
            "degrees_of_freedom": line.degrees_of_freedom,
            "reference": reference,
            "predictions": [
                {"x": place, "value": value, "u": standard}
                for place, (value, standard) in ((each, line.predict(each)) for each in wanted)
            ],
        }

    return answer


CALCULATIONS: Mapping[str, Reader] = {
    "expanded_uncertainty": _expanded_uncertainty,
    "repeated_observations": _repeated_observations,
    "calibration_line": _calibration_line,
}
