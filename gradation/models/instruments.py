"""Instruments: shakers, balances, ovens, dividers, and which of them a run was made with."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q

from gradation.models.equipment import Equipment


class Instrument(Equipment):
    """An instrument that is no sieve. Limits are the laboratory's own, with their source."""

    model = models.CharField(max_length=80, blank=True)
    firmware = models.CharField(max_length=40, blank=True)
    motion = models.CharField(max_length=80, blank=True)
    frequency_hz = models.DecimalField(max_digits=6, decimal_places=2, null=True, blank=True)
    taps_per_min = models.PositiveSmallIntegerField(null=True, blank=True)
    amplitude_min_mm = models.DecimalField(max_digits=6, decimal_places=2, null=True, blank=True)
    amplitude_max_mm = models.DecimalField(max_digits=6, decimal_places=2, null=True, blank=True)
    greatest_nest_g = models.DecimalField(max_digits=10, decimal_places=1, null=True, blank=True)
    capacity_g = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    readability_g = models.DecimalField(max_digits=10, decimal_places=4, null=True, blank=True)
    uncertainty_g = models.DecimalField(
        max_digits=10, decimal_places=4, null=True, blank=True, help_text="Standard uncertainty."
    )
    set_temperature_c = models.DecimalField(max_digits=6, decimal_places=1, null=True, blank=True)
    temperature_tolerance_c = models.DecimalField(
        max_digits=5, decimal_places=1, null=True, blank=True
    )
    chute_width_mm = models.DecimalField(max_digits=6, decimal_places=1, null=True, blank=True)
    limits_source = models.CharField(max_length=160, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["kind", "serial"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(
                condition=Q(readability_g__isnull=True) | Q(readability_g__gt=0),
                name="instrument_readability_positive",
            ),
            models.CheckConstraint(
                condition=Q(amplitude_max_mm__isnull=True)
                | Q(amplitude_min_mm__isnull=True)
                | Q(amplitude_max_mm__gte=models.F("amplitude_min_mm")),
                name="instrument_amplitude_ordered",
            ),
        ]


class RunInstrument(models.Model):
    """An instrument that a run was made with, and how its check stood on that day."""

    run = models.ForeignKey("gradation.Run", on_delete=models.PROTECT, related_name="instruments")
    instrument = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, related_name="run_instruments"
    )
    next_check_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["run", "instrument"], name="runinstrument_once"),
        ]

    def __str__(self) -> str:
        return str(self.instrument)
