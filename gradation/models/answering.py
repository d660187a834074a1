"""What is out of the ordinary and waits until somebody says what caused it and what was done."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

__all__ = ["Answered", "answer_is_whole", "still_open"]


class Answered(models.Model):
    """Something to be answered once; opened by the records, never closed without both words."""

    opened_at = models.DateTimeField()
    cause = models.CharField(max_length=400, blank=True)
    done = models.CharField(max_length=400, blank=True, help_text="What was done.")
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        abstract = True

    @property
    def is_open(self) -> bool:
        """Say whether it still waits for its answer."""
        return self.answered_at is None


def answer_is_whole(name: str) -> models.CheckConstraint:
    """Give the rule that an answer names who, the cause and what was done."""
    return models.CheckConstraint(
        condition=Q(answered_at__isnull=True)
        | Q(answered_by__isnull=False, cause__gt="", done__gt=""),
        name=name,
    )


def still_open(name: str) -> models.Index:
    """Give the index by which those that wait are found, the newest first."""
    return models.Index(fields=["-id"], condition=Q(answered_at__isnull=True), name=name)
