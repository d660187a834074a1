"""Two methods on the same samples, and replicate results."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from gradation.science.calculations.laboratories import outlier_json
from gradation.science.calculations.reading import (
    ZERO,
    Answer,
    Reader,
    maybe,
    number,
    numbers,
    table,
)
from gradation.science.calculations.writing import from_memory, plain, record
from gradation.science.quality.comparison import agreement, deming
from gradation.science.quality.replicates import (
    Operators,
    ReplicateAssessment,
    assess_replicate_passing,
    assess_replicates,
    published_sd_pct,
)
from gradation.science.worksheet_reading import Fields

AGGREGATES = ("coarse", "fine")


def _method_comparison(fields: Fields) -> Answer:
    """A line between two methods that both err, and the limits of their differences."""
    fields.only(("first", "second", "variance_ratio", "confidence"))
    fields.require("first", "second")
    first, second = numbers(fields, "first"), numbers(fields, "second")
    ratio = number(fields, "variance_ratio", 1.0, above=ZERO)
    confidence = number(fields, "confidence", 0.95, above=ZERO)
    if fields.has("first") and fields.has("second") and len(first) != len(second):
        fields.fault("second", "needs one value for each of the first method.")

    def answer() -> dict[str, Any]:
        line = deming(first, second, variance_ratio=ratio, confidence=confidence)
        found = agreement(first, second, confidence=confidence)
        return {
            "confidence": confidence,
            "deming": record(line)
            | {
                "slope_differs": line.slope_differs,
                "intercept_differs": line.intercept_differs,
            },
            "agreement": plain(found),
        }

    return answer


def _replicates(fields: Fields) -> Answer:
    """Replicate results of one figure, or of whole gradations aperture by aperture."""
    fields.only(("values", "repeatability_sd", "passing_pct", "repeatability_sd_pct", "published"))
    if fields.has("values") == fields.has("passing_pct"):
        fields.fault("values", "give either values, or passing_pct with a row for each replicate.")
    values = numbers(fields, "values")
    sd = maybe(fields, "repeatability_sd", least=ZERO)
    if fields.has("values"):
        return lambda: _replicate_json(assess_replicates(values, sd)) | _memory((len(values),), "")
    rows, sds = table(fields, "passing_pct"), numbers(fields, "repeatability_sd_pct", above=ZERO)
    aggregate, operators = _published(fields.object("published"))
    if sds and aggregate:
        fields.fault("published", "give either repeatability_sd_pct or published, not both.")
    if sds and rows and len(sds) != len(rows[0]):
        fields.fault("repeatability_sd_pct", "needs one value for each aperture.")

    def answer() -> dict[str, Any]:
        known = np.array(sds) if sds else None
        if aggregate:
            means = [each.mean for each in assess_replicate_passing(rows)]
            known = published_sd_pct(means, aggregate, operators)
        found = [_replicate_json(each) for each in assess_replicate_passing(rows, known)]
        return {"apertures": found, "repeatability_sd_pct": plain(known)} | _memory(
            (len(rows),), aggregate
        )

    return answer


def _published(fields: Fields | None) -> tuple[str, Operators]:
    """Which published precision counts."""
    if fields is None:
        return "", Operators.SINGLE_OPERATOR
    fields.only(("aggregate", "operators"))
    fields.require("aggregate")
    return fields.one_of("aggregate", AGGREGATES), fields.choice(
        "operators", Operators.SINGLE_OPERATOR
    )


def _replicate_json(found: ReplicateAssessment) -> dict[str, Any]:
    """One figure as data."""
    tests = [outlier_json(each) for each in found.outlier_tests]
    return record(found) | {"outlier_tests": tests}


def _memory(counts: tuple[int, ...], aggregate: str) -> dict[str, Any]:
    """Tables used that are kept from memory."""
    notes = from_memory("published_precision", [aggregate] if aggregate else [])
    return {"unconfirmed": notes + from_memory("grubbs_double", [str(each) for each in counts])}


CALCULATIONS: Mapping[str, Reader] = {
    "method_comparison": _method_comparison,
    "replicates": _replicates,
}
