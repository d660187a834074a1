"""The same raw record reported by other rounding rules: which cells and verdicts would differ."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from gradation.science.envelope_form import Assessment
from gradation.science.errors import NotDeterminable
from gradation.science.rounding import FinerRule, Rounding, RoundingMode
from gradation.science.worksheet_evaluation import evaluate
from gradation.science.worksheet_form import Worksheet

FINES = FinerRule(Decimal(75), Decimal(10), 1)
"""ASTM C136-14, 10.2: at 75 µm below 10 % to 0.1 % (public copy)."""


@dataclass(frozen=True, slots=True)
class NamedRounding:
    """A rounding rule under the name by which people speak of it."""

    name: str
    rounding: Rounding


@dataclass(frozen=True, slots=True)
class ReplayedCell:
    """Passing as one rule reports it, and whether that is another figure than the record's."""

    reported: Decimal | None
    is_other: bool


@dataclass(frozen=True, slots=True)
class ReplayedRow:
    """One sieve under every rule."""

    aperture_um: Decimal
    passing_pct: float | None
    cells: tuple[ReplayedCell, ...]


@dataclass(frozen=True, slots=True)
class Replay:
    """The record as it was reported, beside other rules; the first column is the record's own."""

    rules: tuple[NamedRounding, ...]
    rows: tuple[ReplayedRow, ...]
    assessments: tuple[Assessment | None, ...]

    @property
    def flips(self) -> tuple[bool, ...]:
        """Whether each rule would have led to another outcome than the record's own."""
        own = self.assessments[0]
        return tuple(
            own is not None and each is not None and each.outcome is not own.outcome
            for each in self.assessments
        )


def usual_roundings(aperture_um: Decimal = FINES.aperture_um) -> tuple[NamedRounding, ...]:
    """Give the rounding rules that laboratories most often differ by.

    Parameters
    ----------
    aperture_um : Decimal
        sieve that the rule for fines goes by [µm], > 0

    Returns
    -------
    tuple of NamedRounding
        whole and tenth per cent, halves to even and up, whole per cent with fines to 0.1 %

    Raises
    ------
    Nothing
        The rules are fixed.

    Notes
    -----
    Halves to even against halves up, and whole against tenths, are where two laboratories
    with one record report two figures.

    References
    ----------
    ASTM E29, 6.4 and ASTM C136-14, 10.2 (public copy); agencies that round halves up: public
    methods of two road authorities.

    Examples
    --------
    >>> [each.name for each in usual_roundings()][:2]
    ['whole %, halves to even', 'whole %, halves up']
    """
    fines = (replace(FINES, aperture_um=aperture_um),)
    even, up = RoundingMode.HALF_EVEN, RoundingMode.HALF_UP
    return (
        NamedRounding("whole %, halves to even", Rounding(0, even)),
        NamedRounding("whole %, halves up", Rounding(0, up)),
        NamedRounding("0.1 %, halves to even", Rounding(1, even)),
        NamedRounding("0.1 %, halves up", Rounding(1, up)),
        NamedRounding("whole %, fines to 0.1 %, halves to even", Rounding(0, even, fines)),
        NamedRounding("whole %, fines to 0.1 %, halves up", Rounding(0, up, fines)),
    )


def replay(worksheet: Worksheet, others: Sequence[NamedRounding]) -> Replay:
    """Give one raw record as other rounding rules would have reported it.

    Parameters
    ----------
    worksheet : Worksheet
        completely weighed, with the rounding and envelope it was reported by
    others : sequence of NamedRounding
        rules to lay beside it; one equal to its own is left out

    Returns
    -------
    Replay
        rows coarse to fine, one cell for the record's own rule and each other; assessments

    Raises
    ------
    NotDeterminable
        while masses are missing

    Notes
    -----
    Every column starts from the unrounded passing, so nothing is rounded twice. A cell is
    another figure when it differs as a number: 16 and 16.0 are the same.

    References
    ----------
    As `rounding.reported_passing`.

    Examples
    --------
    >>> from gradation.science.worksheet import parse_worksheet
    >>> sheet = parse_worksheet({"dry_mass_g": "200", "pan_g": "33.0",
    ...     "fractions": [{"aperture_um": 600, "mass_g": "167.0"}]})
    >>> [str(cell.reported) for cell in replay(sheet, usual_roundings()[1:2]).rows[0].cells]
    ['16', '17']
    """
    if not worksheet.is_fully_weighed:
        raise NotDeterminable("The run is not weighed to the end yet; nothing was reported.")
    own = NamedRounding("as reported", worksheet.rounding)
    rules = (own, *(each for each in others if each.rounding != worksheet.rounding))
    found = [evaluate(replace(worksheet, rounding=each.rounding)) for each in rules]
    rows = tuple(
        ReplayedRow(
            row.aperture_um,
            row.passing_pct,
            tuple(
                ReplayedCell(each.rows[n].passing_reported, _differs(each.rows[n].passing_reported,
                                                                     row.passing_reported))
                for each in found
            ),
        )
        for n, row in enumerate(found[0].rows)
    )  # fmt: skip
    return Replay(rules, rows, tuple(each.assessment for each in found))


def _differs(one: Decimal | None, own: Decimal | None) -> bool:
    return one is not None and own is not None and one != own
