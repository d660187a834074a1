"""What happened to the installation itself: faults, backups, restores, upgrades."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import Q


class Incident(models.Model):
    """A fault of the program that a request met. It is closed only with its cause."""

    request_id = models.CharField(max_length=40)
    at = models.DateTimeField()
    person = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    method = models.CharField(max_length=8)
    route = models.CharField(max_length=160, help_text="The address's pattern, without its values.")
    kind = models.CharField(max_length=120, help_text="What was raised.")
    place = models.CharField(max_length=200, help_text="Where in the program.")
    trace = models.TextField(help_text="For whoever mends it; no page without the right shows it.")
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    cause = models.CharField(max_length=400, blank=True)
    correction = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True)
                | (Q(cause__gt="") & Q(closed_by__isnull=False)),
                name="incident_closed_has_cause",
            ),
        ]

    def __str__(self) -> str:
        return f"incident {self.pk}: {self.kind}"


class Maintenance(models.Model):
    """A backup, restore or upgrade, with what it covered."""

    class Kind(StrEnum):
        """What was done."""

        BACKUP = "backup"
        RESTORE = "restore"
        UPGRADE = "upgrade"

    kind = models.CharField(max_length=8, choices=[(kind.value, kind.value) for kind in Kind])
    at = models.DateTimeField()
    archive = models.CharField(max_length=240, blank=True)
    archive_sha256 = models.CharField(max_length=64, blank=True)
    rows = models.PositiveBigIntegerField(default=0)
    told = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        verbose_name_plural: ClassVar[str] = "maintenance"

    def __str__(self) -> str:
        return f"{self.kind} of {self.at:%Y-%m-%d}"
