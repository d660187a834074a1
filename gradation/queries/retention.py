"""What is left of samples: what may go, what is kept, and what is held."""

from __future__ import annotations

from datetime import date, timedelta

from django.db.models import Prefetch, QuerySet

from gradation.models import Sample, SampleHold, User
from gradation.queries.samples import samples_visible_to

__all__ = ["SHOWN_AHEAD", "find_hold", "retained"]

SHOWN_AHEAD = timedelta(days=30)


def retained(actor: User, today: date) -> QuerySet[Sample]:
    """List closed samples whose time is over or ends within a month, the oldest day first."""
    open_holds = SampleHold.objects.filter(lifted_at__isnull=True).select_related("held_by")
    return (
        samples_visible_to(actor)
        .filter(
            state__in=[Sample.State.CLOSED, Sample.State.CANCELLED],
            disposed_at__isnull=True,
            retain_until__lte=today + SHOWN_AHEAD,
        )
        .prefetch_related(Prefetch("holds", open_holds, to_attr="open_holds"))
        .order_by("retain_until", "id")
    )


def find_hold(actor: User, pk: int) -> SampleHold | None:
    """Give a hold of a sample that the person may see."""
    rows = SampleHold.objects.select_related("sample", "held_by")
    return rows.filter(pk=pk, sample__in=samples_visible_to(actor)).first()
