"""What a certificate says of a lot, where its specification judges several results together.

Only accepted results count here: a certificate rests on nothing that nobody has reviewed. The
single result is then no statement of conformity of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from gradation.documents.certificate_content import ComparedLine, Conformity, Outcome, Verdict
from gradation.language import localized
from gradation.models import LotRule, Run, Sample, SpecificationVersion
from gradation.queries.characteristic_figures import line_figure
from gradation.queries.lots import LotVerdict, sample_lot
from gradation.queries.specifications import DecisionWords, lot_words, plain_words
from gradation.queries.verdicts import line_name, verdict_sentence
from gradation.queries.worksheets import envelope_of, rounding_of
from gradation.science.envelopes import AssessmentRule, assess_values
from gradation.science.envelopes import Outcome as Found
from gradation.science.lots import LotLine
from gradation.science.rounding import round_reported, round_significant
from gradation.science.worksheet_output import assessment_as_json

__all__ = ["judges_lots", "lot_statements", "single_result_sentence"]

_ACCEPTED = (Run.State.ACCEPTED,)
_OUTCOMES = {Found.CONFORMS: Outcome.CONFORMS, Found.DOES_NOT_CONFORM: Outcome.DOES_NOT_CONFORM}
_VERDICTS = {Found.CONFORMS: Verdict.WITHIN, Found.DOES_NOT_CONFORM: Verdict.OUTSIDE}


def judges_lots(version: SpecificationVersion) -> bool:
    """Say whether a specification is held against several results together."""
    return version.lot_rule != LotRule.SINGLE


def lot_statements(samples: Iterable[Sample]) -> Iterator[Conformity]:
    """Give a statement for the lot of each sample, once where samples share a lot."""
    told: set[tuple[int | None, tuple[int, ...]]] = set()
    for sample in samples:
        lot = sample_lot(sample, _ACCEPTED)
        version = sample.specification_version
        if lot is None or version is None:
            continue
        key = (version.pk, tuple(run.pk for run in lot.runs))
        if key not in told:
            told.add(key)
            yield _statement(sample, version, lot)


def single_result_sentence(version: SpecificationVersion) -> str:
    """Say why one result decides nothing."""
    told = {"specification": str(version.specification), "rule": lot_words(version)}
    words = _("%(specification)s is held against %(rule)s; a single result does not decide it.")
    return words % told


def _statement(sample: Sample, version: SpecificationVersion, lot: LotVerdict) -> Conformity:
    decided = _rule_words(version)
    judged = lot.assessment
    compared = _compared(sample, version, lot)
    said = _sentence(version, lot, compared)
    outcome = Outcome.NOT_DECIDABLE if judged is None else _outcome(judged.outcome)
    return Conformity(
        specification=str(version.specification),
        version=str(version.version),
        clause=version.clause or version.source or _("all limits"),
        results_covered=_covered(version, lot),
        decision_rule=decided.rule,
        risk=decided.risk,
        outcome=outcome,
        sentence=" ".join(filter(None, (said, version.certificate_wording))),
        lines=tuple(_lines(lot, compared)),
        lot=lot.lot or lot_words(version),
    )


def _outcome(found: Found) -> Outcome:
    return _OUTCOMES.get(found, Outcome.NOT_DECIDABLE)


def _rule_words(version: SpecificationVersion) -> DecisionWords:
    """Name how the lot is decided; the scatter of its results enters, no uncertainty of each."""
    if version.lot_rule != LotRule.WITHIN_LIMITS:
        plain = plain_words()
        return DecisionWords(f"{lot_words(version)}; {plain.rule}", plain.risk)
    return DecisionWords(
        _("%(rule)s; the share is estimated from mean and scatter by the quality index")
        % {"rule": lot_words(version)},
        "",
    )


def _covered(version: SpecificationVersion, lot: LotVerdict) -> str:
    """Name the results that were taken together."""
    known = dict.fromkeys(each.sample.number for each in _taken(version, lot))
    samples = ", ".join(known) or "–"
    told = {"rule": lot_words(version), "lot": lot.lot, "samples": samples}
    if lot.lot and version.lot_rule != LotRule.MOVING_MEAN:
        words = _("%(rule)s: lot %(lot)s, samples %(samples)s")
    else:
        words = _("%(rule)s: samples %(samples)s")
    aside = _("verdicts beside single results in the tables decide nothing")
    return f"{words % told}; {aside}"


def _taken(version: SpecificationVersion, lot: LotVerdict) -> Iterable[Any]:
    is_moving = version.lot_rule == LotRule.MOVING_MEAN
    return lot.results[-version.lot_size :] if is_moving else lot.results


def _compared(sample: Sample, version: SpecificationVersion, lot: LotVerdict) -> dict[str, Any]:
    """Hold the lot's means against the limits, in the form of a run's own comparison."""
    means = [] if lot.assessment is None else [each.mean for each in lot.assessment.lines]
    lines = envelope_of(version) if means else ()
    rule = AssessmentRule(rounding=rounding_of(sample.procedure_version))
    return assessment_as_json(assess_values(means, lines, rule), None)


def _sentence(version: SpecificationVersion, lot: LotVerdict, compared: dict[str, Any]) -> str:
    name, judged = str(version.specification), lot.assessment
    if judged is None or judged.outcome not in _OUTCOMES:
        return _("Not decided yet against %(specification)s: %(why)s") % {
            "specification": name,
            "why": _why(version, lot),
        }
    if version.lot_rule != LotRule.WITHIN_LIMITS:
        return verdict_sentence(compared, name)
    worst = min(judged.lines, key=lambda line: line.share_within_pct or 0.0)
    place = judged.lines.index(worst)
    said = {
        "specification": name,
        "what": line_name(compared["lines"][place]),
        "share": localized(_share(worst)),
        "least": localized(f"{(version.lot_share_pct or Decimal(0)).normalize():f}"),
    }
    is_within = judged.outcome is Found.CONFORMS
    words = (
        _("Within %(specification)s: least share within limits at %(what)s")
        if is_within
        else _("Outside %(specification)s: too small a share within limits at %(what)s")
    )
    return f"{words} (%(share)s %%, %(least)s %%)." % said


def _why(version: SpecificationVersion, lot: LotVerdict) -> str:
    if lot.reason or len(lot.results) >= version.lot_size:
        return lot.why
    told = {"done": len(lot.results), "asked": version.lot_size}
    return _("%(done)s of %(asked)s results so far.") % told


def _lines(lot: LotVerdict, compared: dict[str, Any]) -> Iterator[ComparedLine]:
    """Lay out what the results of a lot say, limit by limit."""
    if lot.assessment is None:
        return
    for line, found in zip(lot.assessment.lines, compared["lines"], strict=True):
        figure = line_figure(found) if found["characteristic"] else None
        yield ComparedLine(
            what=line_name(found),
            value=(figure.text if figure else found["reported"]) or "n.d.",
            unit=figure.unit if figure else "%",
            lower=(figure.minimum if figure else found["min"]) or "",
            upper=(figure.maximum if figure else found["max"]) or "",
            verdict=_VERDICTS.get(line.outcome, Verdict.UNDECIDED),
            results=str(line.results),
            deviation=_deviation(line, figure.unit if figure else "%"),
            share_pct=_share(line),
        )


def _share(line: LotLine) -> str:
    return "" if line.share_within_pct is None else str(round_reported(line.share_within_pct, 1))


def _deviation(line: LotLine, unit: str) -> str:
    """Write a standard deviation with two digits, in the unit of the mean."""
    if line.sd is None:
        return ""
    size = line.sd / 1000 if unit == "mm" else line.sd
    return f"{round_significant(size, 2):f}" if size else "0"
