"""The worksheet of one sieving: everything weighed and chosen, before any calculation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum

from gradation.science.acceptance import EndPoint, OverloadRule
from gradation.science.descriptions import Description, Soil
from gradation.science.drying import dry_mass_g
from gradation.science.envelopes import CompareWith, EnvelopeLine, MissingAperture
from gradation.science.errors import GradationError
from gradation.science.gradation import Basis
from gradation.science.interpolation import Interpolation
from gradation.science.rounding import Rounding
from gradation.science.worksheet_requests import Requests

DEFAULT_PERCENTILES = (Decimal(10), Decimal(50), Decimal(90))


class Entry(StrEnum):
    """How the masses were written down."""

    INDIVIDUAL = "individual"
    CUMULATIVE = "cumulative"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a worksheet: where in the JSON, and what."""

    path: str
    message: str

    def __str__(self) -> str:
        return f"{self.path}: {self.message}"


class WorksheetFaults(GradationError):
    """A worksheet that cannot be calculated, with every fault found."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


@dataclass(frozen=True, slots=True)
class Fraction:
    """What lies on one sieve, in one or several increments."""

    aperture_um: Decimal
    increments_g: tuple[Decimal, ...] = ()
    """Net masses [g]; none at all means not weighed yet."""
    tare_g: Decimal | None = None
    """Mass of the empty sieve, where it was noted [g]; already taken off."""

    @property
    def mass_g(self) -> Decimal | None:
        """Sum of the increments [g]; None when nothing was weighed yet."""
        return sum(self.increments_g, Decimal(0)) if self.increments_g else None


@dataclass(frozen=True, slots=True)
class WorksheetSplit:
    """Below one sieve only a reduced part was sieved on."""

    below_um: Decimal
    passing_g: Decimal
    reduced_g: Decimal
    washed_reduced_g: Decimal | None = None


@dataclass(frozen=True, slots=True)
class PortionCheck:
    """Which table of smallest test portions holds, and for what size."""

    table: str
    size_um: Decimal | None = None
    """Size the table goes by [µm]; None: the nominal maximum size found."""


@dataclass(frozen=True, slots=True)
class EndPointCheck:
    """The end point, and what passed each sieve in the extra minute [g]."""

    rule: EndPoint
    passed_g: tuple[tuple[Decimal, Decimal], ...] = ()
    """Aperture [µm] and mass [g]; after a further shaking, what the mass there changed by."""
    before_g: tuple[tuple[Decimal, Decimal], ...] = ()
    """Mass on a sieve before it was shaken again and weighed again [g]; a sieve that is not
    named here was sieved by hand for an extra minute."""
    name: str = ""
    """Name of the kept rule the limit was taken from; empty when it was typed."""


@dataclass(frozen=True, slots=True)
class Worksheet:
    """One sieving as entered, with the choices of its procedure and specification."""

    fractions: tuple[Fraction, ...]
    pan_increments_g: tuple[Decimal, ...] = ()
    pan_tare_g: Decimal | None = None
    basis: Basis = Basis.INITIAL_DRY
    entry: Entry = Entry.INDIVIDUAL
    dry_mass_g: Decimal | None = None
    washed_dry_mass_g: Decimal | None = None
    moist_mass_g: Decimal | None = None
    """Mass before drying [g], with `moisture_pct` instead of `dry_mass_g`."""
    moisture_pct: Decimal | None = None
    splits: tuple[WorksheetSplit, ...] = ()
    percentiles_pct: tuple[Decimal, ...] = DEFAULT_PERCENTILES
    interpolation: Interpolation = Interpolation.LOG_LINEAR
    rounding: Rounding = field(default_factory=Rounding)
    loss_tolerance_pct: Decimal | None = None
    loss_rule: str = ""
    """Name of the kept rule the tolerance was taken from; empty when it was typed."""
    confirmed_rules: tuple[str, ...] = ()
    """Rules kept from memory that the laboratory has confirmed against its own edition."""
    overload: OverloadRule | None = None
    minimum_portion: PortionCheck | None = None
    end_point: EndPointCheck | None = None
    envelope: tuple[EnvelopeLine, ...] = ()
    missing_aperture: MissingAperture = MissingAperture.INTERPOLATE
    compare: CompareWith = CompareWith.REPORTED
    is_modulus_interpolated: bool = False
    """Whether a sieve missing from the nest may be interpolated for a fineness modulus."""
    models: tuple[str, ...] = ()
    describe: tuple[Description, ...] = ()
    """Measures of shape wanted; none by default, since a preview must be quick."""
    soil: Soil = field(default_factory=Soil)
    requests: Requests = field(default_factory=Requests)
    """What is asked for beyond the table: uncertainty, decisions, what-ifs, a second look."""

    @property
    def pan_g(self) -> Decimal | None:
        """Mass in the pan [g]; None when not weighed yet."""
        return sum(self.pan_increments_g, Decimal(0)) if self.pan_increments_g else None

    @property
    def base_dry_mass_g(self) -> Decimal | None:
        """Dry mass before washing [g], weighed or from the moist mass and the moisture."""
        if self.dry_mass_g is not None or self.moist_mass_g is None or self.moisture_pct is None:
            return self.dry_mass_g
        return dry_mass_g(self.moist_mass_g, self.moisture_pct)

    @property
    def is_fully_weighed(self) -> bool:
        """Whether every fraction and the pan have a mass."""
        return self.pan_g is not None and all(each.increments_g for each in self.fractions)

    @property
    def coarse_to_fine(self) -> tuple[Fraction, ...]:
        """Fractions as the nest stands."""
        return tuple(sorted(self.fractions, key=lambda each: -each.aperture_um))

    @property
    def splits_in_order(self) -> tuple[WorksheetSplit, ...]:
        """Splits from the coarsest down."""
        return tuple(sorted(self.splits, key=lambda each: -each.below_um))
