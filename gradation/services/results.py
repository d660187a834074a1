"""Freeze what the calculation gives for a run, and how it compares with the specification."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from django.db import models

from gradation.errors import Fault, Invalid
from gradation.models import Assessment, Result, Run
from gradation.queries.verdicts import verdict_sentence
from gradation.queries.worksheets import run_worksheet
from gradation.science import SCIENCE_VERSION
from gradation.science.descriptions import Description
from gradation.science.errors import GradationError
from gradation.science.worksheet import Evaluation, evaluate
from gradation.science.worksheet_writing import worksheet_json
from gradation.services import clock

__all__ = ["digest_of_inputs", "freeze_result"]


def freeze_result(run: Run) -> Result:
    """Compute a run and keep the result under its next version.

    Refuses (`Invalid`) masses from which nothing can be computed, in the words of the calculation.
    The caller's transaction and ledger entry cover it.
    """
    worksheet = run_worksheet(run, describe=tuple(Description))
    try:
        evaluation = evaluate(worksheet)
    except GradationError as error:
        raise Invalid(Fault("readings", str(error), "cannot-compute")) from error
    inputs = worksheet_json(worksheet)
    values = evaluation.as_json()
    last = run.results.aggregate(last=models.Max("version"))["last"] or 0
    result = Result.objects.create(
        run=run,
        version=last + 1,
        inputs=inputs,
        inputs_digest=digest_of_inputs(inputs),
        science_version=SCIENCE_VERSION,
        values=values,
        curve=[[row["aperture_um"], row["passing_pct"]] for row in values["table"]],
        computed_at=clock.now(),
    )
    _freeze_assessment(result, evaluation)
    return result


def digest_of_inputs(inputs: dict[str, Any]) -> str:
    """Compute the SHA-256 of a worksheet's canonical form."""
    canonical = json.dumps(inputs, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(canonical.encode()).hexdigest()


def _freeze_assessment(result: Result, evaluation: Evaluation) -> None:
    specification = result.run.portion.sample.specification_version
    assessment = evaluation.as_json()["assessment"]
    if specification is None or assessment is None:
        return
    Assessment.objects.create(
        result=result,
        specification_version=specification,
        decision_rule=specification.decision_rule,
        outcome=assessment["outcome"],
        lines=assessment["lines"],
        sentence=verdict_sentence(assessment, str(specification.specification))[:400],
    )
