"""Reading what a worksheet asks for beyond the table."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from decimal import Decimal
from typing import TypeVar

from gradation.science.shaker_settings import Drive
from gradation.science.worksheet_reading import Fields
from gradation.science.worksheet_requests import (
    MOST_DRAWS,
    ZERO,
    ApertureError,
    AtSieve,
    AtSplit,
    BalanceRequest,
    CrossCheckRequest,
    DecisionRequest,
    EarlierFraction,
    EarlierRun,
    FoundAperture,
    PowerLineRequest,
    Requests,
    RuleName,
    SettingRequest,
    ShakingRequest,
    UncertaintyRequest,
)

REQUEST_KEYS = (
    "uncertainty", "decision", "cross_check", "apertures_found", "sensitivity", "plausibility",
    "history", "power_lines", "shaking",
)  # fmt: skip
ONE = Decimal(1)
Part = TypeVar("Part")


def read_requests(fields: Fields) -> Requests:
    """Give everything a worksheet asks for beyond the table.

    Parameters
    ----------
    fields : Fields
        the worksheet

    Returns
    -------
    Requests
        with nothing asked where a field is missing

    Raises
    ------
    Nothing
        Faults are noted in `fields`.

    Notes
    -----
    The fields are `REQUEST_KEYS`; whether their apertures are in the nest is seen later, when
    all fractions are known.

    References
    ----------
    `worksheet.schema.json`.

    Examples
    --------
    >>> read_requests(Fields({"plausibility": True}, "$", [])).plausibility
    True
    """
    return Requests(
        uncertainty=_from(fields.object("uncertainty"), _uncertainty),
        decision=_from(fields.object("decision"), _decision),
        cross_check=_from(fields.object("cross_check"), _cross_check),
        apertures_found=_all(fields.objects("apertures_found"), _found),
        sensitivity=_all(fields.objects("sensitivity"), _error),
        plausibility=fields.is_true("plausibility", default=False),
        history=_all(fields.objects("history"), _earlier),
        power_lines=_all(fields.objects("power_lines"), _power_line),
        shaking=_from(fields.object("shaking"), read_shaking),
    )


def _from(fields: Fields | None, read: Callable[[Fields], Part | None]) -> Part | None:
    """One part; None when it is not there or wrong."""
    return None if fields is None else read(fields)


def _all(objects: Iterable[Fields], read: Callable[[Fields], Part | None]) -> tuple[Part, ...]:
    """All parts of a list that could be read."""
    found = (read(each) for each in objects)
    return tuple(each for each in found if each is not None)


def _uncertainty(fields: Fields) -> UncertaintyRequest:
    """The sources of uncertainty."""
    fields.only(
        (
            "balance", "dry_balance", "dry_mass_u_g", "apertures", "repeatability_sd_pct",
            "repeatability", "splits", "coverage_factor",
        )
    )  # fmt: skip
    fields.require("balance")
    if fields.has("dry_balance") and fields.has("dry_mass_u_g"):
        fields.fault("dry_mass_u_g", "give either dry_balance or dry_mass_u_g, not both.")
    if fields.has("repeatability_sd_pct") and fields.has("repeatability"):
        fields.fault("repeatability", "give either repeatability_sd_pct or repeatability.")
    return UncertaintyRequest(
        balance=_from(fields.object("balance"), _balance) or BalanceRequest(),
        dry_balance=_from(fields.object("dry_balance"), _balance),
        dry_mass_u_g=fields.decimal("dry_mass_u_g", least=ZERO),
        apertures=_all(fields.objects("apertures"), lambda each: _at_sieve(each, "u_um")),
        repeatability_sd_pct=fields.decimal("repeatability_sd_pct", least=ZERO),
        repeatability=_all(fields.objects("repeatability"), lambda each: _at_sieve(each, "sd_pct")),
        splits=_all(fields.objects("splits"), _at_split),
        coverage_factor=fields.decimal("coverage_factor", above=ZERO) or Decimal(2),
    )


def _balance(fields: Fields) -> BalanceRequest:
    """What a balance adds to each reading."""
    names = ("readability_g", "repeatability_g", "linearity_g", "calibration_u_g", "scale_u_pct")
    fields.only(names)
    fields.require("readability_g")
    return BalanceRequest(*(fields.decimal(name, least=ZERO) or ZERO for name in names))


def _at_sieve(fields: Fields, name: str) -> AtSieve | None:
    """A standard uncertainty at one sieve."""
    fields.only(("aperture_um", name))
    fields.require("aperture_um", name)
    aperture_um, value = fields.aperture_um("aperture_um"), fields.decimal(name, least=ZERO)
    if aperture_um is None or value is None:
        return None
    return AtSieve(aperture_um, **{name: value})


def _at_split(fields: Fields) -> AtSplit | None:
    """How well a reduced part stands for the whole."""
    fields.only(("below_um", "u_pct"))
    fields.require("below_um", "u_pct")
    below_um, u_pct = fields.aperture_um("below_um"), fields.decimal("u_pct", least=ZERO)
    return None if below_um is None or u_pct is None else AtSplit(below_um, u_pct)


def _decision(fields: Fields) -> DecisionRequest:
    """The decision rule."""
    fields.only(("rule", "confidence", "guard_factor"))
    fields.require("rule")
    confidence = fields.decimal("confidence", least=Decimal("0.5"))
    if confidence is not None and confidence >= 1:
        fields.fault("confidence", "must be below 1, such as 0.95 for 95 %.")
    factor = fields.decimal("guard_factor", least=ZERO)
    return DecisionRequest(
        fields.choice("rule", RuleName.PLAIN),
        Decimal("0.95") if confidence is None else confidence,
        ONE if factor is None else factor,
    )


def _cross_check(fields: Fields) -> CrossCheckRequest | None:
    """The seed and the number of draws."""
    fields.only(("seed", "draws"))
    fields.require("seed", "draws")
    seed, draws = fields.whole("seed", 0, 2**32 - 1), fields.whole("draws", 100, MOST_DRAWS)
    if fields.has("draws") and draws < 100:
        fields.fault("draws", f"must be from 100 to {MOST_DRAWS}.")
    return CrossCheckRequest(Decimal(seed), Decimal(draws))


def _found(fields: Fields) -> FoundAperture | None:
    """The mean aperture found of one sieve."""
    fields.only(("aperture_um", "mean_um"))
    fields.require("aperture_um", "mean_um")
    aperture_um, mean_um = fields.aperture_um("aperture_um"), fields.aperture_um("mean_um")
    return None if aperture_um is None or mean_um is None else FoundAperture(aperture_um, mean_um)


def _error(fields: Fields) -> ApertureError | None:
    """One sieve whose aperture may be off."""
    fields.only(("aperture_um", "error_um"))
    fields.require("aperture_um", "error_um")
    aperture_um, error_um = fields.aperture_um("aperture_um"), fields.decimal("error_um")
    return None if aperture_um is None or error_um is None else ApertureError(aperture_um, error_um)


def _earlier(fields: Fields) -> EarlierRun | None:
    """An earlier run on the same nest."""
    fields.only(("dry_mass_g", "washed_dry_mass_g", "fractions", "pan_g", "pan_tare_g"))
    fields.require("dry_mass_g", "fractions", "pan_g")
    dry_g, pan_g = fields.decimal("dry_mass_g", above=ZERO), fields.mass_g("pan_g")
    fractions = _all(fields.objects("fractions"), _earlier_fraction)
    washed_g = fields.decimal("washed_dry_mass_g", above=ZERO)
    tare_g = fields.mass_g("pan_tare_g")
    if dry_g is None or pan_g is None:
        return None
    if washed_g is not None and washed_g > dry_g:
        fields.fault("washed_dry_mass_g", "is larger than dry_mass_g; check which is which.")
    in_order = tuple(sorted(fractions, key=lambda each: -each.aperture_um))
    return EarlierRun(dry_g, pan_g, in_order, washed_g, tare_g)


def _earlier_fraction(fields: Fields) -> EarlierFraction | None:
    """What lay on one sieve in an earlier run."""
    fields.only(("aperture_um", "mass_g", "tare_g"))
    fields.require("aperture_um", "mass_g")
    aperture_um, mass_g = fields.aperture_um("aperture_um"), fields.mass_g("mass_g")
    tare_g = fields.mass_g("tare_g")
    if aperture_um is None or mass_g is None:
        return None
    return EarlierFraction(aperture_um, mass_g, tare_g)


def _power_line(fields: Fields) -> PowerLineRequest | None:
    """A power line of dense packing."""
    fields.only(("exponent", "largest_um"))
    fields.require("exponent")
    exponent, largest_um = fields.decimal("exponent", above=ZERO), fields.aperture_um("largest_um")
    return None if exponent is None else PowerLineRequest(exponent, largest_um)


def read_shaking(fields: Fields) -> ShakingRequest:
    """Give the settings of a shaker, planned and found.

    Parameters
    ----------
    fields : Fields
        the object with `planned`, `actual` and `tolerance_pct`

    Returns
    -------
    ShakingRequest
        at least one of the two settings, or a fault

    Raises
    ------
    Nothing
        Faults are noted in `fields`.

    Notes
    -----
    The tolerance is a percentage of the larger value, for acceleration, time and taps alike.

    References
    ----------
    `worksheet.schema.json`, definition `shaking`.

    Examples
    --------
    >>> asked = {"actual": {"drive": "vertical_throw", "amplitude_pp_mm": 1, "mains_hz": 50}}
    >>> read_shaking(Fields(asked, "$", [])).actual.deck_hz
    Decimal('50')
    """
    fields.only(("planned", "actual", "tolerance_pct"))
    if not fields.has("planned") and not fields.has("actual"):
        fields.fault("actual", "is missing; give the settings planned, found, or both.")
    tolerance = fields.decimal("tolerance_pct", least=ZERO)
    if tolerance is not None and tolerance >= 100:
        fields.fault("tolerance_pct", "must be below 100.")
    return ShakingRequest(
        _from(fields.object("planned"), _setting),
        _from(fields.object("actual"), _setting),
        Decimal(5) if tolerance is None else tolerance,
    )


def _setting(fields: Fields) -> SettingRequest:
    """How one run was shaken."""
    above = ("frequency_hz", "mains_hz", "duration_s", "interval_s", "taps_per_min")
    least = ("amplitude_pp_mm", "acceleration_m_s2", "deck_incline_deg")
    fields.only(("drive", *above, *least, "stroke_to_deck_deg"))
    fields.require("drive")
    numbers = {name: fields.decimal(name, above=ZERO) for name in (*above, "stroke_to_deck_deg")}
    numbers |= {name: fields.decimal(name, least=ZERO) for name in least}
    _check_angles(fields, numbers)
    given = {name: value for name, value in numbers.items() if value is not None}
    return SettingRequest(fields.choice("drive", Drive.VERTICAL_THROW), **given)


def _check_angles(fields: Fields, numbers: dict[str, Decimal | None]) -> None:
    """Angles no shaker can have."""
    stroke, incline = numbers["stroke_to_deck_deg"], numbers["deck_incline_deg"]
    if stroke is not None and stroke > 90:
        fields.fault("stroke_to_deck_deg", "must be at most 90; 90 is a vertical throw.")
    if incline is not None and incline >= 90:
        fields.fault("deck_incline_deg", "must be below 90; 0 is a level deck.")
