"""The laboratory itself: what every document prints about it, and its policies."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

from django.db import models


class OverdueRule(StrEnum):
    """What happens when a sieve whose check is overdue is chosen for a run."""

    BLOCK = "block"
    WARN = "warn"


class Laboratory(models.Model):
    """One row: the laboratory's name, address and policies. Changes are written to the ledger."""

    name = models.CharField(max_length=160)
    address = models.TextField()
    work_place = models.CharField(max_length=160, help_text="Where the testing is done.")
    contact = models.CharField(max_length=160, blank=True)
    accreditation = models.CharField(max_length=240, blank=True)
    certificate_title = models.CharField(
        max_length=120, default="Certificate of analysis: particle size by sieving"
    )
    time_zone = models.CharField(max_length=64, default="UTC")

    reviewer_must_differ = models.BooleanField(default=True)
    approver_must_differ = models.BooleanField(
        default=True, help_text="Who proposed a version does not approve it."
    )
    overdue_sieve = models.CharField(
        max_length=8,
        choices=[(rule.value, rule.value) for rule in OverdueRule],
        default=OverdueRule.BLOCK.value,
    )
    balance_not_checked = models.CharField(
        max_length=8,
        choices=[(rule.value, rule.value) for rule in OverdueRule],
        default=OverdueRule.WARN.value,
        help_text="When the balance was not checked on the day of the run.",
    )
    second_factor_required = models.BooleanField(
        default=False,
        help_text="Signatories and quality managers sign in and sign with a one-time code.",
    )
    due_soon_days = models.PositiveSmallIntegerField(default=30)
    retention_days = models.PositiveSmallIntegerField(default=365)

    class Meta:
        verbose_name_plural: ClassVar[str] = "laboratory"
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(condition=models.Q(id=1), name="laboratory_is_one_row"),
        ]

    def __str__(self) -> str:
        return self.name
