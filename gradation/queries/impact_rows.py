"""What an impact assessment shows: one row a run, one a certificate."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from gradation.models import ImpactAssessment, ImpactDecision

__all__ = ["Impact", "Method", "TouchedCertificate", "TouchedRun"]


class Method(StrEnum):
    """How the runs were looked at again."""

    APERTURE = "recomputed with the aperture found"
    BALANCE = "masses scaled by the error found"
    LISTED = "listed without recomputation"


@dataclass(frozen=True, slots=True)
class TouchedRun:
    """One run in the period, as recorded and as it would have been; None where not recomputed."""

    run_id: int
    run: str
    state: str
    opened_on: date
    sample: str
    customer: str
    material: str
    certificates: tuple[str, ...] = ()
    specification: str = ""
    point: str = ""
    """The sieve whose passing is shown, as the trade writes it."""
    passing_pct: float | None = None
    corrected_pct: float | None = None
    margin_before: float | None = None
    """Percentage points to the nearest limit concerned; negative outside."""
    margin_after: float | None = None
    nearest: str = ""
    """Which limit `margin_after` belongs to."""
    outcome_before: str = ""
    outcome_after: str = ""
    would_flip: bool | None = None
    mass_g: float | None = None
    """Dry mass as weighed, for a balance; and as it would have been."""
    corrected_mass_g: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class TouchedCertificate:
    """One certificate with touched runs on it, and what was decided on it."""

    certificate_id: int
    number: str
    state: str
    issued_on: date | None
    customer: str
    sample: str
    runs: int
    needs_decision: bool
    would_flip: bool | None = None
    margin_after: float | None = None
    decision: ImpactDecision | None = None
    amended_by: str = ""
    """Number of the amendment issued since; 'draft' while it is drafted."""


@dataclass(frozen=True)
class Impact:
    """Everything an assessment found: runs and certificates, what would flip first."""

    assessment: ImpactAssessment
    method: Method
    sentence: str
    runs: tuple[TouchedRun, ...]
    certificates: tuple[TouchedCertificate, ...]
    notes: tuple[str, ...] = ()

    @property
    def customers(self) -> tuple[str, ...]:
        """Name the customers touched, in order of the alphabet."""
        return tuple(sorted({run.customer for run in self.runs}))

    @property
    def flips(self) -> int:
        """Count the runs whose verdict would be another one."""
        return len({run.run_id for run in self.runs if run.would_flip})

    @property
    def run_count(self) -> int:
        """Count the runs; one compared with two specifications counts once."""
        return len({run.run_id for run in self.runs})
