"""Studies of precision and comparison, and the follow-ups that a bad score asks for."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import Q

from gradation.models.answering import Answered, answer_is_whole, still_open
from gradation.models.procedures import choices


class Study(models.Model):
    """One study: what was entered and what it gave. A draft may change; a kept one never."""

    class Kind(StrEnum):
        """What is compared."""

        PRECISION = "precision"
        BENCHES = "comparison of benches or laboratories"
        ROUND = "comparison round"
        METHODS = "two methods"

    class State(StrEnum):
        """How far it is."""

        DRAFT = "draft"
        KEPT = "kept"
        GIVEN_UP = "given up"

    number = models.CharField(max_length=20)
    kind = models.CharField(max_length=40, choices=choices(Kind))
    state = models.CharField(max_length=12, choices=choices(State), default=State.DRAFT.value)
    title = models.CharField(max_length=160)
    figure = models.CharField(
        max_length=48, blank=True, help_text="As charts name it: passing_600, d50; '': all sieves."
    )
    material = models.ForeignKey(
        "gradation.Material",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="studies",
    )
    valid_for = models.CharField(
        max_length=240, blank=True, help_text="Material and range that the finding holds for."
    )
    note = models.TextField(blank=True, max_length=2000)
    entered = models.JSONField(default=dict, blank=True, help_text="The form as it was filled in.")
    inputs = models.JSONField(help_text="What was asked of the calculation, with its sources.")
    inputs_digest = models.CharField(max_length=64)
    figures = models.JSONField(help_text="What the calculation answered.")
    sentence = models.CharField(max_length=400, help_text="The finding in words.")
    science_version = models.CharField(max_length=20)
    computed_at = models.DateTimeField()
    computed_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    kept_at = models.DateTimeField(null=True, blank=True)
    kept_by = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    given_up_reason = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["number"], name="study_number_unique"),
            models.CheckConstraint(condition=Q(title__gt=""), name="study_has_title"),
            models.CheckConstraint(
                condition=~Q(state="kept") | Q(kept_at__isnull=False, kept_by__isnull=False),
                name="study_kept_by_somebody",
            ),
            models.CheckConstraint(
                condition=~Q(state="given up") | Q(given_up_reason__gt=""),
                name="study_given_up_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def is_draft(self) -> bool:
        """Say whether it may still be changed."""
        return self.state == Study.State.DRAFT


class StudyFollowUp(Answered):
    """A score that somebody must answer: what caused it and what was done."""

    study = models.OneToOneField(Study, on_delete=models.PROTECT, related_name="follow_up")
    reasons = models.CharField(max_length=700, help_text="The scores, as sentences.")

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        indexes: ClassVar[list[models.Index]] = [still_open("studyfollowup_open")]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            answer_is_whole("studyfollowup_answer_is_whole"),
        ]

    def __str__(self) -> str:
        return f"{self.study}, follow-up"
