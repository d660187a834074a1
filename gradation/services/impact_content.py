"""What an impact report says, from an assessment as it stands."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from gradation.documents.impact_report import ImpactCertificate, ImpactContent, ImpactRun
from gradation.models import ImpactAssessment, Laboratory, User
from gradation.queries.impact import Impact, TouchedCertificate, TouchedRun
from gradation.services import clock

__all__ = ["impact_content"]


def impact_content(impact: Impact, printed_by: User) -> ImpactContent:
    """Put an assessment and all it touched into the words of the report."""
    laboratory = Laboratory.objects.get()
    zone = ZoneInfo(laboratory.time_zone)
    assessment = impact.assessment
    return ImpactContent(
        laboratory=laboratory.name,
        number=str(assessment.pk),
        subject=str(assessment.equipment or assessment.person),
        reason=assessment.reason,
        state=assessment.state,
        first_day=assessment.period_from.isoformat(),
        last_day=assessment.period_to.isoformat(),
        last_good_evidence=_last_good(assessment),
        method=impact.method.value,
        sentence=impact.sentence,
        opened_at=_moment(assessment.opened_at, zone),
        opened_by=str(assessment.opened_by),
        printed_at=_moment(clock.now(), zone),
        printed_by=str(printed_by),
        time_zone=laboratory.time_zone,
        run_count=impact.run_count,
        flips=impact.flips,
        runs=tuple(_run(row) for row in impact.runs),
        certificates=tuple(_certificate(each, zone) for each in impact.certificates),
        customers=impact.customers,
        notes=impact.notes,
        conclusion=assessment.conclusion,
        closed_at=_moment(assessment.closed_at, zone),
        closed_by=str(assessment.closed_by or ""),
    )


def _last_good(assessment: ImpactAssessment) -> str:
    good = assessment.last_good_check
    if good is None:
        return "No good check is on record; the period begins before first use or as entered."
    return f"{good.kind} of {good.performed_on:%d %b %Y}: {good.sentence}"


def _run(row: TouchedRun) -> ImpactRun:
    same = {name: getattr(row, name) for name in ImpactRun.__dataclass_fields__}
    return ImpactRun(**same | {"opened_on": row.opened_on.isoformat()})


def _certificate(row: TouchedCertificate, zone: ZoneInfo) -> ImpactCertificate:
    decision = row.decision
    return ImpactCertificate(
        number=row.number,
        state=row.state,
        issued_on=_day(row.issued_on),
        customer=row.customer,
        sample=row.sample,
        runs=row.runs,
        needs_decision=row.needs_decision,
        would_flip=row.would_flip,
        margin_after=row.margin_after,
        decision=decision.verdict if decision else "",
        reason=decision.reason if decision else "",
        decided_by=str(decision.decided_by) if decision else "",
        decided_at=_moment(decision.decided_at, zone) if decision else "",
        amended_by=row.amended_by,
    )


def _day(day: date | None) -> str:
    return day.isoformat() if day else ""


def _moment(moment: datetime | None, zone: ZoneInfo) -> str:
    return moment.astimezone(zone).isoformat(timespec="minutes") if moment else ""
