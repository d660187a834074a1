"""What a worksheet may ask for beyond the table: uncertainty, decisions, what-ifs, a second look.

Every field is named as in the JSON, so that `worksheet_requests_writing` can write any of them
back. Numbers stay decimals, exactly as written; the step to floating point is the evaluation's.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from gradation.science.shaker_settings import Drive

ZERO = Decimal(0)
MOST_DRAWS = 200_000
"""JCGM 101:2008, 7.2.2 advises 10 000 / (1 - confidence), which is this at 95 %."""
MOST_CELLS = 4_000_000
"""Draws times values: keeps the memory of one request below some hundred megabytes."""


class RuleName(StrEnum):
    """How the uncertainty enters the verdict."""

    PLAIN = "plain"
    GUARD_BAND = "guard_band"
    PROBABILITY = "probability"


@dataclass(frozen=True, slots=True)
class BalanceRequest:
    """What one balance adds to each reading."""

    readability_g: Decimal = ZERO
    repeatability_g: Decimal = ZERO
    linearity_g: Decimal = ZERO
    calibration_u_g: Decimal = ZERO
    scale_u_pct: Decimal = ZERO


@dataclass(frozen=True, slots=True)
class AtSieve:
    """A standard uncertainty at one sieve: of its aperture, or of repeated tests."""

    aperture_um: Decimal
    u_um: Decimal | None = None
    sd_pct: Decimal | None = None


@dataclass(frozen=True, slots=True)
class AtSplit:
    """How well a reduced part stands for the whole, beside its weighings."""

    below_um: Decimal
    u_pct: Decimal


@dataclass(frozen=True, slots=True)
class UncertaintyRequest:
    """The sources of uncertainty of one run."""

    balance: BalanceRequest
    dry_balance: BalanceRequest | None = None
    dry_mass_u_g: Decimal | None = None
    """Standard uncertainty of the dry mass as a whole [g], instead of its balance."""
    apertures: tuple[AtSieve, ...] = ()
    repeatability_sd_pct: Decimal | None = None
    """The same at every sieve that passes neither nothing nor everything [%]."""
    repeatability: tuple[AtSieve, ...] = ()
    splits: tuple[AtSplit, ...] = ()
    coverage_factor: Decimal = Decimal(2)


@dataclass(frozen=True, slots=True)
class DecisionRequest:
    """The decision rule agreed for the envelope."""

    rule: RuleName = RuleName.PLAIN
    confidence: Decimal = Decimal("0.95")
    guard_factor: Decimal = Decimal(1)


@dataclass(frozen=True, slots=True)
class CrossCheckRequest:
    """A Monte Carlo check of the uncertainty."""

    seed: Decimal
    draws: Decimal


@dataclass(frozen=True, slots=True)
class FoundAperture:
    """The mean aperture that the check of a sieve found."""

    aperture_um: Decimal
    mean_um: Decimal


@dataclass(frozen=True, slots=True)
class ApertureError:
    """One sieve whose aperture may be off: true minus nominal."""

    aperture_um: Decimal
    error_um: Decimal


@dataclass(frozen=True, slots=True)
class EarlierFraction:
    """What lay on one sieve in an earlier run, and the sieve's tare then."""

    aperture_um: Decimal
    mass_g: Decimal
    tare_g: Decimal | None = None


@dataclass(frozen=True, slots=True)
class EarlierRun:
    """An earlier accepted run of the same material on the same nest."""

    dry_mass_g: Decimal
    pan_g: Decimal
    fractions: tuple[EarlierFraction, ...]
    washed_dry_mass_g: Decimal | None = None
    pan_tare_g: Decimal | None = None


@dataclass(frozen=True, slots=True)
class PowerLineRequest:
    """A power line of dense packing to compare with."""

    exponent: Decimal
    largest_um: Decimal | None = None
    """Size at which the line reaches 100 % [µm]; None: the maximum size found."""


@dataclass(frozen=True, slots=True)
class SettingRequest:
    """How one run was, or is to be, shaken."""

    drive: Drive
    amplitude_pp_mm: Decimal | None = None
    frequency_hz: Decimal | None = None
    mains_hz: Decimal | None = None
    """Mains frequency of a drive locked to it [Hz]; its frequency when none is given."""
    acceleration_m_s2: Decimal | None = None
    duration_s: Decimal | None = None
    interval_s: Decimal | None = None
    taps_per_min: Decimal | None = None
    stroke_to_deck_deg: Decimal = Decimal(90)
    deck_incline_deg: Decimal = ZERO

    @property
    def deck_hz(self) -> Decimal | None:
        """The frequency of the deck: stated, or that of the mains it is locked to."""
        return self.mains_hz if self.frequency_hz is None else self.frequency_hz


@dataclass(frozen=True, slots=True)
class ShakingRequest:
    """Settings planned and found, and how far apart still counts as alike."""

    planned: SettingRequest | None = None
    actual: SettingRequest | None = None
    tolerance_pct: Decimal = Decimal(5)


@dataclass(frozen=True, slots=True)
class Requests:
    """Everything asked for beyond the table; nothing by default, since a preview must be quick."""

    uncertainty: UncertaintyRequest | None = None
    decision: DecisionRequest | None = None
    cross_check: CrossCheckRequest | None = None
    apertures_found: tuple[FoundAperture, ...] = ()
    sensitivity: tuple[ApertureError, ...] = ()
    plausibility: bool = False
    history: tuple[EarlierRun, ...] = ()
    power_lines: tuple[PowerLineRequest, ...] = ()
    shaking: ShakingRequest | None = None
