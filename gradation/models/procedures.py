"""Procedures: how a material is tested. A version is frozen once a run has used it."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from gradation.science.acceptance import EndPointOf
from gradation.science.gradation import Basis
from gradation.science.interpolation import Interpolation
from gradation.science.rounding import RoundingMode
from gradation.science.worksheet_form import Entry


class VersionState(StrEnum):
    """The life of a version of a procedure or specification."""

    DRAFT = "draft"
    PROPOSED = "proposed"
    RELEASED = "released"
    RETIRED = "retired"


def choices(members: type[StrEnum]) -> list[tuple[str, str]]:
    """List the members as database choices."""
    return [(member.value, member.value.replace("_", " ")) for member in members]


class EndPointForm(StrEnum):
    """How a procedure shows that sieving is complete."""

    NONE = "not asked for"
    EXTRA_MINUTE = "an extra minute by hand"
    SUCCESSIVE = "successive shakings"


class OutlierRule(StrEnum):
    """What a procedure does with a determination that stands apart."""

    NONE = "no test"
    GRUBBS = "grubbs"


class OnDisagreement(StrEnum):
    """What follows when determinations are not repeatable."""

    FURTHER = "a further determination"
    MEDIAN = "report the median"
    REPORT_ALL = "report each and say so"


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
    library_key = models.CharField(
        max_length=60, blank=True, help_text="The kept procedure it was drafted from."
    )

    basis = models.CharField(max_length=20, choices=choices(Basis))
    entry = models.CharField(max_length=12, choices=choices(Entry), default=Entry.INDIVIDUAL.value)
    wash = models.BooleanField(default=False)
    guard_aperture_um = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    drying = models.CharField(max_length=160, blank=True)
    drying_temperature_c = models.DecimalField(
        max_digits=5, decimal_places=1, null=True, blank=True
    )
    constant_mass_pct = models.DecimalField(
        max_digits=5,
        decimal_places=3,
        null=True,
        blank=True,
        help_text="Largest change between two weighings that counts as constant.",
    )
    drying_interval_minutes = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Least time in the oven between two weighings."
    )
    divider_passes = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Least number of passes; empty: division is free."
    )
    balance_readability_g = models.DecimalField(
        max_digits=10, decimal_places=4, null=True, blank=True
    )

    loss_limit_pct = models.DecimalField(max_digits=5, decimal_places=2)
    loss_rule = models.CharField(
        max_length=40, blank=True, help_text="Row of the acceptance table."
    )
    frame_diameter_mm = models.DecimalField(
        max_digits=6, decimal_places=1, null=True, blank=True, help_text="Empty: any, but one."
    )
    frame_height_mm = models.DecimalField(
        max_digits=6, decimal_places=1, null=True, blank=True, help_text="Empty: any."
    )
    loading_rule = models.CharField(
        max_length=40, blank=True, help_text="Row of the loading table."
    )
    portion_rule = models.CharField(max_length=40, blank=True, help_text="Minimum-mass table.")
    minimum_portion_g = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    maximum_portion_g = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    determinations = models.PositiveSmallIntegerField(default=1)
    determinations_most = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="How many may be made when they disagree."
    )
    repeatability_of = models.CharField(
        max_length=40,
        blank=True,
        help_text="Characteristic that determinations are compared by; empty: each passing.",
    )
    repeatability_sd = models.DecimalField(
        max_digits=8,
        decimal_places=4,
        null=True,
        blank=True,
        help_text="Standard deviation of repeatability, in the unit of the figure.",
    )
    repeatability_limit = models.DecimalField(
        max_digits=8,
        decimal_places=4,
        null=True,
        blank=True,
        help_text="Largest range of the determinations, in the unit of the figure.",
    )
    outlier_rule = models.CharField(
        max_length=16, choices=choices(OutlierRule), default=OutlierRule.NONE.value
    )
    on_disagreement = models.CharField(
        max_length=32, choices=choices(OnDisagreement), default=OnDisagreement.FURTHER.value
    )

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
    shaking_acceleration_g = models.DecimalField(
        max_digits=6, decimal_places=2, null=True, blank=True, help_text="Peak."
    )
    shaking_interval_s = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Time between pauses; empty: without pauses."
    )
    shaking_taps_per_min = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Of a shaker that taps as it turns."
    )
    shaking_tolerance_pct = models.DecimalField(
        max_digits=5,
        decimal_places=1,
        default=5,
        help_text="How far time and acceleration may differ and still count as the same.",
    )
    wet_sieving = models.BooleanField(default=False)
    aids = models.CharField(max_length=160, blank=True, help_text="Sieving aids it allows.")
    end_point = models.CharField(max_length=200, blank=True)
    end_point_form = models.CharField(
        max_length=32, choices=choices(EndPointForm), default=EndPointForm.NONE.value
    )
    end_point_rule = models.CharField(
        max_length=40, blank=True, help_text="Row of the acceptance table."
    )
    end_point_limit_pct = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    end_point_of = models.CharField(
        max_length=8, choices=choices(EndPointOf), default=EndPointOf.TOTAL.value
    )
    material_classes = models.CharField(
        max_length=240, blank=True, help_text="Materials that it is meant for."
    )
    authorisation = models.CharField(
        max_length=240, blank=True, help_text="Scope, or how the laboratory verified the method."
    )
    conventions = models.CharField(
        max_length=240, blank=True, help_text="Named sets of factors and moduli it calculates by."
    )
    precision_statement = models.TextField(
        blank=True, max_length=1000, help_text="What the method says of its own precision."
    )
    cautions = models.TextField(blank=True)
    report_items = models.JSONField(
        default=list, blank=True, help_text="What a report by this method has to state."
    )

    drafted_by = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    drafted_at = models.DateTimeField(null=True, blank=True)
    proposed_by = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    proposed_at = models.DateTimeField(null=True, blank=True)
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
    is_optional = models.BooleanField(default=False, help_text="The nest may do without it.")
    is_split = models.BooleanField(
        default=False, help_text="What passes is reduced before it is sieved on."
    )
    is_confirmed_size = models.BooleanField(
        default=False, help_text="A size outside the standard series, meant so."
    )

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


class EditionDecision(models.Model):
    """What was decided for a sample in work when a newer version of its procedure was released."""

    sample = models.ForeignKey(
        "gradation.Sample", on_delete=models.PROTECT, related_name="edition_decisions"
    )
    former = models.ForeignKey(ProcedureVersion, on_delete=models.PROTECT, related_name="+")
    version = models.ForeignKey(
        ProcedureVersion, on_delete=models.PROTECT, related_name="edition_decisions"
    )
    is_moved = models.BooleanField(help_text="Tested by the newer version from now on.")
    reason = models.CharField(max_length=400)
    decided_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(
                fields=["sample", "version"], name="editiondecision_once_per_version"
            ),
            models.CheckConstraint(condition=Q(reason__gt=""), name="editiondecision_has_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.sample}: {self.version if self.is_moved else self.former}"
