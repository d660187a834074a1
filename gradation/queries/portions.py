"""Test portions: one portion with what a run of it needs to know."""

from __future__ import annotations

from gradation.errors import NotFound
from gradation.models import TestPortion, User
from gradation.queries.samples import samples_visible_to

__all__ = ["find_portion"]


def find_portion(actor: User, label: str) -> TestPortion:
    """Give one portion with its sample and procedure, or `NotFound`."""
    portion = (
        TestPortion.objects.filter(label=label, sample__in=samples_visible_to(actor))
        .select_related(
            "sample__material",
            "sample__customer",
            "sample__source",
            "sample__procedure_version__procedure",
        )
        .first()
    )
    if portion is None:
        msg = f"There is no test portion {label}. Check the label on the tray."
        raise NotFound(msg)
    return portion
