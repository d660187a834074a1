"""Which certificates an impact assessment touches, and which of them still need a decision."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.db.models.functions import TruncDate

from gradation.models import Certificate, ImpactAssessment, ImpactDecision, Run
from gradation.queries.days import laboratory_zone
from gradation.queries.impact_rows import TouchedCertificate, TouchedRun
from gradation.queries.impact_scope import touched_runs

__all__ = [
    "CertificateRows",
    "certificate_rows",
    "touched_certificates",
    "undecided",
]


@dataclass(frozen=True)
class CertificateRows:
    """The columns of the certificates by key, and which of them each run stands on."""

    assessment: ImpactAssessment
    columns: Mapping[int, tuple[Any, ...]]
    numbers: Mapping[int, str]
    of_run: Mapping[int, list[int]]
    runs_on: Mapping[int, int]
    decisions: Mapping[int, ImpactDecision]

    def numbers_on(self, run_id: int) -> tuple[str, ...]:
        """Name the certificates a run stands on."""
        return tuple([self.numbers[key] for key in self.of_run.get(run_id, ())])

    def certificates(self, runs: Sequence[TouchedRun] = ()) -> tuple[TouchedCertificate, ...]:
        """Give the certificates, each with the worst of its runs, ranked as the runs are."""
        worst: dict[int, TouchedRun] = {}
        for run in runs:
            for key in self.of_run.get(run.run_id, ()):
                worst.setdefault(key, run)
        made = [self._certificate(key, worst.get(key)) for key in self.columns]
        made.sort(key=_worst_first)
        return tuple(made)

    def _certificate(self, key: int, worst: TouchedRun | None) -> TouchedCertificate:
        state, issued_on, withdrawn_at, customer, sample, amendment, amended_at = self.columns[key]
        number, amendment_id = amendment
        return TouchedCertificate(
            certificate_id=key,
            number=self.numbers[key],
            state=state,
            issued_on=issued_on,
            customer=customer,
            sample=sample,
            runs=self.runs_on[key],
            needs_decision=self._needs_decision(state, withdrawn_at, amended_at),
            would_flip=worst.would_flip if worst else None,
            margin_after=worst.margin_after if worst else None,
            decision=self.decisions.get(key),
            amended_by=number or ("draft" if amendment_id else ""),
        )

    def _needs_decision(
        self, state: str, withdrawn_at: datetime | None, amended_at: datetime | None
    ) -> bool:
        """Say whether the certificate stood when the assessment was opened, or stands now.

        One superseded or withdrawn before was replaced already; a draft has not left the house.
        """
        if state == _ISSUED:
            return True
        ended = {_SUPERSEDED: amended_at, _WITHDRAWN: withdrawn_at}.get(state)
        return ended is not None and ended >= self.assessment.opened_at


_ISSUED = Certificate.State.ISSUED.value
_SUPERSEDED = Certificate.State.SUPERSEDED.value
_WITHDRAWN = Certificate.State.WITHDRAWN.value


def touched_certificates(assessment: ImpactAssessment) -> tuple[TouchedCertificate, ...]:
    """Give the certificates touched without computing anything again; for deciding and closing."""
    zone = laboratory_zone()
    return certificate_rows(touched_runs(assessment), assessment, zone).certificates()


def undecided(certificates: Iterable[TouchedCertificate]) -> list[TouchedCertificate]:
    """Keep the certificates that still need a decision."""
    return [each for each in certificates if each.needs_decision and each.decision is None]


def certificate_rows(
    scope: QuerySet[Run], assessment: ImpactAssessment, zone: ZoneInfo
) -> CertificateRows:
    """Read the certificates on which the runs stand, with the newest decision on each."""
    decisions = ImpactDecision.objects.filter(assessment=assessment).select_related("decided_by")
    columns: dict[int, tuple[Any, ...]] = {}
    numbers: dict[int, str] = {}
    of_run: dict[int, list[int]] = defaultdict(list)
    runs_on: dict[int, int] = defaultdict(int)
    for run_id, key, number, *rest, amendment, amendment_id, amended_at in _columns(scope, zone):
        of_run[run_id].append(key)
        runs_on[key] += 1
        numbers[key] = number or f"draft {key}"
        columns[key] = (*rest, (amendment, amendment_id), amended_at)
    return CertificateRows(
        assessment=assessment,
        columns=columns,
        numbers=numbers,
        of_run=of_run,
        runs_on=runs_on,
        decisions={each.certificate_id: each for each in decisions.order_by("id")},
    )


def _columns(scope: QuerySet[Run], zone: ZoneInfo) -> Iterable[tuple[Any, ...]]:
    # The day comes from the database: reading thousands of moments costs more than all the rest.
    through: Any = Certificate.runs.through._default_manager
    rows: Iterable[tuple[Any, ...]] = (
        through.filter(run__in=scope.values("pk"))
        .annotate(issued_on=TruncDate("certificate__issued_at", tzinfo=zone))
        .order_by("certificate_id", "run_id")
        .values_list(
            "run_id",
            "certificate_id",
            "certificate__number",
            "certificate__state",
            "issued_on",
            "certificate__withdrawn_at",
            "certificate__sample__customer__name",
            "certificate__sample__number",
            "certificate__amended_by__number",
            "certificate__amended_by__id",
            "certificate__amended_by__issued_at",
        )
    )
    return rows


def _worst_first(certificate: TouchedCertificate) -> tuple[bool, float, str]:
    margin = certificate.margin_after
    return (
        not certificate.would_flip,
        float("inf") if margin is None else margin,
        certificate.number,
    )
