"""Samples as they arrive, and the test portions made from them."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from gradation.models.procedures import choices


class Sample(models.Model):
    """What the customer delivered. Its number is given once and never used again."""

    class State(StrEnum):
        """Where the sample is on its way through the laboratory."""

        LOGGED = "logged"
        UNDER_TEST = "under test"
        REPORTED = "reported"
        CLOSED = "closed"
        CANCELLED = "cancelled"

    class SampledBy(StrEnum):
        """Who took the sample: it decides what a certificate may say about the lot."""

        CUSTOMER = "customer"
        LABORATORY = "laboratory"
        UNKNOWN = "not stated"

    number = models.CharField(max_length=20)
    customer = models.ForeignKey(
        "gradation.Customer", on_delete=models.PROTECT, related_name="samples"
    )
    source = models.ForeignKey(
        "gradation.Source", on_delete=models.PROTECT, null=True, blank=True, related_name="samples"
    )
    material = models.ForeignKey(
        "gradation.Material", on_delete=models.PROTECT, related_name="samples"
    )
    procedure_version = models.ForeignKey(
        "gradation.ProcedureVersion", on_delete=models.PROTECT, related_name="samples"
    )
    specification_version = models.ForeignKey(
        "gradation.SpecificationVersion",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="samples",
    )
    lot = models.CharField(max_length=120, blank=True)
    customer_reference = models.CharField(max_length=120, blank=True)
    description = models.CharField(max_length=240, blank=True)

    sampled_by = models.CharField(
        max_length=12, choices=choices(SampledBy), default=SampledBy.CUSTOMER.value
    )
    sampler_name = models.CharField(max_length=120, blank=True)
    sampling_method = models.CharField(max_length=160, blank=True)
    sampled_at = models.DateTimeField(null=True, blank=True)

    received_at = models.DateTimeField()
    received_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    condition = models.CharField(max_length=200)
    mass_received_g = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    storage_place = models.CharField(max_length=80, blank=True)
    due_on = models.DateField(null=True, blank=True)
    retain_until = models.DateField(null=True, blank=True)

    state = models.CharField(max_length=12, choices=choices(State), default=State.LOGGED.value)
    state_reason = models.CharField(max_length=240, blank=True)
    hazard = models.CharField(
        max_length=160, blank=True, help_text="What whoever handles or throws it away must know."
    )
    disposed_at = models.DateTimeField(null=True, blank=True)
    disposed_by = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    disposed_how = models.CharField(max_length=160, blank=True)
    order_import = models.ForeignKey(
        "gradation.RunImport",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="samples",
        help_text="The table of orders it came with.",
    )
    import_row = models.PositiveIntegerField(null=True, blank=True)
    search_text = models.TextField(default="", editable=False)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        indexes: ClassVar[list[models.Index]] = [
            models.Index(fields=["state", "-id"], name="sample_by_state"),
            models.Index(fields=["customer", "-id"], name="sample_by_customer"),
            models.Index(fields=["material", "-id"], name="sample_by_material"),
        ]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["number"], name="sample_number_unique"),
            models.UniqueConstraint(
                fields=["order_import", "import_row"],
                condition=Q(order_import__isnull=False),
                name="sample_import_row_once",
            ),
            models.CheckConstraint(
                condition=Q(mass_received_g__isnull=True) | Q(mass_received_g__gt=0),
                name="sample_mass_positive",
            ),
            models.CheckConstraint(
                condition=Q(sampled_at__isnull=True) | Q(sampled_at__lte=F("received_at")),
                name="sample_taken_before_received",
            ),
            models.CheckConstraint(
                condition=~Q(state="cancelled") | Q(state_reason__gt=""),
                name="sample_cancelled_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class SamplingRecord(models.Model):
    """How the laboratory itself took a sample (ISO/IEC 17025:2017, 7.8.5): six things to state."""

    sample = models.OneToOneField(Sample, on_delete=models.PROTECT, related_name="sampling")
    item = models.CharField(max_length=160, help_text="What was sampled: the lot, belt, stockpile.")
    place = models.CharField(max_length=160)
    plan = models.CharField(max_length=240, help_text="Plan and method, with its edition.")
    conditions = models.CharField(max_length=240, help_text="Weather, state of the heap or belt.")
    uncertainty = models.CharField(
        max_length=240, help_text="What is needed to judge the uncertainty of the sampling."
    )
    sampled_on = models.DateField()
    recorded_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"sampling of {self.sample}"


class SampleHold(models.Model):
    """A reason why what is left of a sample is not thrown away, until somebody lifts it."""

    class Cause(StrEnum):
        """What is still open."""

        QUERY = "open query"
        FAILURE = "result outside the specification"
        DISPUTE = "dispute or recall"
        OTHER = "another reason"

    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="holds")
    cause = models.CharField(max_length=40, choices=choices(Cause))
    reason = models.CharField(max_length=400)
    held_at = models.DateTimeField()
    held_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_by = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    lift_reason = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(condition=Q(reason__gt=""), name="samplehold_has_reason"),
            models.CheckConstraint(
                condition=Q(lifted_at__isnull=True) | Q(lift_reason__gt=""),
                name="samplehold_lifted_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sample.number}: {self.cause}"


class Division(StrEnum):
    """How a test portion is made from more."""

    RIFFLE = "riffle divider"
    ROTARY = "rotary divider"
    QUARTERING = "coning and quartering"
    WHOLE = "the whole sample"
    OTHER = "another way"


class TestPortion(models.Model):
    """What is really sieved: a part divided from the sample or from another portion."""

    __test__ = False

    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="portions")
    parent = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="parts"
    )
    label = models.CharField(max_length=28)
    divided_how = models.CharField(max_length=160, help_text="Divider, passes, which half.")
    division_way = models.CharField(max_length=24, choices=choices(Division), blank=True)
    divider = models.ForeignKey(
        "gradation.Instrument", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    divider_passes = models.PositiveSmallIntegerField(null=True, blank=True)
    halves_drawn = models.CharField(
        max_length=120, blank=True, help_text="Which half chance chose at each pass."
    )
    halves_taken = models.CharField(max_length=120, blank=True)
    halves_reason = models.CharField(
        max_length=240, blank=True, help_text="Why another half was taken."
    )
    division_notes = models.TextField(
        blank=True, help_text="What had to be said of the divider and of the mass taken."
    )
    top_size_um = models.DecimalField(
        max_digits=10,
        decimal_places=2,
        null=True,
        blank=True,
        help_text="Size of the material by which the mass taken was judged.",
    )
    moist_mass_g = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    drying = models.CharField(max_length=160, blank=True)
    is_as_received = models.BooleanField(
        default=False, help_text="Tested with its natural moisture; the reason is its drying note."
    )
    prepared_at = models.DateTimeField()
    prepared_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar[list[str]] = ["label"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["label"], name="testportion_label_unique"),
            models.CheckConstraint(
                condition=Q(moist_mass_g__isnull=True) | Q(moist_mass_g__gt=0),
                name="testportion_mass_positive",
            ),
            models.CheckConstraint(
                condition=Q(is_as_received=False) | Q(drying__gt=""),
                name="testportion_as_received_has_word",
            ),
        ]

    def __str__(self) -> str:
        return self.label
