"""The characteristic values a certificate prints: name, value, unit, formula."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from gradation.documents.certificate_content import Characteristic, Verdict
from gradation.language import localized
from gradation.queries.characteristic_figures import INDICES, line_figure, value_figure, value_name
from gradation.science.rounding import uncertainty_beside

__all__ = ["characteristic_values", "verdict_of"]

#: Printed whenever they could be determined; any other index only where a limit asks for it.
_ALWAYS = frozenset(
    {
        "coefficient_of_uniformity",
        "coefficient_of_curvature",
        "fineness_modulus",
        "grain_fineness_number",
    }
)
_NOT_DETERMINED = "n.d."


def characteristic_values(
    values: dict[str, Any], *, run: str = "", sizes_um: dict[str, float] | None = None
) -> tuple[Characteristic, ...]:
    """Give the D-values asked for, the indices that could be determined and all that has limits.

    `run` names the run where a certificate prints more than one; `sizes_um` are expanded
    uncertainties of sizes, where they are stated.
    """
    limits = _limits(values)
    sizes = {name: _size(name, found) for name, found in values["percentiles"].items()}
    limited = {name: _limited(name) for name in limits if name not in INDICES}
    drawn = sizes | {name: each for name, each in limited.items() if name not in sizes}
    for name in INDICES:
        value = values["characteristics"].get(name)
        if name in limits or (name in _ALWAYS and value is not None):
            drawn[name] = _index(name, value)
    spreads = sizes_um or {}
    return tuple(
        _with_uncertainty(replace(_with_limits(each, limits.get(name)), run=run), spreads.get(name))
        for name, each in drawn.items()
    )


def _with_uncertainty(drawn: Characteristic, spread_um: float | None) -> Characteristic:
    """Add the expanded uncertainty of a size, in its unit, no finer than the size is written."""
    if not spread_um or drawn.unit not in _PER_UM:
        return drawn
    spread = uncertainty_beside(spread_um * _PER_UM[drawn.unit], drawn.value)
    return replace(drawn, uncertainty=f"{spread:f}")


_PER_UM = {"µm": 1.0, "mm": 0.001}


def _limits(values: dict[str, Any]) -> dict[str, dict[str, Any]]:
    lines = (values["assessment"] or {}).get("lines", [])
    return {line["characteristic"]: line for line in lines if line["characteristic"]}


def _size(name: str, found: dict[str, Any]) -> Characteristic:
    passing = Decimal(str(found["passing_pct"])).normalize()
    formula = _formula(f"{passing:f}")
    if not found["size_um"]:
        return Characteristic(name, found["text"], "", formula)
    figure = value_figure(name, found["size_um"])
    return Characteristic(name, figure.text, figure.unit, formula)


def _formula(passing: str) -> str:
    return _("aperture at %(passing)s %% passing") % {"passing": localized(passing)}


def _limited(name: str) -> Characteristic:
    """Begin a D-value that only a limit asks for; its figure comes with the limit."""
    return Characteristic(value_name(name), _NOT_DETERMINED, "", _formula(name[1:]))


def _index(name: str, value: float | None) -> Characteristic:
    index = INDICES[name]
    if value is None:
        return Characteristic(_(index.words), _NOT_DETERMINED, "", _(index.formula))
    figure = value_figure(name, value)
    return Characteristic(_(index.words), figure.text, figure.unit, _(index.formula))


def _with_limits(drawn: Characteristic, line: dict[str, Any] | None) -> Characteristic:
    if line is None:
        return drawn
    figure = line_figure(line)
    return replace(
        drawn,
        value=figure.text or drawn.value,
        unit=figure.unit,
        lower=figure.minimum,
        upper=figure.maximum,
        verdict=verdict_of(line),
    )


def verdict_of(line: dict[str, Any]) -> Verdict:
    """Give the verdict of one line of a comparison, under its decision rule."""
    if line["is_inside"] is None:
        return Verdict.NOT_TESTED
    if line.get("outcome") == "not_decidable":
        return Verdict.UNDECIDED
    return Verdict.WITHIN if line["is_inside"] else Verdict.OUTSIDE
