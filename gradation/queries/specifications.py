"""Specifications as screens and the interface read them: one version, what waits, its words."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Prefetch, QuerySet
from django.utils.translation import gettext as _

from gradation.language import localized
from gradation.models import (
    DecisionRule,
    LotRule,
    Specification,
    SpecificationLine,
    SpecificationVersion,
    VersionState,
)
from gradation.queries.worksheets import envelope_line
from gradation.science.confidence import FROM_MEMORY
from gradation.science.decisions import DecisionRule as Rule
from gradation.science.decisions import Rule as RuleName
from gradation.science.decisions import wrong_acceptance_risk
from gradation.science.envelope_consistency import line_words

__all__ = [
    "DecisionWords",
    "decision_words",
    "figures_from_memory",
    "find_specification",
    "find_version",
    "lot_words",
    "plain_words",
    "replaceable_versions",
    "specifications_listed",
    "spoken_line",
    "versions_awaiting_approval",
]


def specifications_listed() -> QuerySet[Specification]:
    """List specifications with their versions, newest first, and the lines of each."""
    versions = SpecificationVersion.objects.order_by("-version").prefetch_related("lines")
    return Specification.objects.prefetch_related(Prefetch("versions", versions))


def find_specification(pk: int) -> Specification | None:
    """Give one specification."""
    return Specification.objects.filter(pk=pk).first()


def find_version(pk: int) -> SpecificationVersion | None:
    """Give one version with its lines and the people who stand behind it."""
    return (
        SpecificationVersion.objects.select_related(
            "specification", "replaces__specification", "drafted_by", "proposed_by", "approved_by"
        )
        .prefetch_related("lines")
        .filter(pk=pk)
        .first()
    )


def versions_awaiting_approval() -> QuerySet[SpecificationVersion]:
    """List the proposed versions, the longest waiting first."""
    return (
        SpecificationVersion.objects.filter(state=VersionState.PROPOSED)
        .select_related("specification", "proposed_by")
        .order_by("proposed_at", "id")
    )


def replaceable_versions(specification: Specification) -> QuerySet[SpecificationVersion]:
    """List the versions that a draft of this specification may replace."""
    return SpecificationVersion.objects.filter(
        specification=specification.pk, state=VersionState.RELEASED
    ).select_related("specification")


def spoken_line(line: SpecificationLine) -> str:
    """Say one limit in words, as the ledger keeps it."""
    low, high = (
        "" if limit is None else f"{limit.normalize():f}" for limit in (line.minimum, line.maximum)
    )
    return f"{line_words(envelope_line(line))}: {low}..{high}"


def figures_from_memory(version: SpecificationVersion) -> str:
    """Name the limits whose figures were set down from memory; empty when there are none."""
    return ", ".join(
        line_words(envelope_line(line)) for line in version.lines.all() if line.mark == FROM_MEMORY
    )


@dataclass(frozen=True)
class DecisionWords:
    """A decision rule as certificate and screen name it, and the risk it leaves."""

    rule: str
    risk: str


def decision_words(version: SpecificationVersion) -> DecisionWords:
    """Say the decision rule of a version and its risk of a wrong 'conforms'."""
    confidence = localized(_plain(100 * version.confidence))
    if version.decision_rule == DecisionRule.PLAIN:
        return plain_words()
    if version.decision_rule == DecisionRule.GUARD_BAND:
        times = "" if version.guard_factor == 1 else localized(_plain(version.guard_factor))
        risk = wrong_acceptance_risk(
            Rule(RuleName.GUARD_BAND, float(version.confidence), float(version.guard_factor))
        )
        return DecisionWords(
            _guard_band_words(times, confidence),
            _at_most() % {"risk": localized(f"{100 * risk:.2g}")},
        )
    return DecisionWords(
        _("conformance probability of at least %(confidence)s %%") % {"confidence": confidence},
        _at_most() % {"risk": localized(_plain(100 - 100 * version.confidence))},
    )


def plain_words() -> DecisionWords:
    """Say plain acceptance and its risk."""
    return DecisionWords(
        _("plain acceptance: the reported value is compared with the limit"),
        _("up to 50 %% of being wrong when the true value lies at the limit") % {},
    )


def _at_most() -> str:
    return _("at most %(risk)s %% of being wrong")


def _guard_band_words(times: str, confidence: str) -> str:
    if not times:
        words = _("guard band of the expanded uncertainty at %(confidence)s %% confidence")
        return words % {"confidence": confidence}
    words = _(
        "guard band of %(times)s times the expanded uncertainty at %(confidence)s %% confidence"
    )
    return words % {"times": times, "confidence": confidence}


def lot_words(version: SpecificationVersion) -> str:
    """Say which results the limits are held against."""
    told = {"n": version.lot_size, "share": localized(_plain(version.lot_share_pct or Decimal(0)))}
    if version.lot_rule == LotRule.MEAN:
        return _("the mean of %(n)s results of a lot") % told
    if version.lot_rule == LotRule.MOVING_MEAN:
        return _("the moving mean of %(n)s results") % told
    if version.lot_rule == LotRule.WITHIN_LIMITS:
        words = _("at least %(share)s %% of the lot within limits, from %(n)s results or more")
        return words % told
    return _("each result on its own")


def _plain(value: Decimal) -> str:
    return f"{value.normalize():f}"
