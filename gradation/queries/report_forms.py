"""Report forms: the list, one of them, and which one a certificate is drawn up on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.db.models import QuerySet

from gradation.models import Certificate, ReportForm, Sample, User
from gradation.queries.certificates import certificates_visible_to

__all__ = [
    "BUILT_IN",
    "example_certificate",
    "find_report_form",
    "form_of",
    "form_of_sample",
    "lend_logo",
    "report_forms",
]

#: Holds while the laboratory has drawn up none of its own.
BUILT_IN = "usual form"


def report_forms() -> QuerySet[ReportForm]:
    """List the forms in use, without their pictures."""
    rows = ReportForm.objects.filter(is_active=True).select_related("customer", "material")
    return rows.defer("logo")


def find_report_form(pk: int) -> ReportForm | None:
    """Give one form with its picture, or None."""
    rows = ReportForm.objects.select_related("customer", "material")
    return rows.filter(pk=pk).first()


def form_of(certificate: Certificate) -> ReportForm:
    """Give the form a draft is drawn up on: the one chosen, else the one of its sample."""
    return certificate.report_form or form_of_sample(certificate.sample)


def form_of_sample(sample: Sample) -> ReportForm:
    """Give the form that holds for a sample: its customer's, its material's, its trade's, usual."""
    rows = ReportForm.objects.filter(is_active=True).select_related("customer", "material")
    return _nearest(list(rows), sample) or ReportForm(name=BUILT_IN)


def _nearest(forms: Sequence[ReportForm], sample: Sample) -> ReportForm | None:
    material = sample.material
    by_nearness = (
        [form for form in forms if form.customer_id == sample.customer_id],
        [form for form in forms if form.material_id == material.pk],
        [form for form in forms if form.trade and form.trade == material.trade],
        [form for form in forms if form.is_default],
    )
    return next((form for near in by_nearness for form in near), None)


def example_certificate(actor: User, asked: Mapping[str, str]) -> Certificate | None:
    """Give the newest certificate that a form would hold for, else the newest; for its preview."""
    rows = certificates_visible_to(actor).order_by("-id")
    wanted = {
        "sample__customer": asked.get("customer", ""),
        "sample__material": asked.get("material", ""),
    }
    near = {name: key for name, key in wanted.items() if key.isdigit() and len(key) < 19}
    return (rows.filter(**near).first() if near else None) or rows.first()


def lend_logo(form: ReportForm, kept: str) -> None:
    """Let a form that is only looked at show the picture kept with another."""
    row = find_report_form(int(kept)) if kept.isdigit() and len(kept) < 19 else None
    if row is not None:
        form.logo, form.logo_type = row.logo, row.logo_type
