"""Certificates: frozen content, its PDF, and the line of amendments."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import Q

from gradation.models.procedures import choices


class Certificate(models.Model):
    """A certificate of analysis. Once issued nothing in it changes; an amendment is a new one."""

    class State(StrEnum):
        """From draft to what a reader may rely on."""

        DRAFT = "draft"
        ISSUED = "issued"
        SUPERSEDED = "superseded"
        WITHDRAWN = "withdrawn"

    number = models.CharField(max_length=20, null=True, blank=True)  # noqa: DJ001 - unique when given
    sample = models.ForeignKey(
        "gradation.Sample", on_delete=models.PROTECT, related_name="certificates"
    )
    runs = models.ManyToManyField("gradation.Run", related_name="certificates")
    further_samples = models.ManyToManyField(
        "gradation.Sample", blank=True, related_name="certificates_beside"
    )
    further_specifications = models.ManyToManyField(
        "gradation.SpecificationVersion", blank=True, related_name="+"
    )
    report_form = models.ForeignKey(
        "gradation.ReportForm",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="certificates",
        help_text="Empty: the form of the customer, the material or the laboratory.",
    )
    uncertainty_asked = models.BooleanField(
        default=False, help_text="The customer asked for the uncertainty."
    )
    state = models.CharField(max_length=12, choices=choices(State), default=State.DRAFT.value)
    remarks = models.TextField(blank=True)
    content = models.JSONField(null=True, blank=True)
    pdf = models.BinaryField(null=True, blank=True)
    pdf_sha256 = models.CharField(max_length=64, blank=True)
    verification_code = models.CharField(max_length=40, blank=True)
    drafted_at = models.DateTimeField()
    drafted_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    issued_at = models.DateTimeField(null=True, blank=True)
    issued_by = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    issued_by_name = models.CharField(max_length=120, blank=True)
    meaning = models.CharField(max_length=160, blank=True)
    amends = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="amended_by"
    )
    reason = models.CharField(max_length=400, blank=True, help_text="Why it amends another.")
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawal_reason = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        indexes: ClassVar[list[models.Index]] = [
            models.Index(fields=["state", "-id"], name="certificate_by_state"),
        ]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["number"], name="certificate_number_unique"),
            models.UniqueConstraint(
                fields=["verification_code"],
                condition=Q(verification_code__gt=""),
                name="certificate_code_unique",
            ),
            models.CheckConstraint(
                condition=Q(state="draft", number__isnull=True)
                | (
                    ~Q(state="draft")
                    & Q(number__isnull=False, issued_at__isnull=False, issued_by__isnull=False)
                    & Q(pdf_sha256__gt="", content__isnull=False)
                ),
                name="certificate_issued_is_whole",
            ),
            models.CheckConstraint(
                condition=~Q(state="withdrawn") | Q(withdrawal_reason__gt=""),
                name="certificate_withdrawn_has_reason",
            ),
            models.CheckConstraint(
                condition=Q(amends__isnull=True) | Q(reason__gt=""),
                name="certificate_amendment_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return self.number or f"draft {self.pk}"

    @property
    def is_given_up(self) -> bool:
        """Say whether it was signed and withdrawn before its file was made; it is never issued."""
        return self.state == self.State.DRAFT and self.withdrawn_at is not None

    @property
    def standing(self) -> str:
        """Give the word for its state, also for one that was given up."""
        return "given up" if self.is_given_up else self.state


class CertificateOmission(models.Model):
    """An item left out of a draft by a signatory's decision (ISO/IEC 17025:2017, 7.8.2.1)."""

    certificate = models.ForeignKey(Certificate, on_delete=models.CASCADE, related_name="omissions")
    item = models.CharField(max_length=200, help_text="As the list of gaps names it.")
    reason = models.CharField(max_length=400)
    authorised_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    authorised_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(
                fields=["certificate", "item"], name="certificateomission_item_once"
            ),
            models.CheckConstraint(
                condition=Q(reason__gt=""), name="certificateomission_has_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.certificate}: {self.item}"


class CertificateOpinion(models.Model):
    """An opinion or interpretation on a draft, by a person who may give one (7.8.7)."""

    certificate = models.ForeignKey(Certificate, on_delete=models.CASCADE, related_name="opinions")
    text = models.TextField()
    basis = models.CharField(max_length=400, help_text="What it rests on.")
    given_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    given_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(
                condition=Q(text__gt="", basis__gt=""), name="certificateopinion_says_why"
            ),
        ]

    def __str__(self) -> str:
        return f"opinion on {self.certificate}"


class ExternalResult(models.Model):
    """A result of a sample that another laboratory gave; certificates mark it on its row."""

    sample = models.ForeignKey(
        "gradation.Sample", on_delete=models.PROTECT, related_name="external_results"
    )
    name = models.CharField(max_length=120)
    value = models.CharField(max_length=40)
    unit = models.CharField(max_length=20)
    method = models.CharField(max_length=160)
    provider = models.CharField(max_length=160)
    report = models.CharField(max_length=120, help_text="The provider's report or certificate.")
    uncertainty = models.CharField(max_length=40, blank=True)
    entered_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(
                fields=["sample", "name", "report"], name="externalresult_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} by {self.provider}"
