"""Freeze what the calculation gives for a run, and how it compares with the specification."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from typing import Any

from django.db import models

from gradation.errors import Fault, Invalid
from gradation.models import Assessment, Result, Run
from gradation.queries.verdicts import verdict_sentence
from gradation.queries.worksheets import run_worksheet
from gradation.science import SCIENCE_VERSION
from gradation.science.descriptions import Description
from gradation.science.errors import GradationError
from gradation.science.worksheet import Evaluation, as_json, evaluate
from gradation.science.worksheet_writing import worksheet_json
from gradation.services import clock
from gradation.services.bulk_rows import insert_rows
from gradation.services.result_figures import keep_figures, keep_first_figures

__all__ = ["digest_of_inputs", "freeze_first_results", "freeze_result"]


def freeze_result(run: Run) -> Result:
    """Compute a run and keep the result under its next version.

    Refuses (`Invalid`) masses from which nothing can be computed, in the words of the calculation.
    The caller's transaction and ledger entry cover it.
    """
    try:
        result, _ = _computed(run)
    except GradationError as error:
        raise Invalid(Fault("readings", str(error), "cannot-compute")) from error
    last = run.results.aggregate(last=models.Max("version"))["last"] or 0
    result.version = last + 1
    result.save(force_insert=True)
    keep_figures(result)
    if assessment := _assessment(result):
        assessment.save(force_insert=True)
    return result


def freeze_first_results(runs: Sequence[Run]) -> tuple[dict[Run, Evaluation], dict[Run, str]]:
    """Compute runs that have no result yet, in bulk; give what came out, and why others failed.

    A run that cannot be computed gets no result. The caller's transaction and ledger cover it.
    """
    computed, evaluations, faults = [], {}, {}
    for run in runs:
        try:
            result, evaluations[run] = _computed(run)
        except GradationError as error:
            faults[run] = str(error)
        else:
            computed.append(result)
    Result.objects.bulk_create(computed)
    keep_first_figures(computed)
    found = (_assessment(result) for result in computed)
    insert_rows(each for each in found if each)
    return evaluations, faults


def _computed(run: Run) -> tuple[Result, Evaluation]:
    """Compute a run; the result is not stored yet."""
    worksheet = run_worksheet(run, describe=tuple(Description))
    inputs = worksheet_json(worksheet)
    evaluation = evaluate(worksheet)
    values = as_json(evaluation)
    result = Result(
        run=run,
        inputs=inputs,
        inputs_digest=digest_of_inputs(inputs),
        science_version=SCIENCE_VERSION,
        values=values,
        curve=[[row["aperture_um"], row["passing_pct"]] for row in values["table"]],
        computed_at=clock.now(),
    )
    return result, evaluation


def digest_of_inputs(inputs: dict[str, Any]) -> str:
    """Compute the SHA-256 of a worksheet's canonical form."""
    canonical = json.dumps(inputs, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(canonical.encode()).hexdigest()


def _assessment(result: Result) -> Assessment | None:
    specification = result.run.portion.sample.specification_version
    compared = result.values["assessment"]
    if specification is None or compared is None:
        return None
    return Assessment(
        result=result,
        specification_version=specification,
        decision_rule=specification.decision_rule,
        outcome=compared["outcome"],
        lines=compared["lines"],
        sentence=verdict_sentence(compared, str(specification.specification))[:400],
    )
