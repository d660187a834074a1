"""Tables from elsewhere, of runs or orders: how those of one origin are read, each taken in."""

from __future__ import annotations

from datetime import datetime, timedelta
from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import Q

from gradation.models.procedures import choices


class SheetForm(models.Model):
    """How the tables of one origin are read: what each column means, and what they do not say."""

    class Kind(StrEnum):
        """What a row of such a table is."""

        RUNS = "runs"
        ORDERS = "orders"

    class Unit(StrEnum):
        """Unit of the masses in the table."""

        GRAM = "g"
        KILOGRAM = "kg"

    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=8, choices=choices(Kind), default=Kind.RUNS.value)
    customer = models.ForeignKey(
        "gradation.Customer", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    material = models.ForeignKey(
        "gradation.Material", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    bench = models.ForeignKey(
        "gradation.Bench", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    nest = models.ForeignKey(
        "gradation.Nest", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    unit = models.CharField(max_length=2, choices=choices(Unit), default=Unit.GRAM.value)
    columns = models.JSONField(help_text="Heading of a column: what it means.")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering: ClassVar[list[str]] = ["name"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["name"], name="sheetform_name_unique"),
            models.CheckConstraint(
                condition=Q(kind="orders")
                | Q(
                    customer__isnull=False,
                    material__isnull=False,
                    bench__isnull=False,
                    nest__isnull=False,
                ),
                name="sheetform_of_runs_is_whole",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class RunImport(models.Model):
    """One table of runs or orders, looked through first; what is taken in stays linked to it."""

    class State(StrEnum):
        """How far it is."""

        GIVEN = "given"
        LOOKING = "looking through"
        LOOKED = "looked through"
        STORING = "taking in"
        STORED = "taken in"
        STOPPED = "stopped"

    class Way(StrEnum):
        """What becomes of a table with faulty rows."""

        ALL = "all or nothing"
        SOUND = "leave faulty rows out"

    #: Work without a sign of life for so long is taken to have ended with its server.
    SILENT_AFTER: ClassVar[timedelta] = timedelta(seconds=90)

    #: States in which somebody's work on it is under way.
    BUSY: ClassVar[frozenset[str]] = frozenset({State.LOOKING.value, State.STORING.value})

    form = models.ForeignKey(SheetForm, on_delete=models.PROTECT, related_name="imports")
    file_name = models.CharField(max_length=160)
    file = models.BinaryField()
    file_digest = models.CharField(max_length=64)
    state = models.CharField(max_length=16, choices=choices(State), default=State.GIVEN.value)
    way = models.CharField(max_length=24, choices=choices(Way), default=Way.ALL.value)
    rows_total = models.PositiveIntegerField(default=0)
    rows_done = models.PositiveIntegerField(default=0)
    rows_stored = models.PositiveIntegerField(default=0)
    rows_faulty = models.PositiveIntegerField(default=0)
    faults = models.JSONField(default=list, blank=True, help_text="Row, column, what is wrong.")
    stop_asked = models.BooleanField(default=False)
    said = models.CharField(max_length=400, blank=True, help_text="Why it stopped.")
    beat_at = models.DateTimeField(null=True, blank=True, help_text="Last sign of life.")
    given_at = models.DateTimeField()
    given_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(
                fields=["file_digest"],
                condition=Q(state="taken in"),
                name="runimport_file_taken_in_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.file_name} of {self.given_at:%d %b %Y}"

    @property
    def is_busy(self) -> bool:
        """Say whether it is being looked through or taken in."""
        return self.state in self.BUSY

    @property
    def work_name(self) -> str:
        """Name the work on it, for whoever does it in the background."""
        return f"import {self.pk}"

    def is_silent(self, now: datetime) -> bool:
        """Say whether work is under way from which nothing was heard: its server has died."""
        return self.is_busy and (self.beat_at is None or now - self.beat_at > self.SILENT_AFTER)
