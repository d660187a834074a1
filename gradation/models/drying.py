"""Drying to constant mass: a portion in the oven, weighed until its mass stays."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import Q

from gradation.models.procedures import choices


class Drying(models.Model):
    """One drying of a test portion, before its test or after washing."""

    class Stage(StrEnum):
        """When in the work it is dried."""

        BEFORE = "before the test"
        AFTER_WASHING = "after washing"

    portion = models.ForeignKey(
        "gradation.TestPortion", on_delete=models.PROTECT, related_name="dryings"
    )
    run = models.ForeignKey(
        "gradation.Run", on_delete=models.PROTECT, null=True, blank=True, related_name="dryings"
    )
    stage = models.CharField(max_length=16, choices=choices(Stage), default=Stage.BEFORE.value)
    oven = models.ForeignKey(
        "gradation.Instrument", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    temperature_c = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    limit_pct = models.DecimalField(
        max_digits=5,
        decimal_places=3,
        help_text="Largest change between two weighings that counts as constant.",
    )
    limit_source = models.CharField(
        max_length=160, help_text="Whose limit it is: the procedure's, or as typed."
    )
    container_g = models.DecimalField(
        max_digits=12, decimal_places=4, null=True, blank=True, help_text="As it holds now."
    )
    moist_text = models.CharField(
        max_length=40,
        blank=True,
        help_text="Mass before drying as typed, when it was weighed in this container.",
    )
    began_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    end_reason = models.CharField(
        max_length=240, blank=True, help_text="Why it ended before the mass was constant."
    )
    notes = models.TextField(blank=True, help_text="What had to be said of the oven.")
    begun_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(
                fields=["portion", "stage"],
                condition=Q(ended_at__isnull=True),
                name="drying_one_open_per_stage",
            ),
            models.CheckConstraint(condition=Q(limit_pct__gt=0), name="drying_limit_positive"),
            models.CheckConstraint(
                condition=Q(stage="before the test") | Q(run__isnull=False),
                name="drying_after_washing_has_run",
            ),
        ]

    def __str__(self) -> str:
        return f"drying of {self.portion} {self.stage}"


class DryingContainer(models.Model):
    """One mass of a drying's empty container. Append-only: a correction is the next revision.

    Kept from the first correction on: revision 1 is then what the drying was begun with.
    """

    drying = models.ForeignKey(Drying, on_delete=models.PROTECT, related_name="containers")
    revision = models.PositiveSmallIntegerField(default=1)
    mass_g = models.DecimalField(
        max_digits=12, decimal_places=4, null=True, blank=True, help_text="Empty: none, or tared."
    )
    reason = models.CharField(max_length=400, blank=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar[list[str]] = ["revision"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(
                fields=["drying", "revision"], name="dryingcontainer_one_line_of_revisions"
            ),
            models.CheckConstraint(
                condition=Q(mass_g__isnull=True) | Q(mass_g__gt=0),
                name="dryingcontainer_positive",
            ),
            models.CheckConstraint(
                condition=Q(revision=1) | Q(reason__gt=""),
                name="dryingcontainer_correction_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return "no container" if self.mass_g is None else f"container {self.mass_g.normalize():f} g"


class DryingMass(models.Model):
    """One weighing of a portion that is being dried. Append-only: a correction is a revision."""

    class Source(StrEnum):
        """Where the mass came from."""

        TYPED = "typed"
        BALANCE = "balance"

    drying = models.ForeignKey(Drying, on_delete=models.PROTECT, related_name="masses")
    number = models.PositiveSmallIntegerField()
    revision = models.PositiveSmallIntegerField(default=1)
    mass_g = models.DecimalField(max_digits=12, decimal_places=4, help_text="Net.")
    entered_text = models.CharField(max_length=40, help_text="Exactly as typed or sent.")
    decimals = models.PositiveSmallIntegerField(help_text="Decimals of the reading as entered.")
    reason = models.CharField(max_length=400, blank=True)
    source = models.CharField(max_length=8, choices=choices(Source), default=Source.TYPED.value)
    balance = models.ForeignKey(
        "gradation.Instrument", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    raw_text = models.CharField(
        max_length=200, blank=True, help_text="The balance's line as it came."
    )
    key = models.UUIDField(help_text="Made by the client; the same key is the same reading.")
    weighed_at = models.DateTimeField(
        null=True,
        blank=True,
        help_text="When it was weighed, by the server's clock, if it waited for the network.",
    )
    made_at = models.DateTimeField()
    made_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar[list[str]] = ["number", "revision"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["drying", "key"], name="dryingmass_key_once"),
            models.UniqueConstraint(
                fields=["drying", "number", "revision"], name="dryingmass_one_line_of_revisions"
            ),
            models.CheckConstraint(condition=Q(mass_g__gt=0), name="dryingmass_positive"),
            models.CheckConstraint(
                condition=Q(revision=1) | Q(reason__gt=""), name="dryingmass_correction_has_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"weighing {self.number}: {self.mass_as_entered} g"

    @property
    def stood_at(self) -> datetime:
        """Give when it stood on the balance: when it came in, unless it waited before."""
        return self.weighed_at or self.made_at

    @property
    def mass_as_entered(self) -> Decimal:
        """Give the net mass [g] with the digits of the reading."""
        return self.mass_g.quantize(Decimal(1).scaleb(-self.decimals))
