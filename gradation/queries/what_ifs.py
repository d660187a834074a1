"""A run's verdict looked at closely: each line's margin, what decides, and what if."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from gradation.errors import Fault, Invalid
from gradation.models import Run, SpecificationVersion
from gradation.queries.run_uncertainty import uncertainty_of
from gradation.queries.worksheets import run_worksheet
from gradation.science.apertures import parse_aperture
from gradation.science.errors import GradationError
from gradation.science.quantities import parse_decimal
from gradation.science.rounding_replay import Replay, replay, usual_roundings
from gradation.science.what_if import DRY_MASS, PAN, WASHED_DRY_MASS, Moved, WhatIf, would_it_pass
from gradation.science.worksheet import Evaluation, Worksheet, as_json, evaluate, parse_worksheet
from gradation.science.worksheet_requests import ApertureError

__all__ = [
    "RunVerdict",
    "deciding_line",
    "masses_of",
    "record_of",
    "replayed",
    "run_verdict",
    "what_if_of",
]

Comparison = dict[str, Any]


@dataclass(frozen=True)
class RunVerdict:
    """A run against its specification with its uncertainty, and with something moved."""

    run: Run
    specification: SpecificationVersion | None
    evaluation: Evaluation
    figures: Comparison
    moved: Moved | None

    @property
    def assessment(self) -> Comparison | None:
        """Give the comparison, with the other one beside it where something was moved."""
        if self.moved is not None:
            return self.moved.assessment
        found: Comparison | None = self.figures["assessment"]
        return found


def record_of(run: Run) -> Worksheet:
    """Give the raw record of a run: as frozen when it was handed over, else as it stands."""
    results = list(run.results.all())
    if run.is_editable or not results:
        return run_worksheet(run)
    return parse_worksheet(results[0].inputs)


def _with_uncertainty(run: Run, worksheet: Worksheet) -> Worksheet:
    """Ask for the uncertainty too, where the rule did not: for the eye, not the verdict."""
    if worksheet.requests.uncertainty is not None:
        return worksheet
    asked = replace(worksheet.requests, uncertainty=uncertainty_of(run))
    return replace(worksheet, requests=asked)


def run_verdict(run: Run, what_if: WhatIf | None = None) -> RunVerdict:
    """Give the verdict of a run from `find_run`, and what it would be with something moved.

    Refuses (`Invalid`) masses from which nothing can be computed, and a what-if that cannot be.
    """
    worksheet = _with_uncertainty(run, record_of(run))
    try:
        evaluation = evaluate(worksheet, partial=True)
        moved = (
            would_it_pass(worksheet, what_if)
            if what_if is not None and what_if.asks_anything
            else None
        )
    except GradationError as error:
        raise Invalid.one("what_if", _said(error), code="cannot-compute") from error
    specification = run.portion.sample.specification_version
    return RunVerdict(run, specification, evaluation, as_json(evaluation), moved)


def _said(error: GradationError) -> str:
    """Say a refusal without the path that only a worksheet's writer knows."""
    faults = getattr(error, "faults", None)
    return " ".join(fault.message for fault in faults) if faults else str(error)


def deciding_line(assessment: Comparison) -> int | None:
    """Give the place of the line that decides a comparison; None when no line has a margin.

    Of the lines that say what the whole says, the one with the smallest margin. Limits that can
    only be met exactly never decide while another does; percentages go before other units.
    """
    outcome = assessment["outcome"]
    said = [
        (place, line)
        for place, line in enumerate(assessment["lines"])
        if line["margin"] is not None and line["outcome"] == outcome
    ]
    loose = [each for each in said if each[1]["min"] != each[1]["max"]] or said
    of_one_unit = [each for each in loose if not each[1]["characteristic"]] or loose
    nearest = min(of_one_unit, key=lambda each: Decimal(each[1]["margin"]), default=None)
    return None if nearest is None else nearest[0]


def masses_of(worksheet: Worksheet) -> list[tuple[str, Decimal]]:
    """List the masses that a what-if may move, by name, with what was weighed."""
    named = [
        (DRY_MASS, worksheet.dry_mass_g),
        (WASHED_DRY_MASS, worksheet.washed_dry_mass_g),
        *(
            (f"{fraction.aperture_um.normalize():f}", fraction.mass_g)
            for fraction in worksheet.coarse_to_fine
        ),
        (PAN, worksheet.pan_g),
    ]
    return [(name, mass_g) for name, mass_g in named if mass_g is not None]


def what_if_of(asked: Mapping[str, str]) -> WhatIf:
    """Read a what-if from the words of an address.

    `sieve` (125 µm, or micrometres) with `error_um`; `mass_of` with `mass_change_g`. Refuses
    (`Invalid`) every word that cannot be read, by its name.
    """
    faults: list[Fault] = []
    error_um = _figure(asked, "error_um", faults)
    change_g = _figure(asked, "mass_change_g", faults)
    aperture_um = _sieve(asked.get("sieve", ""), faults)
    mass_of = asked.get("mass_of", "")
    if error_um and aperture_um is None and not faults:
        faults.append(Fault("sieve", "Say which sieve is off by this much.", "sieve-missing"))
    if change_g and not mass_of:
        faults.append(Fault("mass_of", "Say which mass is off by this much.", "mass-missing"))
    if faults:
        raise Invalid(faults)
    error = ApertureError(aperture_um, error_um) if aperture_um and error_um else None
    return WhatIf(error, mass_of, change_g or Decimal(0))


def _figure(asked: Mapping[str, str], name: str, faults: list[Fault]) -> Decimal | None:
    text = asked.get(name, "").strip()
    try:
        return parse_decimal(text) if text else None
    except GradationError as error:
        faults.append(Fault(name, str(error), "not-a-number"))
        return None


def _sieve(text: str, faults: list[Fault]) -> Decimal | None:
    try:
        if not text.strip():
            return None
        is_bare = text.replace(".", "", 1).isdigit()
        return parse_decimal(text) if is_bare else parse_aperture(text)
    except GradationError as error:
        faults.append(Fault("sieve", str(error), "not-a-sieve"))
        return None


def replayed(run: Run) -> Replay | None:
    """Give the run's record under other rounding rules; None while it is not weighed to the end."""
    worksheet = record_of(run)
    fine_um = next((rule.aperture_um for rule in worksheet.rounding.finer), None)
    sizes = [fraction.aperture_um for fraction in worksheet.fractions]
    finest_um = fine_um or min(sizes, default=None)
    if not worksheet.is_fully_weighed or finest_um is None:
        return None
    try:
        return replay(worksheet, usual_roundings(finest_um))
    except GradationError:
        return None
