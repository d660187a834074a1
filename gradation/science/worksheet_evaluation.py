"""From a worksheet to everything that is shown, printed and stored about one sieving."""

from __future__ import annotations

from decimal import Decimal

from gradation.science.acceptance import Verdict, against_limit
from gradation.science.apertures import designation
from gradation.science.characteristics import Characteristic, characteristics
from gradation.science.descriptions import Described, describe
from gradation.science.gradation import Basis, Combined, Gradation, Split, combine_splits
from gradation.science.gradation import gradation as make_gradation
from gradation.science.percentiles import Percentile, percentiles
from gradation.science.rounding import reported_passing
from gradation.science.worksheet_assessment import budget_or_reason, judge
from gradation.science.worksheet_checks import warnings_about
from gradation.science.worksheet_extras import NOTHING, extras_of
from gradation.science.worksheet_form import Fault, Worksheet, WorksheetFaults
from gradation.science.worksheet_masses import Weighed, weighed
from gradation.science.worksheet_models import fitted_models
from gradation.science.worksheet_result import Evaluation, Row


def evaluate(worksheet: Worksheet, *, partial: bool = False) -> Evaluation:
    """Give everything that follows from a worksheet.

    Parameters
    ----------
    worksheet : Worksheet
        As parsed, or built from the database.
    partial : bool
        Whether masses may still be missing, as in the live preview at the bench.

    Returns
    -------
    Evaluation
        Table, mass balance, percentiles, characteristic values, assessment, warnings.

    Raises
    ------
    WorksheetFaults
        When a mass is missing and `partial` is false, an aperture is repeated, or a
        cumulative mass falls.
    GradationError
        When the masses are impossible or a rule names something unknown.

    Notes
    -----
    With `partial`, rows below the first sieve without a mass have no passing, and values
    that need the whole curve are left out. The basis `sum_of_fractions` has no passing at
    all until everything is weighed, since its 100 % is not known before. While the pan is
    open, what has not been weighed yet is not counted as loss.

    References
    ----------
    As named by each function used.

    Examples
    --------
    >>> from gradation.science.worksheet import parse_worksheet
    >>> sheet = parse_worksheet({"dry_mass_g": "500.0", "pan_g": "100.0",
    ...     "fractions": [{"aperture_um": 75, "mass_g": "400.0"}]})
    >>> str(evaluate(sheet).rows[0].passing_reported)
    '20'
    """
    _refuse_gaps(worksheet, partial=partial)
    masses = weighed(worksheet)
    combined = _combined(worksheet, masses)
    curve = _curve(worksheet, masses, combined)
    wash_loss_g = _wash_loss_g(worksheet, masses, combined)
    loss_g, loss = _loss(worksheet, masses, curve)
    described = _described(worksheet, masses, curve)
    found = (*_characteristics(worksheet, masses, curve), *described.values)
    budget = budget_or_reason(worksheet, masses, combined, curve)
    judged = judge(worksheet, curve, found, budget)
    assessment = judged.assessment if judged else None
    sizes = _percentiles(worksheet, curve)
    return Evaluation(
        worksheet=worksheet,
        is_complete=masses.is_complete,
        gradation=curve,
        rows=_rows(worksheet, masses, combined, curve),
        pan_g=float(combined.retained_g[-1]) if combined and masses.is_complete else None,
        wash_loss_g=wash_loss_g,
        stages=masses.stages,
        loss_g=loss_g,
        loss=loss,
        loss_verdict=_loss_verdict(worksheet, masses, loss),
        percentiles=sizes,
        characteristics=found,
        descriptions=described.data,
        models=fitted_models(worksheet.models, curve) if masses.is_complete and curve else (),
        assessment=assessment,
        extras=extras_of(judged, masses, found, budget)
        if judged and masses.is_complete
        else NOTHING,
        warnings=warnings_about(worksheet, masses, found, assessment, sizes),
    )


def _refuse_gaps(worksheet: Worksheet, *, partial: bool) -> None:
    """Refuse repeated apertures, and missing masses unless the run is still being weighed."""
    faults = []
    seen: set[Decimal] = set()
    for number, fraction in enumerate(worksheet.fractions):
        path = f"$.fractions[{number}]"
        name = designation(fraction.aperture_um)
        if fraction.aperture_um in seen:
            faults.append(
                Fault(f"{path}.aperture_um", f"{name} is entered twice; use increments_g instead.")
            )
        seen.add(fraction.aperture_um)
        if not partial and not fraction.increments_g:
            faults.append(Fault(f"{path}.mass_g", f"{name} is not weighed; enter 0 if empty."))
    if not partial and worksheet.pan_g is None:
        faults.append(Fault("$.pan_g", "the pan is not weighed; enter 0 if it is empty."))
    if faults:
        raise WorksheetFaults(faults)


def _combined(worksheet: Worksheet, masses: Weighed) -> Combined | None:
    """The weighed masses brought to the whole portion; None before the first is weighed."""
    if not masses.fractions:
        return None
    apertures = [float(each.aperture_um) for each in masses.fractions]
    measured = [float(each) for each in (*masses.masses_g, masses.pan_g or 0)]
    known = {each.aperture_um for each in masses.fractions}
    splits = [
        Split(
            float(each.below_um),
            float(each.passing_g),
            float(each.reduced_g),
            None if each.washed_reduced_g is None else float(each.washed_reduced_g),
        )
        for each in worksheet.splits
        if masses.is_complete or each.below_um in known
    ]
    return combine_splits(apertures, measured, splits)


def _curve(worksheet: Worksheet, masses: Weighed, combined: Combined | None) -> Gradation | None:
    """The gradation down to the last row weighed; None while there is none."""
    if combined is None:
        return None
    apertures = [float(each.aperture_um) for each in masses.fractions]
    dry = worksheet.base_dry_mass_g
    if masses.is_complete:
        washed = _washed_g(worksheet, combined)
        dry_g = None if dry is None else float(dry)
        return make_gradation(apertures, combined.retained_g, dry_g, washed, worksheet.basis)
    if worksheet.basis is Basis.SUM_OF_FRACTIONS or dry is None:
        return None
    retained = combined.retained_g.copy()
    retained[-1] = max(float(dry) - float(retained[:-1].sum()), 0.0)
    return make_gradation(apertures, retained, float(dry), None, worksheet.basis)


def _washed_g(worksheet: Worksheet, combined: Combined) -> float | None:
    """Dry mass left after all washing, of the whole or of reduced parts [g]."""
    dry, washed = worksheet.base_dry_mass_g, worksheet.washed_dry_mass_g
    if dry is None or (washed is None and combined.wash_loss_g == 0.0):
        return None if washed is None else float(washed)
    return float(dry if washed is None else washed) - combined.wash_loss_g


def _wash_loss_g(worksheet: Worksheet, masses: Weighed, combined: Combined | None) -> float | None:
    """Mass washed out of the whole portion and of reduced parts [g]."""
    dry, washed = worksheet.base_dry_mass_g, worksheet.washed_dry_mass_g
    of_whole = None if dry is None or washed is None else dry - washed
    if combined is None or not masses.is_complete:
        is_later = any(split.washed_reduced_g is not None for split in worksheet.splits)
        return None if of_whole is None or is_later else float(of_whole)
    return float(of_whole or 0) + combined.wash_loss_g


def _loss(
    worksheet: Worksheet, masses: Weighed, curve: Gradation | None
) -> tuple[float | None, float | None]:
    """Mass missing [g] and as a share of the mass shaken, over all stages."""
    if curve is None or not masses.is_complete or worksheet.base_dry_mass_g is None:
        return None, None
    if worksheet.splits:
        return float(curve.loss_g), float(curve.loss)
    return float(masses.stages[0].loss_g or 0), masses.stages[0].loss


def _loss_verdict(worksheet: Worksheet, masses: Weighed, loss: float | None) -> Verdict:
    """The verdict on the worst stage."""
    if loss is None or worksheet.loss_tolerance_pct is None:
        return Verdict.NOT_DETERMINABLE
    limit = float(worksheet.loss_tolerance_pct)
    verdicts = [against_limit(100 * stage.loss, limit) for stage in masses.stages]
    return Verdict.EXCEEDED if Verdict.EXCEEDED in verdicts else Verdict.WITHIN


def _rows(
    worksheet: Worksheet, masses: Weighed, combined: Combined | None, curve: Gradation | None
) -> tuple[Row, ...]:
    """The table, coarse to fine."""
    rows = []
    for number, fraction in enumerate(worksheet.coarse_to_fine):
        known = number < len(masses.fractions)
        passing_pct = 100.0 * float(curve.passing[number]) if curve and known else None
        rows.append(
            Row(
                aperture_um=fraction.aperture_um,
                designation=designation(fraction.aperture_um),
                weighed_g=masses.masses_g[number] if known else _alone(worksheet, fraction.mass_g),
                retained_g=float(combined.retained_g[number]) if combined and known else None,
                retained_pct=100.0 * float(curve.retained[number]) if curve and known else None,
                cumulative_pct=(
                    100.0 * float(curve.cumulative_retained[number]) if curve and known else None
                ),
                passing_pct=passing_pct,
                passing_reported=(
                    None
                    if passing_pct is None
                    else reported_passing(passing_pct, worksheet.rounding, fraction.aperture_um)
                ),
            )
        )
    return tuple(rows)


def _alone(worksheet: Worksheet, mass_g: Decimal | None) -> Decimal | None:
    """A mass below a gap: known on its own only when masses are entered individually."""
    return mass_g if worksheet.entry == "individual" else None


def _percentiles(worksheet: Worksheet, curve: Gradation | None) -> tuple[Percentile, ...]:
    """The D-values asked for; while rows are open, only those already between rows."""
    if curve is None:
        return ()
    shares = [float(each / 100) for each in worksheet.percentiles_pct]
    found = percentiles(curve, shares, worksheet.interpolation)
    if worksheet.is_fully_weighed:
        return found
    return tuple(each for each in found if not each.text.startswith("<"))


def _characteristics(
    worksheet: Worksheet, masses: Weighed, curve: Gradation | None
) -> tuple[Characteristic, ...]:
    """The characteristic values of a fully weighed run."""
    if curve is None or not masses.is_complete:
        return ()
    return characteristics(
        curve,
        worksheet.interpolation,
        is_modulus_interpolated=worksheet.is_modulus_interpolated,
    )


def _described(worksheet: Worksheet, masses: Weighed, curve: Gradation | None) -> Described:
    """The descriptions asked for, of a fully weighed run."""
    if curve is None or not masses.is_complete or not worksheet.describe:
        return Described()
    return describe(curve, worksheet.describe, worksheet.soil, worksheet.interpolation)
