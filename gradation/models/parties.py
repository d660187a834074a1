"""Whom the laboratory works for, where material comes from, and what it is."""

from __future__ import annotations

from typing import ClassVar

from django.db import models


class Customer(models.Model):
    """A customer as certificates name it. Issued certificates keep their own copy."""

    name = models.CharField(max_length=160)
    contact_name = models.CharField(max_length=120, blank=True)
    email = models.EmailField(blank=True)
    address = models.TextField(blank=True)
    is_active = models.BooleanField(default=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["name"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["name"], name="customer_name_unique"),
        ]

    def __str__(self) -> str:
        return self.name


class Source(models.Model):
    """A pit, plant, line or stockpile that material comes from."""

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="sources")
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=40, blank=True)
    place = models.CharField(max_length=160, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["name"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["customer", "name"], name="source_name_unique"),
        ]

    def __str__(self) -> str:
        return self.name


class Material(models.Model):
    """A kind of material, with the procedure and specification it is tested by unless said."""

    name = models.CharField(max_length=120)
    trade = models.CharField(max_length=60, blank=True)
    hazards = models.TextField(blank=True, help_text="Shown where the work is done.")
    default_procedure = models.ForeignKey(
        "gradation.Procedure", on_delete=models.PROTECT, null=True, blank=True
    )
    default_specification = models.ForeignKey(
        "gradation.Specification", on_delete=models.PROTECT, null=True, blank=True
    )

    class Meta:
        ordering: ClassVar[list[str]] = ["name"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["name"], name="material_name_unique"),
        ]

    def __str__(self) -> str:
        return self.name
