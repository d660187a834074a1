"""Would it still pass: the same record with one sieve's aperture or one mass moved."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from gradation.science.apertures import designation
from gradation.science.errors import NotDeterminable, OutOfRange
from gradation.science.worksheet_evaluation import evaluate
from gradation.science.worksheet_form import Fraction, Worksheet
from gradation.science.worksheet_output import as_json
from gradation.science.worksheet_requests import ApertureError
from gradation.science.worksheet_result import Evaluation

DRY_MASS, WASHED_DRY_MASS, PAN = "dry_mass", "washed_dry_mass", "pan"
"""Names of masses that are no sieve's; a fraction is named by its aperture in µm."""


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What is moved: a sieve's true aperture off its nominal one, a mass off its reading."""

    aperture: ApertureError | None = None
    mass_of: str = ""
    """`dry_mass`, `washed_dry_mass`, `pan`, or an aperture in µm."""
    mass_change_g: Decimal = Decimal(0)

    @property
    def asks_anything(self) -> bool:
        """Whether anything is moved at all."""
        return self.aperture is not None or bool(self.mass_of and self.mass_change_g)


@dataclass(frozen=True, slots=True)
class Moved:
    """The record, and the record with what was moved."""

    before: Evaluation
    after: Evaluation
    """With the mass moved; the aperture is in `passing_pct` and `assessment`."""
    passing_pct: tuple[float | None, ...]
    """Passing at each sieve if it was so, coarse to fine."""
    assessment: dict[str, Any] | None
    """Outcome, lines and whether each flips; None without an envelope."""
    sentence: str
    """Where an error of the aperture lands; empty when none was moved."""


def would_it_pass(worksheet: Worksheet, what_if: WhatIf) -> Moved:
    """Give a record beside itself with one aperture or one mass moved.

    Parameters
    ----------
    worksheet : Worksheet
        completely weighed, with its envelope
    what_if : WhatIf
        what is moved and by how much

    Returns
    -------
    Moved
        both evaluations, passing and assessment if it was so

    Raises
    ------
    NotDeterminable
        while masses are missing
    OutOfRange
        when there is no such mass, or it would fall below zero
    WorksheetFaults
        when an aperture would pass its neighbour's, or there is no such sieve
    GradationError
        when the masses are impossible together

    Notes
    -----
    A mass is moved first, then the aperture, under the decision rule and the sources of
    uncertainty of the record. With complete sieving an aperture moves its own point only.

    References
    ----------
    As `sensitivity.aperture_shift` and `worksheet_evaluation.evaluate`.

    Examples
    --------
    >>> from gradation.science.worksheet import parse_worksheet
    >>> sheet = parse_worksheet({"dry_mass_g": "100", "pan_g": "20", "envelope": [
    ...     {"aperture_um": 200, "max": "55"}], "fractions": [
    ...     {"aperture_um": 400, "mass_g": "10"}, {"aperture_um": 200, "mass_g": "36"},
    ...     {"aperture_um": 100, "mass_g": "34"}]})
    >>> found = would_it_pass(sheet, WhatIf(mass_of="200", mass_change_g=Decimal(-2)))
    >>> found.assessment["outcome"], found.assessment["outcome_if_so"]
    ('conforms', 'does_not_conform')
    """
    before = evaluate(worksheet, partial=True)
    if not before.is_complete or before.gradation is None:
        raise NotDeterminable("The run is not weighed to the end yet; nothing can be moved.")
    moved = _with_mass(worksheet, what_if)
    if what_if.aperture is None:
        after = evaluate(moved)
        passing = tuple(row.passing_pct for row in after.rows)
        return Moved(before, after, passing, _beside(before, after, None), "")
    asked = replace(moved.requests, sensitivity=(what_if.aperture,))
    after = evaluate(_known(replace(moved, requests=asked), what_if.aperture))
    shift = after.extras["sensitivity"][0]
    passing = tuple(row["passing_if_so_pct"] for row in shift["rows"])
    return Moved(
        before, after, passing, _beside(before, after, shift["assessment"]), shift["sentence"]
    )


def _known(worksheet: Worksheet, error: ApertureError) -> Worksheet:
    if error.aperture_um not in {each.aperture_um for each in worksheet.fractions}:
        raise OutOfRange(f"{designation(error.aperture_um)} is not in the nest of this run.")
    return worksheet


def _with_mass(worksheet: Worksheet, what_if: WhatIf) -> Worksheet:
    """The worksheet with one mass moved."""
    if not what_if.mass_of or not what_if.mass_change_g:
        return worksheet
    change_g = what_if.mass_change_g
    if what_if.mass_of == PAN:
        return replace(worksheet, pan_increments_g=(_moved(worksheet.pan_g, change_g),))
    if what_if.mass_of == DRY_MASS:
        return replace(worksheet, dry_mass_g=_moved(worksheet.dry_mass_g, change_g))
    if what_if.mass_of == WASHED_DRY_MASS:
        return replace(worksheet, washed_dry_mass_g=_moved(worksheet.washed_dry_mass_g, change_g))
    return replace(worksheet, fractions=_fractions(worksheet, what_if.mass_of, change_g))


def _fractions(worksheet: Worksheet, name: str, change_g: Decimal) -> tuple[Fraction, ...]:
    by_name = {f"{each.aperture_um.normalize():f}": each for each in worksheet.fractions}
    if name not in by_name:
        raise OutOfRange(f"There is no mass {name[:24]!r} in this run.")
    chosen = by_name[name]
    changed = replace(chosen, increments_g=(_moved(chosen.mass_g, change_g),))
    return tuple(changed if each is chosen else each for each in worksheet.fractions)


def _moved(mass_g: Decimal | None, change_g: Decimal) -> Decimal:
    if mass_g is None:
        raise OutOfRange("This mass was not weighed in this run.")
    if mass_g + change_g < 0:
        raise OutOfRange(f"The mass would fall to {mass_g + change_g} g; a mass is not negative.")
    return mass_g + change_g


def _beside(
    before: Evaluation, after: Evaluation, shifted: dict[str, Any] | None
) -> dict[str, Any] | None:
    """The assessment of the record beside that of the moved one, line by line."""
    own: dict[str, Any] | None = as_json(before)["assessment"]
    later = as_json(after)["assessment"]
    if own is None or later is None:
        return None
    if shifted is not None:
        later = {
            "outcome": shifted["outcome_if_so"],
            "lines": [
                {
                    "value": line["value_if_so"],
                    "reported": line["reported_if_so"],
                    "margin": line["margin_if_so"],
                    "outcome": line["outcome_if_so"],
                }
                for line in shifted["lines"]
            ],
        }
    lines = [
        line
        | {f"{name}_if_so": moved[name] for name in ("value", "reported", "margin", "outcome")}
        | {"is_flipped": line["outcome"] != moved["outcome"]}
        for line, moved in zip(own["lines"], later["lines"], strict=True)
    ]
    return own | {
        "lines": lines,
        "outcome_if_so": later["outcome"],
        "is_flipped": own["outcome"] != later["outcome"],
    }
