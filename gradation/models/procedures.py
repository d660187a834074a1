"""Procedures: how a material is tested. A version is frozen once a run has used it."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from gradation.science.gradation import Basis
from gradation.science.interpolation import Interpolation
from gradation.science.rounding import RoundingMode
from gradation.science.worksheet_form import Entry


class VersionState(StrEnum):
    """The life of a version of a procedure or specification."""

    DRAFT = "draft"
    RELEASED = "released"
    RETIRED = "retired"


def choices(members: type[StrEnum]) -> list[tuple[str, str]]:
    """List the members as database choices."""
    return [(member.value, member.value.replace("_", " ")) for member in members]


class Procedure(models.Model):
    """A procedure under one code; what it says is in its versions."""

    code = models.CharField(max_length=40)
    title = models.CharField(max_length=160)

    class Meta:
        ordering: ClassVar[list[str]] = ["code"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["code"], name="procedure_code_unique"),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.title}"


class ProcedureVersion(models.Model):
    """One edition of a procedure. Nothing in it changes once it is released."""

    procedure = models.ForeignKey(Procedure, on_delete=models.PROTECT, related_name="versions")
    version = models.PositiveSmallIntegerField()
    state = models.CharField(
        max_length=10, choices=choices(VersionState), default=VersionState.DRAFT.value
    )
    standard_reference = models.CharField(max_length=160)
    edition = models.CharField(max_length=80)
    unconfirmed_note = models.CharField(
        max_length=240, blank=True, help_text="Figures to confirm against the laboratory's edition."
    )

    confirmation = models.CharField(
        max_length=240,
        blank=True,
        help_text="Against which copy the figures kept from memory were confirmed.",
    )

    basis = models.CharField(max_length=20, choices=choices(Basis))
    entry = models.CharField(max_length=12, choices=choices(Entry), default=Entry.INDIVIDUAL.value)
    wash = models.BooleanField(default=False)
    guard_aperture_um = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    drying = models.CharField(max_length=160, blank=True)

    loss_limit_pct = models.DecimalField(max_digits=5, decimal_places=2)
    loss_rule = models.CharField(
        max_length=40, blank=True, help_text="Row of the acceptance table."
    )
    loading_rule = models.CharField(
        max_length=40, blank=True, help_text="Row of the loading table."
    )
    portion_rule = models.CharField(max_length=40, blank=True, help_text="Minimum-mass table.")
    minimum_portion_g = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    maximum_portion_g = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    determinations = models.PositiveSmallIntegerField(default=1)

    passing_decimals = models.PositiveSmallIntegerField(default=0)
    rounding_mode = models.CharField(
        max_length=12, choices=choices(RoundingMode), default=RoundingMode.HALF_EVEN.value
    )
    fine_aperture_um = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    fine_below_pct = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    fine_decimals = models.PositiveSmallIntegerField(null=True, blank=True)
    interpolation = models.CharField(
        max_length=20, choices=choices(Interpolation), default=Interpolation.LOG_LINEAR.value
    )

    shaking_motion = models.CharField(max_length=80, blank=True)
    shaking_minutes = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    shaking_amplitude_mm = models.DecimalField(
        max_digits=5, decimal_places=2, null=True, blank=True, help_text="Peak to peak."
    )
    shaking_frequency_hz = models.DecimalField(
        max_digits=5, decimal_places=1, null=True, blank=True
    )
    end_point = models.CharField(max_length=200, blank=True)
    cautions = models.TextField(blank=True)

    released_at = models.DateTimeField(null=True, blank=True)
    released_by = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering: ClassVar[list[str]] = ["procedure__code", "-version"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(
                fields=["procedure", "version"], name="procedureversion_number_unique"
            ),
            models.UniqueConstraint(
                fields=["procedure"],
                condition=Q(state=VersionState.RELEASED.value),
                name="procedureversion_one_released",
            ),
            models.CheckConstraint(
                condition=Q(loss_limit_pct__gt=0), name="procedureversion_loss_limit_positive"
            ),
            models.CheckConstraint(
                condition=Q(determinations__gte=1), name="procedureversion_determinations_positive"
            ),
            models.CheckConstraint(
                condition=Q(maximum_portion_g__isnull=True)
                | Q(minimum_portion_g__isnull=True)
                | Q(maximum_portion_g__gte=F("minimum_portion_g")),
                name="procedureversion_portion_band_ordered",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.procedure.code} v{self.version}"

    @property
    def is_released(self) -> bool:
        """Say whether runs may use this version."""
        return self.state == VersionState.RELEASED


class ProcedureAperture(models.Model):
    """One sieve size of a procedure's nest, coarse to fine."""

    version = models.ForeignKey(
        ProcedureVersion, on_delete=models.CASCADE, related_name="apertures"
    )
    position = models.PositiveSmallIntegerField()
    aperture_um = models.DecimalField(max_digits=10, decimal_places=2)

    class Meta:
        ordering: ClassVar[list[str]] = ["position"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(
                fields=["version", "position"], name="procedureaperture_position_unique"
            ),
            models.UniqueConstraint(
                fields=["version", "aperture_um"], name="procedureaperture_size_unique"
            ),
            models.CheckConstraint(
                condition=Q(aperture_um__gt=0), name="procedureaperture_size_positive"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.position}: {self.aperture_um} µm"
