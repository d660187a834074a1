"""Runs whose work was recorded on paper and typed afterwards: the mark, the scans, comparisons."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q


class Transcription(models.Model):
    """That the readings of a run were written on paper and typed afterwards. Never changed."""

    run = models.OneToOneField(
        "gradation.Run", on_delete=models.PROTECT, related_name="transcription"
    )
    performed_on = models.DateField(help_text="The day of the work, as the paper says.")
    performed_by = models.ForeignKey(
        "gradation.User",
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Who worked; who typed stands with each reading.",
    )
    reason = models.CharField(max_length=400, help_text="Why it was recorded on paper.")
    made_at = models.DateTimeField()
    made_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(condition=Q(reason__gt=""), name="transcription_has_reason"),
        ]

    def __str__(self) -> str:
        return f"paper of run {self.run}"


class Scan(models.Model):
    """A scan or photograph of the paper that a run was typed from. Never changed."""

    transcription = models.ForeignKey(Transcription, on_delete=models.PROTECT, related_name="scans")
    name = models.CharField(max_length=160)
    media_type = models.CharField(max_length=80)
    size = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    file = models.BinaryField()
    added_at = models.DateTimeField()
    added_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["transcription", "sha256"], name="scan_once"),
        ]

    def __str__(self) -> str:
        return self.name


class PaperComparison(models.Model):
    """One comparison of what was typed with the paper, by a second person. Never changed.

    It speaks for what stood in the run then: after a correction or a further scan its digest no
    longer fits, and the run is to be compared again.
    """

    transcription = models.ForeignKey(
        Transcription, on_delete=models.PROTECT, related_name="comparisons"
    )
    number = models.PositiveSmallIntegerField()
    agrees = models.BooleanField()
    note = models.CharField(max_length=400, blank=True, help_text="What differs, where it does.")
    compared_sha256 = models.CharField(
        max_length=64, help_text="Digest of what was compared: all that was typed, and the scans."
    )
    made_at = models.DateTimeField()
    made_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar[list[str]] = ["number"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(
                fields=["transcription", "number"], name="papercomparison_number_unique"
            ),
            models.CheckConstraint(
                condition=Q(agrees=True) | Q(note__gt=""), name="papercomparison_says_what_differs"
            ),
        ]

    def __str__(self) -> str:
        return f"comparison {self.number} of the {self.transcription}"
