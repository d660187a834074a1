"""Balances that send their readings: how each is read, where its readings go, what came."""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import Q

from gradation.models.procedures import choices


class BalanceLink(models.Model):
    """How one balance is read: the form of its lines and the settings of its port.

    A form is described by what stands in the line, never by who made the balance.
    """

    class Sends(StrEnum):
        """When the balance sends a line."""

        PRINT = "at each press of its key"
        STREAM = "all the time"

    class Parity(StrEnum):
        """The check bit of the port."""

        NONE = "none"
        EVEN = "even"
        ODD = "odd"

    balance = models.OneToOneField(
        "gradation.Instrument", on_delete=models.PROTECT, related_name="link"
    )
    bench = models.ForeignKey(
        "gradation.Bench", on_delete=models.PROTECT, related_name="balance_links"
    )
    form = models.CharField(
        max_length=24, help_text="Name of a line form; 'own' takes the pattern below."
    )
    pattern = models.CharField(
        max_length=120, blank=True, help_text="An own line, with {number}, {unit} and {mark}."
    )
    default_unit = models.CharField(max_length=4, default="g")
    stable_marks = models.CharField(max_length=80, blank=True)
    unstable_marks = models.CharField(max_length=80, blank=True)
    sends = models.CharField(max_length=24, choices=choices(Sends), default=Sends.PRINT.value)
    baud = models.PositiveIntegerField(default=9600)
    data_bits = models.PositiveSmallIntegerField(default=8)
    parity = models.CharField(max_length=4, choices=choices(Parity), default=Parity.NONE.value)
    stop_bits = models.PositiveSmallIntegerField(default=1)
    is_active = models.BooleanField(default=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["bench", "balance"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(
                condition=~Q(form="own") | Q(pattern__gt=""), name="balancelink_own_has_pattern"
            ),
            models.CheckConstraint(
                condition=Q(data_bits__in=[7, 8]) & Q(stop_bits__in=[1, 2]) & Q(baud__gte=300),
                name="balancelink_port_possible",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.balance} at {self.bench}"


class BenchPlace(models.Model):
    """Where the next balance reading of a bench goes, and whose it is: one row a bench.

    It goes into a field of a run, or is the next weighing of a drying; `position` is its number.
    """

    bench = models.OneToOneField("gradation.Bench", on_delete=models.PROTECT, related_name="named")
    run = models.ForeignKey(
        "gradation.Run", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    drying = models.ForeignKey(
        "gradation.Drying", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    slot = models.CharField(max_length=24, blank=True)
    position = models.PositiveSmallIntegerField(default=0)
    increment = models.PositiveSmallIntegerField(default=1)
    is_gross = models.BooleanField(default=False, help_text="With its vessel or sieve.")
    tare_text = models.CharField(max_length=40, blank=True)
    person = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    named_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["bench"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(
                condition=Q(run__isnull=True)
                | Q(person__isnull=False, named_at__isnull=False, slot__gt=""),
                name="benchplace_has_person",
            ),
            models.CheckConstraint(
                condition=Q(drying__isnull=True)
                | Q(run__isnull=True, person__isnull=False, named_at__isnull=False, position__gt=0),
                name="benchplace_of_one_work",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.bench}: {self.slot} {self.position}".strip()


class BalanceReading(models.Model):
    """One line that a balance sent, as it came, and what became of it. Nothing is dropped."""

    class Outcome(StrEnum):
        """What became of it."""

        PLACED = "placed"
        WAITING = "waiting"
        REFUSED = "refused"
        SET_ASIDE = "set aside"

    key = models.UUIDField(help_text="Made where the line came in; the same key, the same line.")
    bench = models.ForeignKey(
        "gradation.Bench", on_delete=models.PROTECT, related_name="balance_readings"
    )
    balance = models.ForeignKey(
        "gradation.Instrument",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="balance_readings",
    )
    balance_named = models.CharField(max_length=40, help_text="Serial number as it was sent.")
    raw_text = models.CharField(max_length=200, help_text="The line as it came.")
    mass_g = models.DecimalField(max_digits=16, decimal_places=8, null=True, blank=True)
    decimals = models.PositiveSmallIntegerField(default=0)
    observed_at = models.DateTimeField(
        null=True, blank=True, help_text="By the clock where the line came in."
    )
    weighed_at = models.DateTimeField(help_text="When it was weighed, by the server's clock.")
    received_at = models.DateTimeField()
    sent_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    token = models.ForeignKey(
        "gradation.ApiToken", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    outcome = models.CharField(max_length=10, choices=choices(Outcome))
    code = models.CharField(max_length=40, blank=True, help_text="Why, for machines.")
    reason = models.CharField(max_length=400, blank=True, help_text="Why, for people.")
    weighing = models.OneToOneField(
        "gradation.Weighing",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="balance_reading",
    )
    drying_mass = models.OneToOneField(
        "gradation.DryingMass",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="balance_reading",
    )
    decided_at = models.DateTimeField(
        null=True, blank=True, help_text="When a person answered for one that waited."
    )
    decided_by = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        indexes: ClassVar[list[models.Index]] = [
            models.Index(fields=["bench", "outcome", "id"], name="balancereading_by_outcome"),
            models.Index(fields=["balance", "-id"], name="balancereading_by_balance"),
        ]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["key"], name="balancereading_key_once"),
            models.CheckConstraint(
                condition=Q(outcome="placed", weighing__isnull=False, drying_mass__isnull=True)
                | Q(outcome="placed", weighing__isnull=True, drying_mass__isnull=False)
                | (~Q(outcome="placed") & Q(weighing__isnull=True, drying_mass__isnull=True)),
                name="balancereading_placed_has_weighing",
            ),
            models.CheckConstraint(
                condition=Q(outcome="placed") | Q(reason__gt=""),
                name="balancereading_unplaced_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.balance_named}: {self.raw_text.strip()}"

    @property
    def mass_as_sent(self) -> Decimal | None:
        """Give the mass [g] with the balance's digits."""
        if self.mass_g is None:
            return None
        return self.mass_g.quantize(Decimal(1).scaleb(-self.decimals))
