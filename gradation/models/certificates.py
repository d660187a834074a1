"""Certificates: frozen content, its PDF, and the line of amendments."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import Q

from gradation.models.procedures import choices


class Certificate(models.Model):
    """A certificate of analysis. Once issued nothing in it changes; an amendment is a new one."""

    class State(StrEnum):
        """From draft to what a reader may rely on."""

        DRAFT = "draft"
        ISSUED = "issued"
        SUPERSEDED = "superseded"
        WITHDRAWN = "withdrawn"

    number = models.CharField(max_length=20, null=True, blank=True)  # noqa: DJ001 - unique when given
    sample = models.ForeignKey(
        "gradation.Sample", on_delete=models.PROTECT, related_name="certificates"
    )
    runs = models.ManyToManyField("gradation.Run", related_name="certificates")
    state = models.CharField(max_length=12, choices=choices(State), default=State.DRAFT.value)
    remarks = models.TextField(blank=True)
    content = models.JSONField(null=True, blank=True)
    pdf = models.BinaryField(null=True, blank=True)
    pdf_sha256 = models.CharField(max_length=64, blank=True)
    verification_code = models.CharField(max_length=40, blank=True)
    drafted_at = models.DateTimeField()
    drafted_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    issued_at = models.DateTimeField(null=True, blank=True)
    issued_by = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    issued_by_name = models.CharField(max_length=120, blank=True)
    meaning = models.CharField(max_length=160, blank=True)
    amends = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="amended_by"
    )
    reason = models.CharField(max_length=400, blank=True, help_text="Why it amends another.")
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawal_reason = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        indexes: ClassVar[list[models.Index]] = [
            models.Index(fields=["state", "-id"], name="certificate_by_state"),
        ]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["number"], name="certificate_number_unique"),
            models.UniqueConstraint(
                fields=["verification_code"],
                condition=Q(verification_code__gt=""),
                name="certificate_code_unique",
            ),
            models.CheckConstraint(
                condition=Q(state="draft", number__isnull=True)
                | (
                    ~Q(state="draft")
                    & Q(number__isnull=False, issued_at__isnull=False, issued_by__isnull=False)
                    & Q(pdf_sha256__gt="", content__isnull=False)
                ),
                name="certificate_issued_is_whole",
            ),
            models.CheckConstraint(
                condition=~Q(state="withdrawn") | Q(withdrawal_reason__gt=""),
                name="certificate_withdrawn_has_reason",
            ),
            models.CheckConstraint(
                condition=Q(amends__isnull=True) | Q(reason__gt=""),
                name="certificate_amendment_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return self.number or f"draft {self.pk}"
