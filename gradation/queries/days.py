"""The laboratory's calendar: on which of its days a moment fell, and a run was worked.

The database keeps moments in UTC. East of Greenwich the morning of a day is still the day before
there, and a check of that morning would seem to come after the run that followed it.
"""

from __future__ import annotations

from datetime import date, datetime, time, tzinfo
from zoneinfo import ZoneInfo

from gradation.models import Laboratory, Run

__all__ = ["day_of", "day_of_work", "laboratory_zone", "noon_of"]


def laboratory_zone(laboratory: Laboratory | None = None) -> ZoneInfo:
    """Give the time zone in which the laboratory counts its days; UTC before it is set up."""
    laboratory = laboratory or Laboratory.objects.first()
    return ZoneInfo(laboratory.time_zone if laboratory else "UTC")


def day_of(moment: datetime, zone: tzinfo | None = None) -> date:
    """Say on which day of the laboratory a moment fell; its zone is read unless given."""
    return moment.astimezone(zone or laboratory_zone()).date()


def day_of_work(run: Run, zone: tzinfo | None = None) -> date:
    """Say on which day a run was worked: the one its paper names, else the one it was opened on."""
    paper = run.on_paper
    return day_of(run.opened_at, zone) if paper is None else paper.performed_on


def noon_of(day: date, zone: tzinfo) -> datetime:
    """Give the moment for which a day without a time stands.

    At noon it stays on its day when the laboratory's zone is corrected by some hours.
    """
    return datetime.combine(day, time(12), zone)
