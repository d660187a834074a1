"""Checks of equipment: figures, computed verdict, evidence; tares; reference lots; attachments."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from django.db.models import Q

from gradation.models.equipment import Equipment, Sieve
from gradation.models.procedures import choices


class ReferenceLot(models.Model):
    """A lot of reference material with its certified distribution, and how often it was used."""

    name = models.CharField(max_length=120)
    lot = models.CharField(max_length=80)
    certificate = models.CharField(max_length=120)
    certified = models.JSONField(
        help_text="List of {aperture_um, passing_pct, u_pct}, coarse to fine, as text."
    )
    opened_on = models.DateField(null=True, blank=True)
    expires_on = models.DateField(null=True, blank=True)
    most_uses = models.PositiveIntegerField(null=True, blank=True)
    use_count = models.PositiveIntegerField(default=0)
    is_active = models.BooleanField(default=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["name", "lot"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["name", "lot"], name="referencelot_unique"),
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.lot}"


class Check(models.Model):
    """One check of one item: what was found, the verdict computed from it, when the next is due."""

    class Kind(StrEnum):
        """What kind of evidence the check gives."""

        VISUAL = "visual"
        APERTURE = "aperture measurement"
        REFERENCE = "reference material"
        MASTER = "against master sieve"
        WEIGHTS = "check weights"
        SHAKER = "amplitude and timer"
        TEMPERATURE = "temperature"
        HALVES = "equal halves"

    equipment = models.ForeignKey(Equipment, on_delete=models.PROTECT, related_name="checks")
    kind = models.CharField(max_length=24, choices=choices(Kind))
    performed_on = models.DateField()
    performed_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    passed = models.BooleanField()
    sentence = models.CharField(max_length=400, help_text="The verdict in words, computed.")
    edition = models.CharField(max_length=80, blank=True)
    readings = models.JSONField(default=dict, blank=True, encoder=DjangoJSONEncoder)
    findings = models.JSONField(default=dict, blank=True, encoder=DjangoJSONEncoder)
    found_aperture_um = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    found_u_um = models.DecimalField(max_digits=10, decimal_places=3, null=True, blank=True)
    uses_at_check = models.PositiveIntegerField(default=0)
    reference_lot = models.ForeignKey(
        ReferenceLot, on_delete=models.PROTECT, null=True, blank=True, related_name="checks"
    )
    master = models.ForeignKey(
        Sieve, on_delete=models.PROTECT, null=True, blank=True, related_name="master_checks"
    )
    note = models.TextField(blank=True)
    next_due_on = models.DateField(null=True, blank=True)
    next_due_at_use = models.PositiveIntegerField(null=True, blank=True)
    recorded_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar[list[str]] = ["-performed_on", "-id"]
        indexes: ClassVar[list[models.Index]] = [
            models.Index(fields=["equipment", "-performed_on"], name="check_latest"),
        ]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(
                condition=Q(found_aperture_um__isnull=True) | Q(found_aperture_um__gt=0),
                name="check_aperture_positive",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.performed_on}"


class Tare(models.Model):
    """An empty mass of a sieve, weighed on its own. Tares of runs are in their weighings."""

    sieve = models.ForeignKey(Sieve, on_delete=models.PROTECT, related_name="tares")
    tare_g = models.DecimalField(max_digits=12, decimal_places=4)
    weighed_at = models.DateTimeField()
    weighed_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=160, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["-weighed_at"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(condition=Q(tare_g__gt=0), name="tare_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.tare_g} g"


class Attachment(models.Model):
    """A file kept with an item or a check: a photograph, a maker's certificate. Never changed."""

    equipment = models.ForeignKey(Equipment, on_delete=models.PROTECT, related_name="attachments")
    check_made = models.ForeignKey(
        Check, on_delete=models.PROTECT, null=True, blank=True, related_name="attachments"
    )
    name = models.CharField(max_length=160)
    media_type = models.CharField(max_length=80)
    size = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    file = models.BinaryField()
    added_at = models.DateTimeField()
    added_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar[list[str]] = ["-added_at"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["equipment", "sha256"], name="attachment_once"),
        ]

    def __str__(self) -> str:
        return self.name
