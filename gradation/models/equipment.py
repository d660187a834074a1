"""Test sieves, their checks, the nests they stand in and the benches where they are used."""

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
    is_active = models.BooleanField(default=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["name"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["name"], name="bench_name_unique"),
        ]

    def __str__(self) -> str:
        return self.name


class Sieve(models.Model):
    """A test sieve: the measuring instrument. Its serial never changes, it is never deleted."""

    class State(StrEnum):
        """Whether the sieve may be used."""

        IN_SERVICE = "in service"
        OUT_OF_SERVICE = "out of service"
        WITHDRAWN = "withdrawn"

    class Medium(StrEnum):
        """What the openings are in."""

        WOVEN_WIRE = "woven wire"
        PERFORATED_PLATE = "perforated plate"
        ELECTROFORMED = "electroformed sheet"

    serial = models.CharField(max_length=40)
    aperture_um = models.DecimalField(max_digits=10, decimal_places=2)
    designation = models.CharField(max_length=40)
    standard = models.CharField(max_length=80, default="ISO 3310-1")
    medium = models.CharField(
        max_length=20, choices=choices(Medium), default=Medium.WOVEN_WIRE.value
    )
    frame_diameter_mm = models.DecimalField(max_digits=6, decimal_places=1)
    frame_height_mm = models.DecimalField(max_digits=6, decimal_places=1, null=True, blank=True)
    is_master = models.BooleanField(default=False)
    place = models.CharField(max_length=120, blank=True)
    in_service_since = models.DateField(null=True, blank=True)
    state = models.CharField(max_length=16, choices=choices(State), default=State.IN_SERVICE.value)
    state_reason = models.CharField(max_length=240, blank=True)
    state_since = models.DateField(null=True, blank=True)
    check_interval_days = models.PositiveIntegerField(null=True, blank=True)
    check_interval_uses = models.PositiveIntegerField(null=True, blank=True)
    use_count = models.PositiveIntegerField(default=0)
    next_check_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["-aperture_um", "serial"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["serial"], name="sieve_serial_unique"),
            models.CheckConstraint(condition=Q(aperture_um__gt=0), name="sieve_aperture_positive"),
            models.CheckConstraint(
                condition=Q(frame_diameter_mm__gt=0), name="sieve_frame_positive"
            ),
            models.CheckConstraint(
                condition=Q(state="in service") | Q(state_reason__gt=""),
                name="sieve_out_of_service_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.designation} {self.serial}"


class SieveCheck(models.Model):
    """One check of one sieve: what was looked at, figures, verdict, when the next is due."""

    class Kind(StrEnum):
        """What kind of evidence the check gives."""

        VISUAL = "visual"
        APERTURE = "aperture measurement"
        REFERENCE = "reference material"
        MASTER = "against master sieve"

    sieve = models.ForeignKey(Sieve, on_delete=models.PROTECT, related_name="checks")
    kind = models.CharField(max_length=24, choices=choices(Kind))
    performed_on = models.DateField()
    performed_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    passed = models.BooleanField()
    mean_aperture_um = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    largest_aperture_um = models.DecimalField(
        max_digits=10, decimal_places=2, null=True, blank=True
    )
    note = models.TextField(blank=True)
    next_due_on = models.DateField(null=True, blank=True)
    recorded_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar[list[str]] = ["-performed_on", "-id"]
        indexes: ClassVar[list[models.Index]] = [
            models.Index(fields=["sieve", "-performed_on"], name="sievecheck_latest"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.performed_on}"


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
