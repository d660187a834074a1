"""What a certificate says of each run beyond the table: its record, its uncertainty, its verdicts.

Figures come from the frozen result. Only where a report form rounds in its own way are they
computed again from the frozen record, and never so that a verdict would be another.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from gradation.documents.certificate_content import (
    ComparedLine,
    Conformity,
    Outcome,
    RunRecord,
)
from gradation.errors import Invalid
from gradation.language import spoken
from gradation.models import Assessment, DecisionRule, ReportForm, Result, Run, SpecificationVersion
from gradation.queries.characteristic_figures import line_figure
from gradation.queries.run_uncertainty import decision_of, uncertainty_of
from gradation.queries.specifications import decision_words
from gradation.queries.verdicts import line_name, verdict_sentence
from gradation.queries.worksheets import envelope_of, missing_rule_of
from gradation.science.envelopes import LineKind
from gradation.science.errors import GradationError
from gradation.science.rounding import (
    FURTHER_THAN_PASSING,
    Rounding,
    RoundingMode,
    uncertainty_beside,
)
from gradation.science.worksheet import Worksheet, as_json, evaluate, parse_worksheet
from gradation.science.worksheet_requests import Requests
from gradation.science.worksheet_writing import worksheet_json
from gradation.services.certificate_lots import (
    judges_lots,
    lot_statements,
    single_result_sentence,
)
from gradation.services.certificate_values import verdict_of

__all__ = ["Computed", "Uncertainty", "computed_run", "conformity_of", "record_of", "why_stated"]

Values = dict[str, Any]
COVERAGE = 2


@dataclass(frozen=True)
class Uncertainty:
    """The expanded uncertainty of a run: of passing by aperture, of sizes by name."""

    passing_pct: dict[Decimal, str]
    sizes_um: dict[str, float]

    @classmethod
    def none(cls) -> Uncertainty:
        """Give the uncertainty of a run of which none can be stated."""
        return cls({}, {})


@dataclass(frozen=True)
class Computed:
    """A run as its certificate prints it: result, figures, record, uncertainty."""

    run: Run
    result: Result
    values: Values
    worksheet: Worksheet
    uncertainty: Uncertainty
    is_near_limit: bool


def computed_run(run: Run, form: ReportForm) -> Computed:
    """Give a run from `runs_for_certificate` with its figures as the form writes them.

    Refuses (`Invalid`) a rounding of the form by which a verdict would be another.
    """
    result = next(iter(run.results.all()))
    worksheet = parse_worksheet(result.inputs)
    values = result.values
    if form.passing_decimals is not None:
        mode = RoundingMode(form.rounding_mode)
        worksheet = replace(worksheet, rounding=Rounding(form.passing_decimals, mode))
        values = _values_of(worksheet)
        _refuse_another_verdict(run, form, result.values, values)
    known = _values_of(_asking_uncertainty(run, worksheet))
    return Computed(
        run=run,
        result=result,
        values=values,
        worksheet=worksheet,
        uncertainty=_uncertainty(known),
        is_near_limit=any(_is_near(line) for line in _lines(known)),
    )


def _values_of(worksheet: Worksheet) -> Values:
    try:
        return as_json(evaluate(worksheet))
    except GradationError as error:
        raise Invalid.one("runs", str(error), code="cannot-compute") from error


def _asking_uncertainty(run: Run, worksheet: Worksheet) -> Worksheet:
    if worksheet.requests.uncertainty is not None:
        return worksheet
    return replace(worksheet, requests=replace(worksheet.requests, uncertainty=uncertainty_of(run)))


def _refuse_another_verdict(run: Run, form: ReportForm, frozen: Values, printed: Values) -> None:
    for was, now in zip(_lines(frozen), _lines(printed), strict=True):
        if was["is_inside"] != now["is_inside"]:
            msg = (
                f"By the rounding of {form} run {run} would be judged otherwise at "
                f"{line_name(was)} ({now['reported']} against {was['reported']} %). Let the form "
                "round as the procedure does."
            )
            raise Invalid.one("report_form", msg, code="rounding-moves-verdict")


def _lines(values: Values) -> list[Values]:
    return list((values["assessment"] or {}).get("lines", []))


def _is_near(line: Values) -> bool:
    """Say whether a limit lies within the expanded uncertainty of what was found (7.8.3.1 c)."""
    if line["margin"] is None or not line["u"]:
        return False
    return abs(float(line["margin"])) <= COVERAGE * float(line["u"])


def _uncertainty(known: Values) -> Uncertainty:
    """Give the uncertainty of a run, each by the passing printed beside it."""
    found = known["uncertainty"]
    if found is None or "rows" not in found:
        return Uncertainty.none()
    printed = {row["aperture_um"]: row["passing_reported"] for row in known["table"]}
    passing = {
        Decimal(str(size)): _spread(row["U_pct"], printed[size])
        for row in found["rows"]
        if printed.get(size := row["aperture_um"])
    }
    sizes = {name: each["U_um"] for name, each in found["sizes"].items() if each["U_um"]}
    return Uncertainty(passing, sizes)


def _spread(spread_pct: float, passing: str) -> str:
    return f"{uncertainty_beside(spread_pct, passing, FURTHER_THAN_PASSING):f}"


def why_stated(computed: Sequence[Computed], form: ReportForm, *, asked: bool) -> str:
    """Say why the uncertainty is stated; '' when nothing calls for it (7.8.3.1 c)."""
    if not any(each.uncertainty.passing_pct for each in computed):
        return ""
    rules = {
        assessment.specification_version.decision_rule
        for each in computed
        for assessment in each.result.assessments.all()
    }
    reasons = (
        (_("the customer asked for it"), asked),
        (_("it is relevant to the use of the results"), form.states_uncertainty),
        (_("the decision rule uses it"), bool(rules - {DecisionRule.PLAIN.value})),
        (_("a result lies near a limit"), any(each.is_near_limit for each in computed)),
    )
    said = [words for words, holds in reasons if holds]
    if not said:
        return ""
    return _(
        "U is the expanded uncertainty, coverage factor 2, about 95 %%: weighing and apertures; "
        "sampling and division are not in it. Stated because %(reasons)s."
    ) % {"reasons": ", ".join(said)}


def record_of(each: Computed, label: str) -> RunRecord:
    """Give the raw record of a run, from which a reader can compute its table again."""
    specification = each.run.portion.sample.specification_version
    return RunRecord(
        run=str(each.run),
        table=label,
        sample=each.run.portion.sample.number,
        worksheet=worksheet_json(each.worksheet),
        inputs_sha256=each.result.inputs_digest,
        science_version=each.result.science_version,
        specification=str(specification) if specification else "",
    )


def conformity_of(
    computed: Sequence[Computed], further: Sequence[SpecificationVersion]
) -> Iterator[Conformity]:
    """Give the statements of conformity: with the sample's specification, then with others.

    Where a specification judges several results together, the lot's statement takes the place of
    those of its single results.
    """
    for each in computed:
        for assessment in each.result.assessments.all():
            if not judges_lots(assessment.specification_version):
                yield _frozen_statement(each, assessment)
    yield from lot_statements(each.run.portion.sample for each in computed)
    for version in further:
        for each in computed:
            yield _further_statement(each, version)


def _frozen_statement(each: Computed, assessment: Assessment) -> Conformity:
    version = assessment.specification_version
    compared = {"outcome": assessment.outcome, "lines": assessment.lines}
    sentence = assessment.sentence
    if spoken() != "en":
        sentence = verdict_sentence(compared, str(version.specification))
    return _statement(each, version, compared, sentence)


def _further_statement(each: Computed, version: SpecificationVersion) -> Conformity:
    """Hold a run against a specification that is not its sample's own."""
    asked = Requests()
    if version.decision_rule != DecisionRule.PLAIN:
        asked = Requests(uncertainty=uncertainty_of(each.run), decision=decision_of(version))
    worksheet = replace(
        each.worksheet,
        envelope=envelope_of(version),
        missing_aperture=missing_rule_of(version),
        requests=asked,
    )
    compared = _values_of(worksheet)["assessment"]
    sentence = verdict_sentence(compared, str(version.specification))
    said = _statement(each, version, compared, sentence)
    if judges_lots(version):
        alone = single_result_sentence(version)
        said = replace(said, outcome=Outcome.NOT_DECIDABLE, sentence=alone)
    return replace(said, lines=tuple(_compared_lines(each, compared["lines"])))


_OUTCOMES = {
    "conforms": Outcome.CONFORMS,
    "does_not_conform": Outcome.DOES_NOT_CONFORM,
}


def _statement(
    each: Computed, version: SpecificationVersion, compared: Values, sentence: str
) -> Conformity:
    decided = decision_words(version)
    return Conformity(
        specification=str(version.specification),
        version=str(version.version),
        clause=version.clause or version.source or _("all limits"),
        results_covered=_("%(results)s of run %(run)s")
        % {"results": _covered(compared["lines"]), "run": each.run},
        decision_rule=decided.rule,
        risk=decided.risk,
        outcome=_OUTCOMES.get(compared["outcome"], Outcome.NOT_DECIDABLE),
        sentence=" ".join(filter(None, (sentence, version.certificate_wording))),
    )


def _covered(lines: Iterable[Values]) -> str:
    of_values = {line["kind"] == LineKind.CHARACTERISTIC for line in lines}
    words = {False: _("percentages passing"), True: _("characteristic values")}
    return _(" and ").join(words[kind] for kind in sorted(of_values))


def _compared_lines(each: Computed, lines: Iterable[Values]) -> Iterator[ComparedLine]:
    for line in lines:
        is_value = bool(line["characteristic"])
        figure = line_figure(line) if is_value else None
        yield ComparedLine(
            what=line_name(line),
            value=(figure.text if figure else line["reported"]) or "n.d.",
            unit=figure.unit if figure else "%",
            lower=(figure.minimum if figure else line["min"]) or "",
            upper=(figure.maximum if figure else line["max"]) or "",
            verdict=verdict_of(line),
        )
