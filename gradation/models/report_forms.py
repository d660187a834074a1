"""Report forms: how a certificate looks for one customer, material or trade."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import Q

from gradation.models.procedures import choices
from gradation.science.rounding import RoundingMode


class Paper(StrEnum):
    """The sheet a certificate is printed on."""

    A4 = "A4"
    LETTER = "Letter"


class Language(StrEnum):
    """Languages a certificate can be written in (ISO 639-1)."""

    ENGLISH = "en"
    GERMAN = "de"
    FRENCH = "fr"
    SPANISH = "es"


class ReportForm(models.Model):
    """How certificates look: columns, chart, rounding, language, logo, paper, title.

    It holds for one customer, for one material, for one trade, or, with none of them, wherever no
    other does. Earlier states are in the ledger; a certificate keeps the form it was issued with.
    """

    name = models.CharField(max_length=80)
    customer = models.ForeignKey(
        "gradation.Customer", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    material = models.ForeignKey(
        "gradation.Material", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    trade = models.CharField(max_length=60, blank=True, help_text="As materials name it.")
    title = models.CharField(
        max_length=120, blank=True, help_text="Empty: the laboratory's usual title."
    )
    language = models.CharField(
        max_length=2, choices=choices(Language), default=Language.ENGLISH.value
    )
    paper = models.CharField(max_length=6, choices=choices(Paper), default=Paper.A4.value)
    columns = models.JSONField(default=list, blank=True, help_text="Empty: all that say something.")
    scale = models.CharField(max_length=12, default="log")
    direction = models.CharField(max_length=12, default="fine_left")
    retained_axis = models.BooleanField(default=False)
    passing_decimals = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Empty: as the procedure reports."
    )
    rounding_mode = models.CharField(
        max_length=12, choices=choices(RoundingMode), default=RoundingMode.HALF_EVEN.value
    )
    states_uncertainty = models.BooleanField(
        default=False, help_text="Relevant to the use of these results; stated on every one."
    )
    required_items = models.JSONField(
        default=list, blank=True, help_text="What an authority or the customer wants stated."
    )
    is_simplified = models.BooleanField(
        default=False, help_text="Leaves conditions and the mass balance to the full record."
    )
    agreement = models.CharField(
        max_length=240, blank=True, help_text="By which agreement a simplified report is given."
    )
    logo = models.BinaryField(null=True, blank=True)
    logo_type = models.CharField(max_length=20, blank=True)
    logo_sha256 = models.CharField(max_length=64, blank=True)
    is_active = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering: ClassVar[list[str]] = ["name"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["name"], name="reportform_name_unique"),
            models.UniqueConstraint(
                fields=["customer"],
                condition=Q(is_active=True, customer__isnull=False),
                name="reportform_one_per_customer",
            ),
            models.UniqueConstraint(
                fields=["material"],
                condition=Q(is_active=True, material__isnull=False),
                name="reportform_one_per_material",
            ),
            models.UniqueConstraint(
                fields=["trade"],
                condition=Q(is_active=True, trade__gt=""),
                name="reportform_one_per_trade",
            ),
            models.CheckConstraint(
                condition=Q(material__isnull=True, trade="")
                | Q(customer__isnull=True, trade="")
                | Q(customer__isnull=True, material__isnull=True),
                name="reportform_of_one_scope",
            ),
            models.CheckConstraint(
                condition=Q(is_simplified=False) | Q(agreement__gt=""),
                name="reportform_simplified_by_agreement",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_default(self) -> bool:
        """Say whether it holds wherever no other form does."""
        return self.customer_id is None and self.material_id is None and not self.trade
