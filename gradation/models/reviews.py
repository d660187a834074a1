"""Review: that somebody went through the history of a run before answering for it."""

from __future__ import annotations

from typing import ClassVar

from django.db import models


class TrailReview(models.Model):
    """One look through the history of a run, up to an entry of its sample's chain. Append-only.

    What is written about the run after that entry has not been looked at; before a certificate is
    issued somebody looks again.
    """

    run = models.ForeignKey("gradation.Run", on_delete=models.PROTECT, related_name="trail_reviews")
    reviewer = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    looked_at = models.DateTimeField()
    seen_sequence = models.PositiveIntegerField(help_text="Of the newest entry that was shown.")
    entries = models.PositiveIntegerField(help_text="How many entries about the run were shown.")
    note = models.CharField(max_length=400, blank=True, help_text="What was thought of them.")

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(
                condition=models.Q(seen_sequence__gt=0), name="trailreview_saw_something"
            ),
        ]

    def __str__(self) -> str:
        return f"history of {self.run} to entry {self.seen_sequence}"
