"""Specifications: what the customer or a standard asks of the gradation."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from gradation.models.procedures import VersionState, choices
from gradation.science.envelopes import LineKind
from gradation.science.lots import LotRule

__all__ = [
    "DecisionRule",
    "LotRule",
    "Specification",
    "SpecificationLine",
    "SpecificationVersion",
]


class DecisionRule(StrEnum):
    """How uncertainty enters the verdict (ILAC-G8:09/2019)."""

    PLAIN = "plain_acceptance"
    GUARD_BAND = "guard_band"
    PROBABILITY = "probability"


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
    replaces = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaced_by"
    )
    product = models.CharField(max_length=160, blank=True)
    clause = models.CharField(max_length=120, blank=True)
    source = models.CharField(max_length=240, blank=True)
    library_key = models.CharField(
        max_length=60, blank=True, help_text="The kept table it was drafted from."
    )
    unconfirmed_note = models.CharField(
        max_length=240, blank=True, help_text="Figures to confirm against the laboratory's edition."
    )
    confirmation = models.CharField(
        max_length=240,
        blank=True,
        help_text="Against which copy the figures kept from memory were confirmed.",
    )
    effective_from = models.DateField()
    effective_to = models.DateField(null=True, blank=True)
    decision_rule = models.CharField(
        max_length=20, choices=choices(DecisionRule), default=DecisionRule.PLAIN.value
    )
    confidence = models.DecimalField(
        max_digits=5, decimal_places=4, default=Decimal("0.95"), help_text="Of the decision rule."
    )
    guard_factor = models.DecimalField(
        max_digits=5, decimal_places=3, default=1, help_text="Guard band over the uncertainty."
    )
    lot_rule = models.CharField(
        max_length=24, choices=choices(LotRule), default=LotRule.SINGLE.value
    )
    lot_size = models.PositiveSmallIntegerField(
        default=1, help_text="Results that are taken together."
    )
    lot_share_pct = models.DecimalField(
        max_digits=5,
        decimal_places=2,
        null=True,
        blank=True,
        help_text="Least percentage within limits.",
    )
    neighbour_maximum_pct = models.DecimalField(
        max_digits=5,
        decimal_places=2,
        null=True,
        blank=True,
        help_text="Largest percentage between two neighbouring sieves of this specification.",
    )
    interpolate_missing = models.BooleanField(
        default=False, help_text="Interpolate a limit whose sieve is not in the nest."
    )
    certificate_wording = models.CharField(
        max_length=400, blank=True, help_text="What a certificate says of the comparison."
    )

    drafted_by = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    drafted_at = models.DateTimeField(null=True, blank=True)
    proposed_by = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    proposed_at = models.DateTimeField(null=True, blank=True)
    approved_by = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    approved_at = models.DateTimeField(null=True, blank=True)

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
            models.CheckConstraint(
                condition=Q(confidence__gte=Decimal("0.5"), confidence__lt=1, guard_factor__gte=0),
                name="specificationversion_rule_possible",
            ),
            models.CheckConstraint(
                condition=Q(lot_size__gte=1), name="specificationversion_lot_not_empty"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.specification.code} v{self.version}"

    def is_valid_on(self, day: date) -> bool:
        """Say whether a day lies between its two dates."""
        return self.effective_from <= day and (
            self.effective_to is None or day <= self.effective_to
        )


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
    decimals = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Empty: as the procedure reports."
    )
    is_confirmed_size = models.BooleanField(
        default=False, help_text="Meant so, although no standard series has the size."
    )
    mark = models.CharField(
        max_length=20, blank=True, help_text="How sure the figures of a kept table are."
    )

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
