"""Report forms: drawn up, changed and given up; what was issued keeps the form it had."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from typing import Any

from django.db import transaction

from gradation.charts.figure import Direction, Scale
from gradation.documents.certificate_gaps import REQUIRED_ITEMS
from gradation.documents.certificate_table import COLUMNS
from gradation.errors import Conflict, Fault, Invalid
from gradation.models import ReportForm, User
from gradation.policy import Action, require
from gradation.services import ledger
from gradation.services.checking import cleaned, locked, needs_reason, unchanged
from gradation.services.logo_checks import check_logo

__all__ = ["change_form", "draw_up_form", "give_up_form"]


def draw_up_form(*, actor: User, form: ReportForm, logo: bytes | None = None) -> ReportForm:
    """Add a report form for a customer, a material, a trade, or as the laboratory's usual one.

    Quality managers and signatories may. Refuses (`Invalid`) a second one for the same, columns
    and items nobody knows, a simplified report without its agreement, and a logo that is no PNG or
    JPEG. Ledger: report form drawn up.
    """
    require(actor, Action.KEEP_REPORT_FORMS)
    with transaction.atomic():
        _put_logo(form, logo)
        _checked(form).save(force_insert=True)
        ledger.write(actor=actor, action="report form drawn up", subject=form)
    return form


def change_form(
    *,
    actor: User,
    form: ReportForm,
    reason: str,
    logo: bytes | None = None,
    version: int | None = None,
    **changes: Any,
) -> ReportForm:
    """Change a report form, with a reason; certificates already issued keep theirs.

    As `draw_up_form`; an empty `logo` takes the picture away, None leaves it. Refuses (`Conflict`)
    a form changed meanwhile. Ledger: report form changed, with what it was before.
    """
    require(actor, Action.KEEP_REPORT_FORMS)
    reason = needs_reason(reason, "change the report form")
    with transaction.atomic():
        form = locked(form)
        unchanged(form, version)
        before = ledger.snapshot(form)
        for name, value in changes.items():
            setattr(form, name, value)
        _put_logo(form, logo)
        form.version += 1
        _checked(form).save()
        ledger.write(
            actor=actor, action="report form changed", subject=form, before=before, reason=reason
        )
    return form


def give_up_form(*, actor: User, form: ReportForm, reason: str) -> ReportForm:
    """Use a report form no longer, with a reason; it stays readable. Ledger: given up."""
    require(actor, Action.KEEP_REPORT_FORMS)
    reason = needs_reason(reason, "give up the report form")
    with transaction.atomic():
        form = locked(form)
        if not form.is_active:
            msg = f"{form} was given up already."
            raise Conflict(msg)
        before = ledger.snapshot(form)
        form.is_active = False
        form.version += 1
        form.save(update_fields=["is_active", "version"])
        ledger.write(
            actor=actor, action="report form given up", subject=form, before=before, reason=reason
        )
    return form


def _checked(form: ReportForm) -> ReportForm:
    faults = [*_unknown("columns", form.columns, COLUMNS)]
    faults += _unknown("required_items", form.required_items, REQUIRED_ITEMS)
    faults += _unknown("scale", [form.scale], [it.value for it in Scale])
    faults += _unknown("direction", [form.direction], [it.value for it in Direction])
    if form.is_simplified and not form.agreement.strip():
        msg = "Say by which agreement with the customer the report is simplified."
        faults.append(Fault("agreement", msg, "agreement-missing"))
    if not form.is_simplified:
        form.agreement = ""
    faults += _second(form)
    if faults:
        raise Invalid(faults)
    return cleaned(form, exclude=frozenset({"logo"}))


def _unknown(field: str, given: Iterable[str], known: Iterable[str]) -> list[Fault]:
    odd = sorted(set(given) - set(known))
    return [
        Fault(field, f"There is no {each}. Choose one of those offered.", "unknown") for each in odd
    ]


def _second(form: ReportForm) -> list[Fault]:
    """Refuse a second usual form; the database refuses a second one for a customer or material."""
    if not form.is_default or not form.is_active:
        return []
    rows = ReportForm.objects.filter(
        is_active=True, customer__isnull=True, material__isnull=True, trade=""
    )
    standing = rows.exclude(pk=form.pk).first()
    if standing is None:
        return []
    msg = f"{standing} is the laboratory's usual form. Name a customer, a material or a trade."
    return [Fault("customer", msg, "second-usual-form")]


def _put_logo(form: ReportForm, logo: bytes | None) -> None:
    if logo is None:
        return
    form.logo_type = check_logo(logo) if logo else ""
    form.logo = logo or None
    form.logo_sha256 = hashlib.sha256(logo).hexdigest() if logo else ""
