"""Impact assessments: what a bad sieve, balance, shaker or person did to which certificates."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import Q

from gradation.models.checks import Check
from gradation.models.equipment import Equipment
from gradation.models.procedures import choices


class ImpactAssessment(models.Model):
    """One look back from a finding to the last good evidence, and what was decided."""

    class State(StrEnum):
        """Whether every certificate has been decided on."""

        OPEN = "open"
        CLOSED = "closed"

    equipment = models.ForeignKey(
        Equipment, on_delete=models.PROTECT, null=True, blank=True, related_name="impacts"
    )
    person = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="impacts"
    )
    failed_check = models.ForeignKey(
        Check, on_delete=models.PROTECT, null=True, blank=True, related_name="impacts"
    )
    last_good_check = models.ForeignKey(
        Check, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    period_from = models.DateField()
    period_to = models.DateField()
    found_aperture_um = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    found_error_pct = models.DecimalField(
        max_digits=8, decimal_places=4, null=True, blank=True, help_text="Of a balance's reading."
    )
    reason = models.CharField(max_length=400)
    state = models.CharField(max_length=8, choices=choices(State), default=State.OPEN.value)
    conclusion = models.TextField(blank=True)
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(
                condition=Q(equipment__isnull=False, person__isnull=True)
                | Q(equipment__isnull=True, person__isnull=False),
                name="impact_of_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(period_to__gte=models.F("period_from")), name="impact_period_ordered"
            ),
            models.CheckConstraint(
                condition=~Q(state="closed")
                | Q(conclusion__gt="", closed_at__isnull=False, closed_by__isnull=False),
                name="impact_closed_is_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"impact assessment {self.pk}"


class ImpactDecision(models.Model):
    """What was decided on one certificate, and why."""

    class Verdict(StrEnum):
        """What becomes of the certificate."""

        STANDS = "stands"
        RETEST = "retest"
        AMEND = "amend"
        WITHDRAW = "withdraw"

    assessment = models.ForeignKey(
        ImpactAssessment, on_delete=models.PROTECT, related_name="decisions"
    )
    certificate = models.ForeignKey(
        "gradation.Certificate", on_delete=models.PROTECT, related_name="impact_decisions"
    )
    verdict = models.CharField(max_length=8, choices=choices(Verdict))
    reason = models.CharField(max_length=400)
    decided_at = models.DateTimeField()
    decided_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(condition=Q(reason__gt=""), name="impactdecision_has_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.certificate}: {self.verdict}"
