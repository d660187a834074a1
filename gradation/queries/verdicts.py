"""The verdict in one sentence of the trade's words, from a frozen comparison."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from gradation.language import localized
from gradation.queries.characteristic_figures import line_figure, value_name
from gradation.science.apertures import designation

__all__ = ["line_name", "verdict_sentence"]

Comparison = dict[str, Any]


def verdict_sentence(assessment: Comparison, specification: str) -> str:
    """Say what a comparison found and which limit is nearest, in one sentence.

    `assessment` is the calculation's own record: outcome and lines.
    """
    return f"{_said(assessment, specification).rstrip('. ')}."


def _said(assessment: Comparison, specification: str) -> str:
    lines = assessment["lines"]
    if assessment["outcome"] == "does_not_conform":
        outside = [line for line in lines if line["is_inside"] is False]
        return _("Outside %(specification)s: %(lines)s") % {
            "specification": specification,
            "lines": "; ".join(_outside(line) for line in outside),
        }
    if assessment["outcome"] == "not_decidable":
        near = [line for line in lines if line.get("outcome") == "not_decidable"]
        names = ", ".join(line_name(line) for line in near)
        return _(
            "Not decidable at this confidence against %(specification)s: too near at %(lines)s"
        ) % {"specification": specification, "lines": names}
    untested = [line_name(line) for line in lines if line["is_inside"] is None]
    if assessment["outcome"] != "conforms":
        return _("Undecided against %(specification)s: not tested at %(lines)s") % {
            "specification": specification,
            "lines": ", ".join(untested),
        }
    return _("Within %(specification)s") % {"specification": specification} + _nearest(lines)


def line_name(line: Comparison) -> str:
    """Name what a line limits, as the trade writes it."""
    if line["characteristic"]:
        return value_name(str(line["characteristic"]))
    name = localized(designation(Decimal(str(line["aperture_um"]))))
    if line["kind"] == "between":
        finer = localized(designation(Decimal(str(line["finer_um"]))))
        return _("%(coarser)s to %(finer)s") % {"coarser": name, "finer": finer}
    return _("%(sieve)s retained") % {"sieve": name} if line["kind"] == "retained" else name


@dataclass(frozen=True)
class _Shown:
    """A line's figure and limits as they are written, and the unit behind each."""

    text: str
    minimum: str
    maximum: str
    unit: str

    def near(self, end: str) -> str:
        """Give the distance between the figure and a limit, both as written."""
        return f"{abs(Decimal(end) - Decimal(self.text)):f}"


def _shown(line: Comparison) -> _Shown:
    if line["kind"] != "characteristic":
        return _Shown(line["reported"], line["min"] or "", line["max"] or "", " %")
    figure = line_figure(line)
    unit = f" {figure.unit}" if figure.unit else ""
    return _Shown(figure.text, figure.minimum, figure.maximum, unit)


def _outside(line: Comparison) -> str:
    shown = _shown(line)
    is_high = bool(shown.maximum) and (
        not shown.minimum or Decimal(shown.text) >= Decimal(shown.maximum)
    )
    limit = shown.maximum if is_high else shown.minimum
    if Decimal(shown.text) == Decimal(limit):  # a limit that is itself not inside
        said = _NOT_BELOW if is_high else _NOT_ABOVE
    else:
        said = _ABOVE if is_high else _BELOW
    return _(said) % {
        "what": line_name(line),
        "found": localized(shown.text) + shown.unit,
        "limit": localized(limit) + shown.unit,
    }


_ABOVE = gettext_noop("%(what)s %(found)s, above the limit %(limit)s")
_BELOW = gettext_noop("%(what)s %(found)s, below the limit %(limit)s")
_NOT_BELOW = gettext_noop("%(what)s %(found)s, not below the limit %(limit)s")
_NOT_ABOVE = gettext_noop("%(what)s %(found)s, not above the limit %(limit)s")


def _nearest(lines: list[Comparison]) -> str:
    # A limit that can only be met exactly (100 to 100 %) is never the interesting one.
    near = [line for line in lines if line["margin"] is not None and line["min"] != line["max"]]
    # Margins in different units cannot be ranked: percentages go before sizes and indices.
    of_one_unit = [line for line in near if line["kind"] != "characteristic"] or near[:1]
    if not of_one_unit:
        return ""
    line = min(of_one_unit, key=lambda one: Decimal(one["margin"]))
    shown = _shown(line)
    limit = shown.maximum if line["nearer_limit"] == "maximum" else shown.minimum
    return _("; nearest limit %(what)s (%(found)s, limit %(limit)s), margin %(margin)s") % {
        "what": line_name(line),
        "found": localized(shown.text) + shown.unit,
        "limit": localized(limit) + shown.unit,
        "margin": localized(shown.near(limit)) + shown.unit,
    }
