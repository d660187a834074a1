"""Checks at the bench: how grave each is in this laboratory, what they found, what was answered."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import Q

from gradation.models.procedures import choices


class Severity(StrEnum):
    """What a finding asks of the person at the bench."""

    NOTE = "note"
    REASON = "reason"
    STOP = "stop"


class Stage(StrEnum):
    """When in a run's course a check is asked."""

    OPENING = "opening"
    WEIGHING = "weighing"
    HAND_OVER = "hand-over"
    REVIEW = "review"


class RunCheckPolicy(models.Model):
    """The laboratory's own choice for one check; without a row its default holds."""

    code = models.CharField(max_length=40)
    severity = models.CharField(max_length=8, choices=choices(Severity))
    override_role = models.CharField(
        max_length=24, blank=True, help_text="Who may lift a stop; empty: nobody."
    )
    limits = models.JSONField(default=dict, blank=True, help_text="Figures by name, as text.")

    class Meta:
        ordering: ClassVar[list[str]] = ["code"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["code"], name="runcheckpolicy_code_unique"),
        ]

    def __str__(self) -> str:
        return f"check {self.code}"


class RunCheckFinding(models.Model):
    """What a check found when a run was opened or handed over, as it stood. Append-only."""

    run = models.ForeignKey(
        "gradation.Run", on_delete=models.PROTECT, related_name="check_findings"
    )
    code = models.CharField(max_length=40)
    stage = models.CharField(max_length=12, choices=choices(Stage))
    severity = models.CharField(max_length=8, choices=choices(Severity))
    place = models.CharField(max_length=60, help_text="The row it is about.")
    sentence = models.TextField()
    found_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        indexes: ClassVar[list[models.Index]] = [
            models.Index(fields=["found_at", "code"], name="runcheckfinding_by_time"),
        ]

    def __str__(self) -> str:
        return self.sentence


class RunCheckAnswer(models.Model):
    """The reason given for one finding as it stood, or its override. Append-only."""

    run = models.ForeignKey("gradation.Run", on_delete=models.PROTECT, related_name="check_answers")
    code = models.CharField(max_length=40)
    place = models.CharField(max_length=60)
    sentence = models.TextField(help_text="The finding's own words.")
    reason = models.CharField(max_length=400)
    is_override = models.BooleanField(default=False)
    answered_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    answered_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        indexes: ClassVar[list[models.Index]] = [
            models.Index(fields=["answered_at", "code"], name="runcheckanswer_by_time"),
        ]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(condition=Q(reason__gt=""), name="runcheckanswer_has_reason"),
        ]

    def __str__(self) -> str:
        return self.reason
