"""Control charts: figures laid out for charting, charts, frozen limits, points to be answered."""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from gradation.models.answering import Answered, answer_is_whole, still_open
from gradation.models.procedures import choices


class ResultFigure(models.Model):
    """One figure of a run's newest result, laid out so that thousands are read at once.

    Copied from the frozen result and rebuilt from it at will; a further version of the result
    takes the place of what the version before gave. What is not determinable has no row. The
    work of a run counts from its opening; of one recorded on paper, from the day on the paper.
    """

    result = models.ForeignKey(
        "gradation.Result", on_delete=models.PROTECT, related_name="figures", db_index=False
    )
    run = models.ForeignKey(
        "gradation.Run", on_delete=models.PROTECT, related_name="figures", db_index=False
    )
    material = models.ForeignKey(
        "gradation.Material", on_delete=models.PROTECT, related_name="+", db_index=False
    )
    procedure = models.ForeignKey(
        "gradation.Procedure", on_delete=models.PROTECT, related_name="+", db_index=False
    )
    name = models.CharField(max_length=48, help_text="Such as passing_600, d50, loss.")
    value = models.FloatField(help_text="Unrounded, in the unit of its name.")
    at_s = models.BigIntegerField(
        help_text="When the work was done, in seconds since 1970 (UTC): a number is read faster."
    )

    class Meta:
        ordering: ClassVar[list[str]] = ["at_s", "run"]
        # A series is read from the index alone: its figures lie scattered over the whole table.
        indexes: ClassVar[list[models.Index]] = [
            models.Index(
                fields=["material", "name", "at_s", "run", "value"],
                name="resultfigure_of_material",
            ),
            models.Index(
                fields=["procedure", "name", "at_s", "run", "value"],
                name="resultfigure_of_procedure",
            ),
        ]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["run", "name"], name="resultfigure_once"),
        ]

    def __str__(self) -> str:
        return f"{self.name}: {self.value:g}"


class ControlChart(models.Model):
    """One figure of one material or procedure followed over time, and how it is judged."""

    class Kind(StrEnum):
        """Which pair of charts, or which chart with memory."""

        INDIVIDUALS = "individuals"
        MEAN_RANGE = "means and ranges"
        MEAN_DEVIATION = "means and deviations"
        WEIGHTED = "weighted means"
        MOVING = "moving means"

    class Subgroup(StrEnum):
        """What makes a subgroup."""

        DETERMINATIONS = "determinations of a sample"
        CONSECUTIVE = "consecutive runs"

    class Group(StrEnum):
        """What the runs are told apart by, each group against limits of its own."""

        NONE = "nothing"
        BENCH = "bench"
        NEST = "sieve set"
        TECHNICIAN = "technician"

    class Rules(StrEnum):
        """Which run rules apply."""

        THREE_SIGMA = "beyond three sigma only"
        SET_1956 = "four rules of 1956"
        SET_1984 = "eight rules of 1984"

    name = models.CharField(max_length=120)
    material = models.ForeignKey(
        "gradation.Material",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="control_charts",
    )
    procedure = models.ForeignKey(
        "gradation.Procedure",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="control_charts",
    )
    characteristic = models.CharField(
        max_length=48, help_text="As its figures are named: passing_600, d50, loss."
    )
    kind = models.CharField(max_length=24, choices=choices(Kind), default=Kind.INDIVIDUALS.value)
    subgroup = models.CharField(
        max_length=32, choices=choices(Subgroup), default=Subgroup.DETERMINATIONS.value
    )
    subgroup_size = models.PositiveSmallIntegerField(default=2)
    group_by = models.CharField(max_length=16, choices=choices(Group), default=Group.NONE.value)
    rules = models.CharField(max_length=32, choices=choices(Rules), default=Rules.SET_1984.value)
    weight = models.DecimalField(
        max_digits=4,
        decimal_places=3,
        default=Decimal("0.2"),
        help_text="Of the newest weighted value.",
    )
    span = models.PositiveSmallIntegerField(default=5, help_text="Values in a moving mean.")
    answers_from = models.DateField(
        help_text="Points of runs since this day are to be answered when out of control."
    )
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    closed_reason = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["name"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["name"], name="controlchart_name_unique"),
            models.CheckConstraint(
                condition=Q(material__isnull=False) | Q(procedure__isnull=False),
                name="controlchart_of_something",
            ),
            models.CheckConstraint(
                condition=Q(subgroup_size__gte=2, subgroup_size__lte=25),
                name="controlchart_subgroup_possible",
            ),
            models.CheckConstraint(
                condition=Q(weight__gt=0, weight__lte=1), name="controlchart_weight_possible"
            ),
            models.CheckConstraint(condition=Q(span__gte=2), name="controlchart_span_possible"),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True) | Q(closed_reason__gt=""),
                name="controlchart_closed_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class FrozenLimits(models.Model):
    """Limits of a chart made from a base period and held until others are frozen or they end."""

    chart = models.ForeignKey(ControlChart, on_delete=models.PROTECT, related_name="frozen")
    group_key = models.PositiveBigIntegerField(
        default=0, help_text="Key of the bench, sieve set or technician; 0: all runs."
    )
    group_name = models.CharField(max_length=120, blank=True)
    base_from = models.DateField()
    base_to = models.DateField()
    base_points = models.PositiveIntegerField()
    subgroup_size = models.PositiveSmallIntegerField(default=1)
    centre = models.FloatField(help_text="Mean of the base period.")
    sigma = models.FloatField(help_text="Standard deviation of one value, short-time.")
    lower = models.FloatField()
    upper = models.FloatField()
    spread_centre = models.FloatField()
    spread_lower = models.FloatField()
    spread_upper = models.FloatField()
    science_version = models.CharField(max_length=20)
    reason = models.CharField(max_length=400)
    frozen_at = models.DateTimeField()
    frozen_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    ended_reason = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(
                fields=["chart", "group_key"],
                condition=Q(ended_at__isnull=True),
                name="frozenlimits_one_in_force",
            ),
            models.CheckConstraint(
                condition=Q(base_to__gte=F("base_from")), name="frozenlimits_base_ordered"
            ),
            models.CheckConstraint(condition=Q(sigma__gt=0), name="frozenlimits_sigma_positive"),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | Q(ended_by__isnull=False, ended_reason__gt=""),
                name="frozenlimits_end_is_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.chart}, limits of {self.base_from} to {self.base_to}"


class ChartNote(Answered):
    """A point out of control that somebody must answer: what caused it and what was done."""

    chart = models.ForeignKey(ControlChart, on_delete=models.PROTECT, related_name="notes")
    group_key = models.PositiveBigIntegerField(default=0)
    group_name = models.CharField(max_length=120, blank=True)
    run = models.ForeignKey("gradation.Run", on_delete=models.PROTECT, related_name="chart_notes")
    result = models.ForeignKey("gradation.Result", on_delete=models.PROTECT, related_name="+")
    rules = models.CharField(max_length=320, help_text="Names of the rules broken.")
    reasons = models.CharField(max_length=700, help_text="The patterns, as sentences.")
    run_opened_at = models.DateTimeField()
    value = models.FloatField(help_text="The point as plotted.")
    centre = models.FloatField(help_text="Centre line it was held against.")
    sigma = models.FloatField(help_text="Standard deviation of a plotted point.")
    is_frozen = models.BooleanField(help_text="Whether the limits were frozen ones.")

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        indexes: ClassVar[list[models.Index]] = [still_open("chartnote_open")]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["chart", "run"], name="chartnote_once"),
            answer_is_whole("chartnote_answer_is_whole"),
        ]

    def __str__(self) -> str:
        return f"{self.chart}, {self.run}"
