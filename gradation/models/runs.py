"""Runs: one sieving of one test portion, the readings taken, and what was computed from them."""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, ClassVar

from django.db import models
from django.db.models import F, Q

from gradation.models.procedures import choices

if TYPE_CHECKING:
    from gradation.models.transcriptions import Transcription


class Run(models.Model):
    """One sieving. It keeps the procedure version and the sieves it was made with for ever."""

    class State(StrEnum):
        """From the first reading to the reviewer's answer."""

        OPEN = "open"
        WEIGHED = "weighed"
        ACCEPTED = "accepted"
        RETURNED = "returned"
        INVALID = "invalid"

    #: States in which readings may be made or corrected.
    EDITABLE: ClassVar[frozenset[str]] = frozenset({State.OPEN.value, State.RETURNED.value})

    portion = models.ForeignKey(
        "gradation.TestPortion", on_delete=models.PROTECT, related_name="runs"
    )
    determination = models.PositiveSmallIntegerField(default=1)
    procedure_version = models.ForeignKey(
        "gradation.ProcedureVersion", on_delete=models.PROTECT, related_name="runs"
    )
    bench = models.ForeignKey("gradation.Bench", on_delete=models.PROTECT, related_name="runs")
    nest = models.ForeignKey(
        "gradation.Nest", on_delete=models.PROTECT, null=True, blank=True, related_name="runs"
    )
    technician = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="runs")
    state = models.CharField(max_length=10, choices=choices(State), default=State.OPEN.value)
    state_reason = models.CharField(max_length=400, blank=True)
    opened_at = models.DateTimeField()
    weighed_at = models.DateTimeField(null=True, blank=True)
    shaking_minutes = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    deviations = models.TextField(blank=True)
    climate = models.CharField(
        max_length=80, blank=True, help_text="Temperature and humidity where the work was done."
    )
    wet_sieved = models.BooleanField(default=False)
    aids = models.CharField(max_length=160, blank=True, help_text="Sieving aids used.")
    wash_agent = models.CharField(max_length=120, blank=True)
    soak_minutes = models.DecimalField(max_digits=6, decimal_places=1, null=True, blank=True)
    guard_sieve = models.ForeignKey(
        "gradation.Sieve", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    counts = models.BooleanField(
        default=True, help_text="Whether it counts among the determinations of its sample."
    )
    counts_reason = models.CharField(max_length=400, blank=True)
    run_import = models.ForeignKey(
        "gradation.RunImport", on_delete=models.PROTECT, null=True, blank=True, related_name="runs"
    )
    import_row = models.PositiveIntegerField(
        null=True, blank=True, help_text="Its row, as the spreadsheet counts."
    )
    reviewer = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    reviewed_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        indexes: ClassVar[list[models.Index]] = [
            models.Index(fields=["state", "-id"], name="run_by_state"),
            models.Index(fields=["bench", "state"], name="run_by_bench"),
        ]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(
                fields=["portion", "determination"],
                condition=~Q(state="invalid"),
                name="run_one_per_determination",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["returned", "invalid"]) | Q(state_reason__gt=""),
                name="run_refusal_has_reason",
            ),
            models.CheckConstraint(
                condition=~Q(state="accepted") | Q(reviewer__isnull=False),
                name="run_accepted_has_reviewer",
            ),
            models.CheckConstraint(
                condition=Q(counts=True) | Q(counts_reason__gt=""),
                name="run_set_aside_has_reason",
            ),
            models.UniqueConstraint(
                fields=["run_import", "import_row"],
                condition=Q(run_import__isnull=False),
                name="run_imported_row_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.portion.label}/{self.determination}"

    @property
    def is_editable(self) -> bool:
        """Say whether readings may still be made or corrected."""
        return self.state in self.EDITABLE

    @property
    def on_paper(self) -> Transcription | None:
        """Give what says that its readings are typed from paper; None where they are not.

        What was taken in from a table has its readings from there.
        """
        return None if self.run_import_id else getattr(self, "transcription", None)


class RunSieve(models.Model):
    """One sieve's place in a run; the pan stands below and needs no row.

    Places are numbered from the top down as the run was opened. A relief sieve put in later takes
    the next free number, so that no reading ever changes its place; the order is by aperture.
    """

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="places")
    position = models.PositiveSmallIntegerField()
    sieve = models.ForeignKey(
        "gradation.Sieve", on_delete=models.PROTECT, related_name="run_places"
    )
    aperture_um = models.DecimalField(max_digits=10, decimal_places=2)
    next_check_on = models.DateField(
        null=True, blank=True, help_text="As it stood when the run was opened."
    )
    in_use = models.BooleanField(default=True)
    is_relief = models.BooleanField(
        default=False, help_text="Put in against overload; the procedure does not ask for it."
    )
    is_split = models.BooleanField(
        default=False, help_text="What passed it was reduced before it was sieved on."
    )

    class Meta:
        ordering: ClassVar[list[str]] = ["-aperture_um", "position"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["run", "position"], name="runsieve_position_unique"),
            models.UniqueConstraint(fields=["run", "aperture_um"], name="runsieve_size_once"),
            models.UniqueConstraint(
                fields=["sieve"], condition=Q(in_use=True), name="runsieve_sieve_in_one_open_run"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.position}: {self.aperture_um} µm"


_AT_A_SIEVE = [
    "fraction",
    "passing at split",
    "reduced at split",
    "washed at split",
    "passed at end point",
]


class Weighing(models.Model):
    """One reading. Never edited: a correction is a further revision with its reason."""

    class Slot(StrEnum):
        """What was weighed."""

        DRY_MASS = "dry mass"
        WASHED_DRY_MASS = "dry mass after washing"
        FRACTION = "fraction"
        PAN = "pan"
        SPLIT_PASSING = "passing at split"
        SPLIT_REDUCED = "reduced at split"
        SPLIT_WASHED = "washed at split"
        END_POINT = "passed at end point"

    #: Slots whose readings belong to one sieve of the nest; the others belong to the whole run.
    AT_A_SIEVE: ClassVar[frozenset[str]] = frozenset(_AT_A_SIEVE)

    class Source(StrEnum):
        """How the reading came in."""

        TYPED = "typed"
        BALANCE = "balance"
        API = "api"
        IMPORT = "import"
        PAPER = "paper"

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="weighings")
    slot = models.CharField(max_length=24, choices=choices(Slot))
    position = models.PositiveSmallIntegerField(default=0)
    increment = models.PositiveSmallIntegerField(default=1)
    revision = models.PositiveSmallIntegerField(default=1)
    mass_g = models.DecimalField(max_digits=12, decimal_places=4)
    gross_g = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    tare_g = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    entered_text = models.CharField(max_length=40, help_text="Exactly as typed or sent.")
    decimals = models.PositiveSmallIntegerField(help_text="Decimals of the reading as entered.")
    source = models.CharField(max_length=8, choices=choices(Source), default=Source.TYPED.value)
    balance = models.ForeignKey(
        "gradation.Instrument", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    raw_text = models.CharField(
        max_length=200, blank=True, help_text="The balance's line as it came."
    )
    observed_at = models.DateTimeField(
        null=True, blank=True, help_text="By the client's clock; order follows the server's."
    )
    reason = models.CharField(max_length=400, blank=True)
    key = models.UUIDField(help_text="Made by the client; the same key is the same reading.")
    made_at = models.DateTimeField()
    made_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["run", "key"], name="weighing_key_once"),
            models.UniqueConstraint(
                fields=["run", "slot", "position", "increment", "revision"],
                name="weighing_one_line_of_revisions",
            ),
            models.CheckConstraint(condition=Q(mass_g__gte=0), name="weighing_mass_not_negative"),
            models.CheckConstraint(
                condition=(Q(slot__in=_AT_A_SIEVE) & Q(position__gt=0))
                | (~Q(slot__in=_AT_A_SIEVE) & Q(position=0)),
                name="weighing_position_at_sieves",
            ),
            models.CheckConstraint(
                condition=Q(gross_g__isnull=True, tare_g__isnull=True)
                | Q(gross_g__gte=F("tare_g")),
                name="weighing_gross_not_below_tare",
            ),
            models.CheckConstraint(
                condition=Q(revision=1) | Q(reason__gt=""), name="weighing_correction_has_reason"
            ),
        ]

    def __str__(self) -> str:
        place = f"{self.slot} {self.position}" if self.position else self.slot
        return f"{place}: {self.mass_as_entered} g"

    @property
    def mass_as_entered(self) -> Decimal:
        """Give the net mass [g] with the digits of the reading."""
        return self.mass_g.quantize(Decimal(1).scaleb(-self.decimals))


class Shaking(models.Model):
    """One shaking of a run's nest as it was really done. Append-only: a correction is a revision.

    What the procedure plans is in its version; what differs has its note.
    """

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="shakings")
    number = models.PositiveSmallIntegerField(default=1)
    revision = models.PositiveSmallIntegerField(default=1)
    shaker = models.ForeignKey(
        "gradation.Instrument", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    began_at = models.DateTimeField(null=True, blank=True)
    minutes = models.DecimalField(max_digits=6, decimal_places=1)
    amplitude_mm = models.DecimalField(
        max_digits=5, decimal_places=2, null=True, blank=True, help_text="Peak to peak."
    )
    acceleration_g = models.DecimalField(
        max_digits=6, decimal_places=2, null=True, blank=True, help_text="Peak."
    )
    frequency_hz = models.DecimalField(max_digits=6, decimal_places=2, null=True, blank=True)
    interval_s = models.PositiveSmallIntegerField(null=True, blank=True)
    taps_per_min = models.PositiveSmallIntegerField(null=True, blank=True)
    note = models.CharField(
        max_length=400, blank=True, help_text="Why it differs from the procedure."
    )
    reason = models.CharField(max_length=400, blank=True, help_text="Why it was corrected.")
    key = models.UUIDField(help_text="Made by the client; the same key is the same shaking.")
    made_at = models.DateTimeField()
    made_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar[list[str]] = ["number", "revision"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["run", "key"], name="shaking_key_once"),
            models.UniqueConstraint(
                fields=["run", "number", "revision"], name="shaking_one_line_of_revisions"
            ),
            models.CheckConstraint(condition=Q(minutes__gt=0), name="shaking_time_positive"),
            models.CheckConstraint(
                condition=Q(revision=1) | Q(reason__gt=""), name="shaking_correction_has_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"shaking {self.number}: {self.minutes.normalize():f} min"


class Result(models.Model):
    """What the calculation gave for a run, frozen: a recalculation is a further version."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="results")
    version = models.PositiveSmallIntegerField(default=1)
    inputs = models.JSONField(help_text="The worksheet that was computed.")
    inputs_digest = models.CharField(max_length=64)
    science_version = models.CharField(max_length=20)
    values = models.JSONField()
    curve = models.JSONField(
        default=list,
        blank=True,
        help_text="Aperture [µm] and passing [%] pairs, for work over many runs.",
    )
    computed_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar[list[str]] = ["run", "-version"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["run", "version"], name="result_version_unique"),
        ]

    def __str__(self) -> str:
        return f"{self.run} result {self.version}"


class Assessment(models.Model):
    """A result compared with one specification version under its decision rule; frozen."""

    result = models.ForeignKey(Result, on_delete=models.PROTECT, related_name="assessments")
    specification_version = models.ForeignKey(
        "gradation.SpecificationVersion", on_delete=models.PROTECT, related_name="assessments"
    )
    decision_rule = models.CharField(max_length=20)
    outcome = models.CharField(max_length=24)
    lines = models.JSONField()
    sentence = models.CharField(max_length=400)

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(
                fields=["result", "specification_version"], name="assessment_once"
            ),
        ]

    def __str__(self) -> str:
        return self.sentence
