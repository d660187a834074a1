"""Tokens of client systems: what a balance gateway or another program signs in with."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import Q


class Scope(StrEnum):
    """What a token is good for: an act and an area, as the address and method mean them."""

    READ_SAMPLES = "read samples"
    WRITE_SAMPLES = "write samples"
    READ_PORTIONS = "read portions"
    WRITE_PORTIONS = "write portions"
    READ_RUNS = "read runs"
    WRITE_RUNS = "write runs"
    READ_PARTIES = "read parties"
    WRITE_PARTIES = "write parties"
    REVIEW_RUNS = "review runs"
    READ_CERTIFICATES = "read certificates"
    WRITE_CERTIFICATES = "write certificates"
    READ_EQUIPMENT = "read equipment"
    WRITE_EQUIPMENT = "write equipment"
    READ_PROCEDURES = "read procedures"
    WRITE_PROCEDURES = "write procedures"
    READ_SPECIFICATIONS = "read specifications"
    WRITE_SPECIFICATIONS = "write specifications"
    READ_CHARTS = "read charts"
    WRITE_CHARTS = "write charts"
    READ_IMPACT = "read impact"
    WRITE_IMPACT = "write impact"
    READ_LABORATORY = "read laboratory"
    WRITE_LABORATORY = "write laboratory"
    READ_BLENDS = "read blends"
    WRITE_BLENDS = "write blends"
    READ_STUDIES = "read studies"
    WRITE_STUDIES = "write studies"
    READ_EXPORTS = "read exports"
    READ_IMPORTS = "read imports"
    WRITE_IMPORTS = "write imports"
    READ_WEBHOOKS = "read webhooks"
    WRITE_WEBHOOKS = "write webhooks"
    READ_GRADATIONS = "read gradations"
    READ_BENCH_READINGS = "read bench readings"
    WRITE_BENCH_READINGS = "write bench readings"


class ApiToken(models.Model):
    """One system's token. The secret is shown once and kept as a keyed digest only.

    What the system does, it does for the owner: never more than the owner may, and of that only
    what the scopes name. With a bench, its readings go to that bench and no other.
    """

    name = models.CharField(max_length=80)
    public_id = models.CharField(max_length=10)
    secret_digest = models.CharField(max_length=64)
    owner = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="tokens")
    bench = models.ForeignKey(
        "gradation.Bench", on_delete=models.PROTECT, null=True, blank=True, related_name="tokens"
    )
    scopes = models.JSONField(help_text="Scopes, as words.")
    created_at = models.DateTimeField()
    created_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    expires_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoke_reason = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["public_id"], name="apitoken_public_id_unique"),
            models.CheckConstraint(
                condition=Q(revoked_at__isnull=True) | Q(revoke_reason__gt=""),
                name="apitoken_revoked_has_reason",
            ),
            models.CheckConstraint(
                condition=Q(expires_at__gt=models.F("created_at")),
                name="apitoken_expires_after_creation",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.public_id})"
