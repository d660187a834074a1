"""Specifications: what the customer or a standard asks of the gradation."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from gradation.models.procedures import VersionState, choices
from gradation.science.envelopes import LineKind


class DecisionRule(StrEnum):
    """How uncertainty enters the verdict (ILAC-G8:09/2019)."""

    PLAIN = "plain_acceptance"
    GUARD_BAND = "guard_band"


class Specification(models.Model):
    """A specification under one code; its limits are in its versions."""

    code = models.CharField(max_length=40)
    title = models.CharField(max_length=160)
    owner = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["code"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["code"], name="specification_code_unique"),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.title}"


class SpecificationVersion(models.Model):
    """One edition of a specification, valid between two dates that overlap no other's."""

    specification = models.ForeignKey(
        Specification, on_delete=models.PROTECT, related_name="versions"
    )
    version = models.PositiveSmallIntegerField()
    state = models.CharField(
        max_length=10, choices=choices(VersionState), default=VersionState.DRAFT.value
    )
    clause = models.CharField(max_length=120, blank=True)
    source = models.CharField(max_length=240, blank=True)
    effective_from = models.DateField()
    effective_to = models.DateField(null=True, blank=True)
    decision_rule = models.CharField(
        max_length=20, choices=choices(DecisionRule), default=DecisionRule.PLAIN.value
    )
    interpolate_missing = models.BooleanField(
        default=False, help_text="Interpolate a limit whose sieve is not in the nest."
    )

    class Meta:
        ordering: ClassVar[list[str]] = ["specification__code", "-version"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(
                fields=["specification", "version"], name="specificationversion_number_unique"
            ),
            models.CheckConstraint(
                condition=Q(effective_to__isnull=True) | Q(effective_to__gte=F("effective_from")),
                name="specificationversion_dates_ordered",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.specification.code} v{self.version}"


class SpecificationLine(models.Model):
    """One limit: on a sieve, between two sieves, or on a characteristic value [% or its unit]."""

    version = models.ForeignKey(
        SpecificationVersion, on_delete=models.CASCADE, related_name="lines"
    )
    position = models.PositiveSmallIntegerField()
    kind = models.CharField(
        max_length=16, choices=choices(LineKind), default=LineKind.PASSING.value
    )
    aperture_um = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    finer_aperture_um = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    characteristic = models.CharField(max_length=40, blank=True)
    minimum = models.DecimalField(max_digits=10, decimal_places=4, null=True, blank=True)
    maximum = models.DecimalField(max_digits=10, decimal_places=4, null=True, blank=True)
    target = models.DecimalField(max_digits=10, decimal_places=4, null=True, blank=True)
    tolerance = models.DecimalField(max_digits=10, decimal_places=4, null=True, blank=True)
    is_inclusive = models.BooleanField(default=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["position"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(
                fields=["version", "position"], name="specificationline_position_unique"
            ),
            models.CheckConstraint(
                condition=Q(minimum__isnull=True)
                | Q(maximum__isnull=True)
                | Q(minimum__lte=F("maximum")),
                name="specificationline_limits_ordered",
            ),
            models.CheckConstraint(
                condition=Q(kind=LineKind.CHARACTERISTIC.value, characteristic__gt="")
                | Q(
                    kind__in=[LineKind.PASSING.value, LineKind.RETAINED.value],
                    aperture_um__gt=0,
                )
                | Q(
                    kind=LineKind.BETWEEN.value,
                    aperture_um__gt=F("finer_aperture_um"),
                    finer_aperture_um__gte=0,
                ),
                name="specificationline_says_what",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.aperture_um or self.characteristic}"
