"""Competence: who was found able to work a procedure, from when and until when."""

from __future__ import annotations

from datetime import date
from typing import ClassVar

from django.db import models
from django.db.models import F, Q


class Competence(models.Model):
    """One authorisation of a person for a procedure; renewed by a further row, never edited."""

    person = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, related_name="competences"
    )
    procedure = models.ForeignKey(
        "gradation.Procedure", on_delete=models.PROTECT, related_name="competences"
    )
    valid_from = models.DateField()
    valid_until = models.DateField(null=True, blank=True, help_text="That day included.")
    evidence = models.CharField(max_length=240, help_text="What it was judged by.")
    granted_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    granted_at = models.DateTimeField()
    withdrawn_on = models.DateField(null=True, blank=True)
    withdrawn_reason = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["person", "procedure", "-valid_from", "-id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(
                condition=Q(valid_until__isnull=True) | Q(valid_until__gte=F("valid_from")),
                name="competence_dates_ordered",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_on__isnull=True) | Q(withdrawn_reason__gt=""),
                name="competence_withdrawn_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person} for {self.procedure.code}"

    def holds_on(self, day: date) -> bool:
        """Say whether it holds on a day."""
        ends = [end for end in (self.valid_until, self._last_day) if end is not None]
        return self.valid_from <= day and all(day <= end for end in ends)

    @property
    def _last_day(self) -> date | None:
        """Give the last day before it was withdrawn; the day of withdrawal itself is out."""
        if self.withdrawn_on is None:
            return None
        return date.fromordinal(self.withdrawn_on.toordinal() - 1)
