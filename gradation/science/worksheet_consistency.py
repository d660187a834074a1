"""Faults between the fields of a worksheet whose fields are right one by one."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from gradation.science.gradation import Basis
from gradation.science.history import FEWEST_RUNS
from gradation.science.worksheet_form import Worksheet
from gradation.science.worksheet_reading import Fields
from gradation.science.worksheet_requests import MOST_CELLS, CrossCheckRequest, RuleName


def check_masses(fields: Fields, worksheet: Worksheet, *, partial: bool) -> None:
    """Note the masses and apertures of a worksheet that do not go together.

    Parameters
    ----------
    fields : Fields
        the worksheet as given; faults are noted here
    worksheet : Worksheet
        the same, its fields right one by one
    partial : bool
        whether masses may still be missing

    Returns
    -------
    None

    Raises
    ------
    Nothing
        Faults are noted in `fields`.

    Notes
    -----
    Repeated apertures, splits at no sieve, missing masses, dry masses in the wrong order.

    References
    ----------
    `worksheet.schema.json`.

    Examples
    --------
    >>> fields = Fields({}, "$", [])
    >>> check_masses(fields, Worksheet(()), partial=True)
    >>> [str(fault) for fault in fields.faults]
    ['$.fractions: is missing; a sieving needs at least one sieve.']
    """
    if not worksheet.fractions:
        fields.fault("fractions", "is missing; a sieving needs at least one sieve.")
    _check_apertures(fields, worksheet)
    if not partial:
        _check_all_weighed(fields, worksheet)
    _check_dry_mass(fields, worksheet, partial=partial)


def _check_apertures(fields: Fields, worksheet: Worksheet) -> None:
    """Repeated apertures, and splits at no sieve."""
    seen: dict[Decimal, int] = {}
    for number, fraction in enumerate(worksheet.fractions):
        if fraction.aperture_um in seen:
            first = seen[fraction.aperture_um]
            fields.fault(
                f"fractions[{number}].aperture_um",
                f"is the same as fractions[{first}]; put several masses of one sieve into "
                "increments_g.",
            )
        seen.setdefault(fraction.aperture_um, number)
    at: set[Decimal] = set()
    for number, split in enumerate(worksheet.splits):
        if split.below_um not in seen:
            fields.fault(f"splits[{number}].below_um", "is no sieve of the fractions.")
        if split.below_um in at:
            fields.fault(f"splits[{number}].below_um", "is entered twice.")
        at.add(split.below_um)


def _check_all_weighed(fields: Fields, worksheet: Worksheet) -> None:
    """Missing masses, and a portion of which nothing was found."""
    for number, fraction in enumerate(worksheet.fractions):
        if not fraction.increments_g:
            fields.fault(f"fractions[{number}].mass_g", "is missing; enter 0 for an empty sieve.")
    if worksheet.pan_g is None:
        fields.fault("pan_g", "is missing; enter 0 for an empty pan.")
    elif worksheet.is_fully_weighed and not any(
        (worksheet.pan_g, *(each.mass_g for each in worksheet.fractions))
    ):
        fields.fault("fractions", "all masses are zero, so nothing was sieved.")


def _check_dry_mass(fields: Fields, worksheet: Worksheet, *, partial: bool) -> None:
    """Dry masses that are missing, double, or in the wrong order."""
    is_moist = worksheet.moist_mass_g is not None or worksheet.moisture_pct is not None
    if is_moist and worksheet.dry_mass_g is not None:
        fields.fault("dry_mass_g", "give the dry mass or moist_mass_g with moisture_pct, not both.")
    elif is_moist and worksheet.base_dry_mass_g is None:
        fields.require("moist_mass_g", "moisture_pct")
    dry, washed = worksheet.base_dry_mass_g, worksheet.washed_dry_mass_g
    needs_dry = worksheet.basis is Basis.INITIAL_DRY or washed is not None
    if dry is None and needs_dry and not is_moist and not partial:
        fields.fault("dry_mass_g", "is missing; percentages are of the dry mass before washing.")
    if dry is not None and washed is not None and washed > dry:
        fields.fault("washed_dry_mass_g", "is larger than dry_mass_g; check which is which.")


def check_requests(fields: Fields, worksheet: Worksheet) -> None:
    """Note what is asked for beyond the table and does not go with the rest.

    Parameters
    ----------
    fields : Fields
        the worksheet as given; faults are noted here
    worksheet : Worksheet
        the same, its fields right one by one

    Returns
    -------
    None

    Raises
    ------
    Nothing
        Faults are noted in `fields`.

    Notes
    -----
    Sieves named that are not in the nest, named twice; a decision rule or a Monte Carlo check
    without an uncertainty; a history without the look it is for, too short, or of another nest.

    References
    ----------
    `worksheet.schema.json`.

    Examples
    --------
    >>> from gradation.science.worksheet_requests import DecisionRequest, Requests
    >>> fields = Fields({}, "$", [])
    >>> asked = Requests(decision=DecisionRequest(RuleName.GUARD_BAND))
    >>> check_requests(fields, Worksheet((), requests=asked))
    >>> [fault.path for fault in fields.faults]
    ['$.uncertainty']
    """
    requests = worksheet.requests
    nest = {each.aperture_um for each in worksheet.fractions}
    for path, apertures in _named_sieves(worksheet):
        _check_named(fields, path, apertures, nest)
    decision = requests.decision
    needs = decision is not None and decision.rule is not RuleName.PLAIN
    if (needs or requests.cross_check) and requests.uncertainty is None:
        asker = "the decision rule" if needs else "cross_check"
        fields.fault("uncertainty", f"is missing; {asker} needs the uncertainty of the result.")
    if requests.cross_check is not None:
        _check_draws(fields, worksheet, requests.cross_check)
    _check_history(fields, worksheet, nest)


def _named_sieves(worksheet: Worksheet) -> Iterator[tuple[str, list[Decimal]]]:
    """Every list that names sieves of the nest, with its path."""
    requests = worksheet.requests
    yield "apertures_found", [each.aperture_um for each in requests.apertures_found]
    yield "sensitivity", [each.aperture_um for each in requests.sensitivity]
    budget = requests.uncertainty
    if budget is not None:
        yield "uncertainty.apertures", [each.aperture_um for each in budget.apertures]
        yield "uncertainty.repeatability", [each.aperture_um for each in budget.repeatability]
        yield "uncertainty.splits", [each.below_um for each in budget.splits]


def _check_named(fields: Fields, path: str, named: list[Decimal], nest: set[Decimal]) -> None:
    """Sieves that are not in the nest, or named twice where once must do."""
    key = "below_um" if path.endswith("splits") else "aperture_um"
    for number, aperture_um in enumerate(named):
        if aperture_um not in nest:
            fields.fault(f"{path}[{number}].{key}", "is no sieve of the fractions.")
        elif path != "sensitivity" and aperture_um in named[:number]:
            fields.fault(f"{path}[{number}].{key}", "is entered twice.")


def _check_draws(fields: Fields, worksheet: Worksheet, asked: CrossCheckRequest) -> None:
    """More draws than one request may hold in memory."""
    values = len(worksheet.fractions) + len(worksheet.percentiles_pct)
    if asked.draws * values > MOST_CELLS:
        most = MOST_CELLS // values
        fields.fault("cross_check.draws", f"is too many for {values} values; at most {most}.")


def _check_history(fields: Fields, worksheet: Worksheet, nest: set[Decimal]) -> None:
    """A history that is not asked about, too short, or of another nest."""
    requests = worksheet.requests
    if requests.history and not requests.plausibility:
        fields.fault("plausibility", "is missing; a history is only looked at with it.")
    if requests.history and len(requests.history) < FEWEST_RUNS:
        fields.fault("history", f"needs {FEWEST_RUNS} runs or more to know what is usual.")
    for number, run in enumerate(requests.history):
        apertures = [each.aperture_um for each in run.fractions]
        if set(apertures) != nest or len(apertures) != len(nest):
            fields.fault(f"history[{number}].fractions", "has other sieves than this worksheet.")
        elif run.pan_g + sum(each.mass_g for each in run.fractions) == 0:
            fields.fault(f"history[{number}].fractions", "all masses are zero.")
