"""How the installation runs: incidents, backups, and the sheet of the periodic review."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Count, QuerySet

from gradation.models import ChainHead, Incident, LedgerEntry, Maintenance, User
from gradation.queries.doors import open_sessions

__all__ = [
    "ReviewSheet",
    "find_incident",
    "incident_list",
    "last_maintenance",
    "maintenance_list",
    "review_sheet",
]

RIGHT_CHANGES = ("person added", "roles changed", "person deactivated", "account opened again")
REFUSED = ("sign-in refused", "code refused", "signature refused")


def incident_list() -> QuerySet[Incident]:
    """List incidents, newest first."""
    return Incident.objects.select_related("person", "closed_by")


def find_incident(pk: int) -> Incident | None:
    """Find an incident."""
    return incident_list().filter(pk=pk).first()


def maintenance_list() -> QuerySet[Maintenance]:
    """List backups, restores and upgrades, newest first."""
    return Maintenance.objects.all()


def last_maintenance(kind: Maintenance.Kind) -> Maintenance | None:
    """Give the newest backup, restore or upgrade."""
    return Maintenance.objects.filter(kind=kind.value).first()


@dataclass(frozen=True)
class ReviewSheet:
    """What a periodic review of the system looks at, over a span of days (Annex 11, 11)."""

    first: datetime
    until: datetime
    people: Sequence[User]
    right_changes: Sequence[LedgerEntry]
    setting_changes: Sequence[LedgerEntry]
    refused: tuple[tuple[str, int], ...]
    turned_away: int
    open_sessions: int
    incidents_met: int
    incidents_closed: int
    incidents_open: int
    last_backup: Maintenance | None
    last_restore: Maintenance | None
    last_upgrade: Maintenance | None
    chains: int
    entries: int
    newest: LedgerEntry | None


def review_sheet(first: datetime, until: datetime) -> ReviewSheet:
    """Give the sheet for the moments from `first` up to, not including, `until`."""
    entries = LedgerEntry.objects.filter(at__gte=first, at__lt=until)
    counts = dict(
        entries.filter(action__in=[*REFUSED, "turned away"])
        .order_by()
        .values_list("action")
        .annotate(Count("id"))
    )
    incidents = Incident.objects.all()
    return ReviewSheet(
        first=first,
        until=until,
        people=list(
            User.objects.prefetch_related("groups").select_related("customer", "second_factor")
        ),
        right_changes=list(entries.filter(action__in=RIGHT_CHANGES)),
        setting_changes=list(entries.filter(subject_type="laboratory")),
        refused=tuple((action, counts.get(action, 0)) for action in REFUSED),
        turned_away=counts.get("turned away", 0),
        open_sessions=open_sessions().count(),
        incidents_met=incidents.filter(at__gte=first, at__lt=until).count(),
        incidents_closed=incidents.filter(closed_at__gte=first, closed_at__lt=until).count(),
        incidents_open=incidents.filter(closed_at=None).count(),
        last_backup=last_maintenance(Maintenance.Kind.BACKUP),
        last_restore=last_maintenance(Maintenance.Kind.RESTORE),
        last_upgrade=last_maintenance(Maintenance.Kind.UPGRADE),
        chains=ChainHead.objects.count(),
        entries=LedgerEntry.objects.count(),
        newest=LedgerEntry.objects.order_by("-id").first(),
    )


def span_of(first_day: date, last_day: date, start_of: datetime) -> tuple[datetime, datetime]:
    """Give the moments of the days from first to last, both included, in the zone of `start_of`."""
    zone = start_of.tzinfo
    first = datetime(first_day.year, first_day.month, first_day.day, tzinfo=zone)
    after = last_day + timedelta(days=1)
    return first, datetime(after.year, after.month, after.day, tzinfo=zone)
