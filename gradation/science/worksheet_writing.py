"""From a worksheet back to its JSON form, so that what was computed can be kept and repeated."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from gradation.science.envelopes import EnvelopeLine
from gradation.science.quantities import as_typed
from gradation.science.worksheet_form import EndPointCheck, Fraction, Worksheet, WorksheetSplit
from gradation.science.worksheet_requests_writing import requests_json


def worksheet_json(worksheet: Worksheet) -> dict[str, Any]:
    """Give the JSON form of a worksheet; parsing it gives the worksheet back.

    Parameters
    ----------
    worksheet : Worksheet
        Complete or partial.

    Returns
    -------
    dict
        As `worksheet.schema.json` describes; measurements as text with the digits entered,
        fields without a value left out.

    Raises
    ------
    Nothing
        Every worksheet can be written.

    Notes
    -----
    `parse_worksheet(worksheet_json(w)) == w` for every complete worksheet `w`.

    References
    ----------
    RFC 8259 for JSON.

    Examples
    --------
    >>> from gradation.science.worksheet_parsing import parse_worksheet
    >>> sheet = {"dry_mass_g": "10.0", "pan_g": "1.0",
    ...          "fractions": [{"aperture_um": 75, "mass_g": "9.0"}]}
    >>> worksheet_json(parse_worksheet(sheet))["fractions"]
    [{'aperture_um': 75, 'increments_g': ['9.0']}]
    """
    written = {
        "basis": worksheet.basis.value,
        "entry": worksheet.entry.value,
        "dry_mass_g": _text(worksheet.dry_mass_g),
        "washed_dry_mass_g": _text(worksheet.washed_dry_mass_g),
        "moist_mass_g": _text(worksheet.moist_mass_g),
        "moisture_pct": _text(worksheet.moisture_pct),
        "fractions": [_fraction(each) for each in worksheet.fractions],
        "pan_increments_g": [as_typed(each) for each in worksheet.pan_increments_g] or None,
        "pan_tare_g": _text(worksheet.pan_tare_g),
        "splits": [_split(each) for each in worksheet.splits] or None,
        "percentiles": [_text(each) for each in worksheet.percentiles_pct],
        "interpolation": worksheet.interpolation.value,
        "rounding": _rounding(worksheet),
        "loss_tolerance_pct": None if worksheet.loss_rule else _text(worksheet.loss_tolerance_pct),
        "loss_rule": worksheet.loss_rule or None,
        "confirmed_rules": list(worksheet.confirmed_rules) or None,
        "overload": _overload(worksheet),
        "minimum_portion": _portion(worksheet),
        "end_point": _end_point(worksheet.end_point),
        "envelope": [_line(each) for each in worksheet.envelope] or None,
        "missing_aperture": worksheet.missing_aperture.value,
        "compare": worksheet.compare.value,
        "interpolate_modulus": worksheet.is_modulus_interpolated,
        "models": list(worksheet.models) or None,
        "describe": [each.value for each in worksheet.describe],
        "open_ends": _ends(worksheet),
        "plasticity": _plasticity(worksheet),
    }
    return _present(written) | requests_json(worksheet.requests)


def _present(fields: dict[str, Any]) -> dict[str, Any]:
    """The fields that have a value."""
    return {name: value for name, value in fields.items() if value is not None}


def _text(value: Decimal | None) -> str | None:
    """A decimal as text with its digits."""
    return None if value is None else as_typed(value)


def _size(aperture_um: Decimal) -> int | str:
    """An aperture, a whole number where it is one."""
    return int(aperture_um) if aperture_um == int(aperture_um) else as_typed(aperture_um)


def _fraction(fraction: Fraction) -> dict[str, Any]:
    """What lies on one sieve."""
    masses = [as_typed(each) for each in fraction.increments_g]
    written = {"aperture_um": _size(fraction.aperture_um), "increments_g": masses}
    return written | _present({"tare_g": _text(fraction.tare_g)})


def _split(split: WorksheetSplit) -> dict[str, Any]:
    """Where the material was reduced."""
    return _present(
        {
            "below_um": _size(split.below_um),
            "passing_g": as_typed(split.passing_g),
            "reduced_g": as_typed(split.reduced_g),
            "washed_reduced_g": _text(split.washed_reduced_g),
        }
    )


def _rounding(worksheet: Worksheet) -> dict[str, Any]:
    """How percentages are reported."""
    rounding = worksheet.rounding
    finer = [
        {
            "aperture_um": _size(rule.aperture_um),
            "below_pct": as_typed(rule.below_pct),
            "decimals": rule.decimals,
        }
        for rule in rounding.finer
    ]
    return _present(
        {
            "passing_decimals": rounding.passing_decimals,
            "mode": rounding.mode.value,
            "finer": finer or None,
        }
    )


def _overload(worksheet: Worksheet) -> dict[str, Any] | None:
    """Which load limits hold."""
    rule = worksheet.overload
    if rule is None:
        return None
    sizes = {
        "frame_mm": rule.frame_mm,
        "area_m2": rule.area_m2,
        "bulk_density_g_cm3": rule.bulk_density_g_cm3,
    }
    return {"rule": rule.rule} | {
        name: str(value) for name, value in sizes.items() if value is not None
    }


def _portion(worksheet: Worksheet) -> dict[str, Any] | None:
    """Which table of smallest test portions holds."""
    check = worksheet.minimum_portion
    if check is None:
        return None
    size = None if check.size_um is None else _size(check.size_um)
    return _present({"table": check.table, "size_um": size})


def _end_point(check: EndPointCheck | None) -> dict[str, Any] | None:
    """The end point, and what passed in the extra minute or changed in a further shaking."""
    if check is None:
        return None
    passed, before = (
        [
            {"aperture_um": _size(aperture_um), "mass_g": as_typed(mass_g)}
            for aperture_um, mass_g in masses
        ]
        or None
        for masses in (check.passed_g, check.before_g)
    )
    typed = {"limit_pct": str(check.rule.limit_pct), "of": check.rule.of.value}
    named = {"rule": check.name} if check.name else typed
    return named | _present({"passed": passed, "before": before})


def _ends(worksheet: Worksheet) -> dict[str, Any] | None:
    """Stated ends of the open classes."""
    ends = worksheet.soil.ends
    sizes = {"pan_lower_um": ends.pan_lower_um, "top_upper_um": ends.top_upper_um}
    return {name: str(size) for name, size in sizes.items() if size is not None} or None


def _plasticity(worksheet: Worksheet) -> dict[str, Any] | None:
    """Limits of the fines, or what the hand tests say."""
    known = worksheet.soil.plasticity
    if known is None:
        return None
    numbers = {
        "liquid_limit_pct": known.liquid_limit_pct,
        "plasticity_index": known.plasticity_index,
        "oven_dried_liquid_limit_pct": known.oven_dried_liquid_limit_pct,
    }
    seen = None if known.seen_by_hand is None else known.seen_by_hand.value
    texts = {name: str(value) for name, value in numbers.items() if value is not None}
    return texts | _present({"non_plastic": known.is_non_plastic, "seen_by_hand": seen})


def _line(line: EnvelopeLine) -> dict[str, Any]:
    """One line of the specification."""
    return _present(
        {
            "kind": line.kind.value,
            "aperture_um": None if line.aperture_um is None else _size(line.aperture_um),
            "finer_um": None if line.finer_um is None else _size(line.finer_um),
            "characteristic": line.characteristic or None,
            "min": _text(line.minimum),
            "max": _text(line.maximum),
            "target": _text(line.target),
            "tolerance": _text(line.tolerance),
            "inclusive": line.is_inclusive,
            "decimals": line.decimals,
        }
    )
