"""Blends of stockpiles that were worked out and kept."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q


class BlendRecord(models.Model):
    """One blend as it was calculated: stockpiles, limits and shares, frozen. Never changed."""

    number = models.CharField(max_length=20)
    title = models.CharField(max_length=160)
    note = models.TextField(blank=True)
    specification_version = models.ForeignKey(
        "gradation.SpecificationVersion",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="blends",
    )
    inputs = models.JSONField(help_text="The calculation that was asked for, as compute takes it.")
    inputs_digest = models.CharField(max_length=64)
    sources = models.JSONField(help_text="Where each stockpile's curve came from, with the curve.")
    values = models.JSONField(help_text="What the calculation answered.")
    exists = models.BooleanField(help_text="Whether a blend meets every limit.")
    science_version = models.CharField(max_length=20)
    computed_at = models.DateTimeField()
    computed_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["number"], name="blendrecord_number_unique"),
            models.CheckConstraint(condition=Q(title__gt=""), name="blendrecord_has_title"),
        ]

    def __str__(self) -> str:
        return self.number
