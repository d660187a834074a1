"""What a person should look at before trusting a sieving, in words for the bench."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import prod

from gradation.science.acceptance import (
    EndPointOf,
    Verdict,
    against_limit,
    end_point_verdict,
    minimum_portion_g,
    overload_limit_g,
)
from gradation.science.apertures import designation
from gradation.science.characteristics import Characteristic
from gradation.science.envelopes import Assessment
from gradation.science.errors import NotDeterminable
from gradation.science.percentiles import Percentile
from gradation.science.quantities import as_typed
from gradation.science.rounding import round_reported
from gradation.science.worksheet_extras import kept_from_memory
from gradation.science.worksheet_form import Worksheet
from gradation.science.worksheet_masses import Stage, Weighed


@dataclass(frozen=True, slots=True)
class WorksheetWarning:
    """One thing to look at: a code for programs and a sentence for people."""

    code: str
    sentence: str
    aperture_um: Decimal | None = None


def warnings_about(
    worksheet: Worksheet,
    masses: Weighed,
    found: Sequence[Characteristic],
    assessment: Assessment | None,
    sizes: Sequence[Percentile],
) -> tuple[WorksheetWarning, ...]:
    """Give all warnings about one sieving.

    Parameters
    ----------
    worksheet : Worksheet
        With the limits of its procedure.
    masses : Weighed
        What was weighed, with the mass balances.
    found : sequence of Characteristic
        For the size that the smallest portion goes by.
    assessment : Assessment or None
        For verdicts moved by rounding and interpolated lines.
    sizes : sequence of Percentile
        For sizes that their paper could not show.

    Returns
    -------
    tuple of WorksheetWarning
        In the order: loss, overload, portion, end point, assessment, percentiles, rules.

    Raises
    ------
    UnknownName
        When a rule or table of the worksheet is not known.

    Notes
    -----
    Codes: loss_exceeded, gain_exceeded, overloaded, overload_not_determinable,
    portion_too_small, portion_not_determinable, end_point_not_reached,
    more_than_whole, moved_by_rounding, interpolated, assumed_value, joined_straight,
    unconfirmed_rule.

    References
    ----------
    As named by `acceptance` and `envelopes`.

    Examples
    --------
    >>> from gradation.science.worksheet_masses import weighed
    >>> sheet = Worksheet(())
    >>> warnings_about(sheet, weighed(sheet), (), None, ())
    ()
    """
    return (
        *_about_whole(worksheet, masses),
        *_about_loss(worksheet, masses),
        *_about_overload(worksheet, masses),
        *_about_portion(worksheet, found),
        *_about_end_point(worksheet, masses),
        *_about_assessment(assessment),
        *_about_notes(assessment, found),
        *_about_sizes(sizes),
        *_about_memory(worksheet),
    )


def _about_whole(worksheet: Worksheet, masses: Weighed) -> Iterator[WorksheetWarning]:
    """More on the sieves than the mass that 100 % stands for."""
    dry_g, first = worksheet.base_dry_mass_g, masses.stages[0]
    if dry_g is None or worksheet.basis != "initial_dry" or first.recovered_g <= dry_g:
        return
    held_g = first.recovered_g - (masses.pan_g or 0) * (len(masses.stages) == 1)
    if held_g > dry_g:
        yield WorksheetWarning(
            "more_than_whole",
            f"The sieves hold {as_typed(held_g)} g, more than the {as_typed(dry_g)} g of the "
            "portion; passing is shown as 0 there. Look for a digit slip or a wrong tare.",
        )


def _about_loss(worksheet: Worksheet, masses: Weighed) -> Iterator[WorksheetWarning]:
    """Each stage whose mass balance is out of tolerance."""
    tolerance = worksheet.loss_tolerance_pct
    if tolerance is None or not masses.is_complete:
        return
    for stage in masses.stages:
        if against_limit(100 * stage.loss, float(tolerance)) is Verdict.EXCEEDED:
            yield _out_of_balance(stage, tolerance)


def _out_of_balance(stage: Stage, tolerance_pct: Decimal) -> WorksheetWarning:
    """What to say about one stage out of balance."""
    where = "" if stage.below_um is None else f" below {designation(stage.below_um)}"
    is_loss = stage.loss > 0
    what = "are missing" if is_loss else "too much were recovered"
    missing_g = as_typed(abs(stage.loss_g or Decimal(0)))
    share = as_typed(round_reported(abs(100 * stage.loss), 2))
    return WorksheetWarning(
        "loss_exceeded" if is_loss else "gain_exceeded",
        f"{missing_g} g{where} {what}: {share} % against {as_typed(tolerance_pct)} % allowed. "
        "Look for spilled or stuck grains and wrong tares; repeat the test if none explains it.",
        stage.below_um,
    )


def _about_overload(worksheet: Worksheet, masses: Weighed) -> Iterator[WorksheetWarning]:
    """Each sieve that held more than its load limit."""
    rule = worksheet.overload
    if rule is None:
        return
    for fraction, mass_g in zip(masses.fractions, masses.masses_g, strict=True):
        aperture_um = fraction.aperture_um
        try:
            limit_g = overload_limit_g(rule, float(aperture_um))
        except NotDeterminable as refusal:
            if mass_g:
                yield WorksheetWarning("overload_not_determinable", str(refusal), aperture_um)
            continue
        heaviest_g = _heaviest_g(worksheet, fraction.increments_g, mass_g)
        if against_limit(float(heaviest_g), limit_g) is Verdict.EXCEEDED:
            yield WorksheetWarning(
                "overloaded",
                f"{designation(aperture_um)} holds {as_typed(heaviest_g)} g; at most "
                f"{as_typed(round_reported(limit_g, 0))} g may lie on it. Sieve in smaller "
                "increments, add a relief sieve, or use a larger frame.",
                aperture_um,
            )


def _heaviest_g(worksheet: Worksheet, increments_g: Sequence[Decimal], mass_g: Decimal) -> Decimal:
    """The most that lay on a sieve at one time."""
    if worksheet.entry == "cumulative" or len(increments_g) < 2:
        return mass_g
    return max(increments_g)


def _about_portion(
    worksheet: Worksheet, found: Sequence[Characteristic]
) -> Iterator[WorksheetWarning]:
    """A test portion smaller than its table asks for."""
    check, dry_g = worksheet.minimum_portion, worksheet.base_dry_mass_g
    if check is None or dry_g is None:
        return
    size_um = None if check.size_um is None else float(check.size_um)
    if size_um is None:
        nominal = next((each for each in found if each.name == "nominal_maximum_size"), None)
        if nominal is None:
            return
        size_um = nominal.value
        if size_um is None:
            sentence = f"The smallest test portion is not known. {nominal.reason}"
            yield WorksheetWarning("portion_not_determinable", sentence)
            return
    try:
        least_g = minimum_portion_g(check.table, size_um)
    except NotDeterminable as refusal:
        yield WorksheetWarning("portion_not_determinable", str(refusal))
        return
    if dry_g < least_g:
        yield WorksheetWarning(
            "portion_too_small",
            f"The test portion of {as_typed(dry_g)} g is smaller than the {as_typed(least_g)} g "
            f"asked for at {designation(size_um)}. Take a larger portion, or report it so.",
        )


def _about_end_point(worksheet: Worksheet, masses: Weighed) -> Iterator[WorksheetWarning]:
    """Each sieve that still let too much through in the extra minute."""
    check = worksheet.end_point
    if check is None:
        return
    held = {
        fraction.aperture_um: mass_g
        for fraction, mass_g in zip(masses.fractions, masses.masses_g, strict=True)
    }
    before = dict(check.before_g)
    total_g = worksheet.base_dry_mass_g or sum(masses.masses_g, masses.pan_g or Decimal(0))
    for aperture_um, passed_g in check.passed_g:
        held_g = before.get(aperture_um, held.get(aperture_um))
        if held_g is None and check.rule.of is EndPointOf.SIEVE:
            continue  # what lies on the sieve is not weighed yet
        factor = _factor_above(worksheet, aperture_um)
        verdict = end_point_verdict(
            check.rule, factor * float(passed_g), factor * float(held_g or 0), float(total_g)
        )
        if verdict is Verdict.EXCEEDED:
            found = _still_moving(aperture_um, passed_g, was_shaken_again=aperture_um in before)
            yield WorksheetWarning(
                "end_point_not_reached",
                f"{found}, more than {check.rule.limit_pct:g} %. Sieve longer and weigh again.",
                aperture_um,
            )


def _factor_above(worksheet: Worksheet, aperture_um: Decimal) -> float:
    """What a mass at a sieve is multiplied by for the splits above it."""
    return prod(
        float(split.passing_g / split.reduced_g)
        for split in worksheet.splits
        if split.below_um > aperture_um and split.reduced_g
    )


def _still_moving(aperture_um: Decimal, passed_g: Decimal, *, was_shaken_again: bool) -> str:
    """What a sieve let through, or how its mass changed in the further shaking."""
    if was_shaken_again:
        return (
            f"The mass on {designation(aperture_um)} changed by {as_typed(passed_g)} g in the "
            "further shaking"
        )
    return f"{as_typed(passed_g)} g still passed {designation(aperture_um)} in the extra minute"


def _about_assessment(assessment: Assessment | None) -> Iterator[WorksheetWarning]:
    """Lines decided by rounding, or read between two sieves."""
    for verdict in assessment.lines if assessment else ():
        line = verdict.line
        name = line.characteristic or designation(line.aperture_um or Decimal(1))
        if verdict.is_moved_by_rounding:
            side = "inside" if verdict.is_inside else "outside"
            yield WorksheetWarning(
                "moved_by_rounding",
                f"{name} is {side} its limit only by the way it is compared: reported "
                f"{verdict.reported}, unrounded {verdict.value:.4f}.",
                line.aperture_um,
            )
        if verdict.is_interpolated:
            yield WorksheetWarning(
                "interpolated",
                f"{name} is not in the nest; its value is read between the neighbouring sieves.",
                line.aperture_um,
            )


def _about_notes(
    assessment: Assessment | None, found: Sequence[Characteristic]
) -> Iterator[WorksheetWarning]:
    """Lines that limit a value which takes something for granted."""
    limited = {verdict.line.characteristic for verdict in assessment.lines} if assessment else set()
    for each in found:
        if each.note and each.name in limited:
            words = each.name.replace("_", " ").capitalize()
            yield WorksheetWarning("assumed_value", f"{words} has a limit. {each.note}")


def _about_sizes(sizes: Sequence[Percentile]) -> Iterator[WorksheetWarning]:
    """Sizes next to 0 or 100 % passing on a paper that cannot show these."""
    for size in sizes:
        if size.is_straight:
            yield WorksheetWarning(
                "joined_straight",
                f"{size.name.upper()} lies next to a sieve with 0 or 100 % passing, which this "
                "paper cannot show; it was read on log aperture instead.",
            )


def _about_memory(worksheet: Worksheet) -> Iterator[WorksheetWarning]:
    """Rules that pass or fail the run but are kept here from memory."""
    for note in kept_from_memory(worksheet):
        yield WorksheetWarning("unconfirmed_rule", note.sentence)
