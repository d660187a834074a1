"""Equipment: everything that is checked and falls due; test sieves above all, and their nests.

`Equipment` holds what a sieve and a balance have in common - serial number, whereabouts, state,
rule of checks, uses - so that there is one mechanism of checks and due dates, and one history.
"""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import Q

from gradation.models.procedures import choices


class Bench(models.Model):
    """A place of work. A browser picks its bench once."""

    name = models.CharField(max_length=60)
    place = models.CharField(max_length=120, blank=True)
    is_away = models.BooleanField(
        default=False, help_text="Its place is not one of the permanent laboratory."
    )
    is_active = models.BooleanField(default=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["name"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["name"], name="bench_name_unique"),
        ]

    def __str__(self) -> str:
        return self.name


class Equipment(models.Model):
    """One item under a serial number. The serial never changes; nothing is ever deleted."""

    class Kind(StrEnum):
        """What the item is."""

        SIEVE = "sieve"
        SHAKER = "shaker"
        BALANCE = "balance"
        OVEN = "oven"
        DIVIDER = "divider"
        TIMER = "timer"
        THERMOMETER = "thermometer"

    class State(StrEnum):
        """Whether the item may be used."""

        IN_SERVICE = "in service"
        OUT_OF_SERVICE = "out of service"
        WITHDRAWN = "withdrawn"

    serial = models.CharField(max_length=40)
    kind = models.CharField(max_length=12, choices=choices(Kind), default=Kind.SIEVE.value)
    place = models.CharField(max_length=120, blank=True)
    bench = models.ForeignKey(
        Bench, on_delete=models.PROTECT, null=True, blank=True, related_name="equipment"
    )
    keeper = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    bought_on = models.DateField(null=True, blank=True)
    in_service_since = models.DateField(null=True, blank=True)
    state = models.CharField(max_length=16, choices=choices(State), default=State.IN_SERVICE.value)
    state_reason = models.CharField(max_length=240, blank=True)
    state_since = models.DateField(null=True, blank=True)
    check_interval_days = models.PositiveIntegerField(null=True, blank=True)
    check_interval_uses = models.PositiveIntegerField(null=True, blank=True)
    use_count = models.PositiveIntegerField(default=0)
    minutes_used = models.DecimalField(max_digits=12, decimal_places=1, default=0)
    next_check_on = models.DateField(null=True, blank=True)
    next_check_at_use = models.PositiveIntegerField(
        null=True, blank=True, help_text="Due when the count of uses reaches this."
    )
    note = models.TextField(blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["kind", "serial"]
        verbose_name_plural: ClassVar[str] = "equipment"
        indexes: ClassVar[list[models.Index]] = [
            models.Index(fields=["kind", "next_check_on"], name="equipment_by_due"),
        ]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["serial"], name="equipment_serial_unique"),
            models.CheckConstraint(
                condition=Q(state="in service") | Q(state_reason__gt=""),
                name="equipment_out_of_service_has_reason",
            ),
            models.CheckConstraint(
                condition=Q(minutes_used__gte=0), name="equipment_minutes_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.serial}"


class Sieve(Equipment):
    """A test sieve: the measuring instrument. It cannot be adjusted, only checked and withdrawn."""

    class Medium(StrEnum):
        """What the openings are in."""

        WOVEN_WIRE = "woven wire"
        PERFORATED_PLATE = "perforated plate"
        ELECTROFORMED = "electroformed sheet"

    class Shape(StrEnum):
        """Shape of the openings."""

        SQUARE = "square"
        ROUND = "round"

    class Grade(StrEnum):
        """How closely the maker measured it (ISO 3310-1, ASTM E11)."""

        COMPLIANCE = "compliance"
        INSPECTION = "inspection"
        CALIBRATION = "calibration"

    aperture_um = models.DecimalField(max_digits=10, decimal_places=2)
    designation = models.CharField(max_length=40)
    alternative = models.CharField(max_length=40, blank=True)
    is_standard_size = models.BooleanField(default=True)
    standard = models.CharField(max_length=80, default="ISO 3310-1")
    edition = models.CharField(
        max_length=40, blank=True, help_text="Tolerance table its checks go by."
    )
    medium = models.CharField(
        max_length=20, choices=choices(Medium), default=Medium.WOVEN_WIRE.value
    )
    shape = models.CharField(max_length=8, choices=choices(Shape), default=Shape.SQUARE.value)
    grade = models.CharField(max_length=12, choices=choices(Grade), default=Grade.COMPLIANCE.value)
    frame_diameter_mm = models.DecimalField(max_digits=6, decimal_places=1)
    frame_height_mm = models.DecimalField(max_digits=6, decimal_places=1, null=True, blank=True)
    maker_certificate = models.CharField(max_length=80, blank=True)
    is_master = models.BooleanField(default=False)

    class Meta:
        ordering: ClassVar[list[str]] = ["-aperture_um", "serial"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(condition=Q(aperture_um__gt=0), name="sieve_aperture_positive"),
            models.CheckConstraint(
                condition=Q(frame_diameter_mm__gt=0), name="sieve_frame_positive"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.designation} {self.serial}"


class Nest(models.Model):
    """Serial-numbered sieves that stand together for a procedure, coarse on top, pan below."""

    name = models.CharField(max_length=80)
    bench = models.ForeignKey(
        Bench, on_delete=models.PROTECT, null=True, blank=True, related_name="nests"
    )
    procedure = models.ForeignKey(
        "gradation.Procedure", on_delete=models.PROTECT, related_name="nests"
    )
    is_active = models.BooleanField(default=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["name"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["name"], name="nest_name_unique"),
        ]

    def __str__(self) -> str:
        return self.name


class NestSieve(models.Model):
    """One sieve's place in a nest."""

    nest = models.ForeignKey(Nest, on_delete=models.CASCADE, related_name="places")
    position = models.PositiveSmallIntegerField()
    sieve = models.ForeignKey(Sieve, on_delete=models.PROTECT, related_name="nest_places")

    class Meta:
        ordering: ClassVar[list[str]] = ["position"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["nest", "position"], name="nestsieve_position_unique"),
            models.UniqueConstraint(fields=["nest", "sieve"], name="nestsieve_sieve_once"),
        ]

    def __str__(self) -> str:
        return f"{self.position}: {self.sieve}"
