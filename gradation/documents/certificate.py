"""The certificate of analysis: content to HTML, and to PDF with the content embedded."""

from collections.abc import Sequence
from itertools import groupby

from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe

from gradation.charts.printed import svg
from gradation.documents.certificate_content import (
    CertificateContent,
    Characteristic,
    ResultTable,
    SieveUsed,
)
from gradation.documents.certificate_figure import certificate_figure
from gradation.documents.certificate_table import ShownTable, shown_table
from gradation.documents.figures import (
    aligned,
    ended,
    shown_date,
    shown_days,
    shown_moment,
    written,
)
from gradation.documents.pdf import EmbeddedFile, render_pdf

_CHART_MM = (182.0, 82.0)  # the width between the margins of A4


def certificate_html(content: CertificateContent) -> str:
    """Return the certificate as one HTML page; every text of `content` is escaped."""
    return render_to_string("documents/certificate.html", _context(content))


def certificate_pdf(content: CertificateContent) -> bytes:
    """Return the certificate as PDF with its content as an embedded data file."""
    data = EmbeddedFile("certificate.json", content.to_json(), "The content of this certificate")
    return render_pdf(certificate_html(content), embedded=data)


def _context(content: CertificateContent) -> dict[str, object]:
    return {
        "content": content,
        "identity": _identity(content),
        "tables": [_table(content, table) for table in content.results],
        "chart": _chart(content),
        "characteristics": _characteristics(content.characteristics),
        "dates": _dates(content),
        "signatures": [(it, shown_moment(it.signed_at)) for it in content.signatures],
        "corrections": [(it, shown_moment(it.changed_at)) for it in content.corrections],
        "supplied": dict.fromkeys(content.sample.supplied_by_customer, "†"),
        "replaced_on": shown_date(content.amendment.replaced_issued_on)
        if content.amendment
        else "",
        "reason": ended(content.amendment.reason) if content.amendment else "",
    }


def _identity(content: CertificateContent) -> str:
    """Return what stands at the foot of every page; a draft has no number to be quoted by."""
    if content.draft:
        return "DRAFT, not issued, no number"
    return f"Certificate {content.number}, version {content.version}"


def _table(content: CertificateContent, table: ResultTable) -> dict[str, object]:
    shown: ShownTable = shown_table(table)
    runs = [
        {
            "run": run,
            "days": shown_days(run.first_day, run.last_day),
            "mass": written(run.portion_mass_g),
            "sieves": _by_next_check(run.sieves),
            "instruments": [(it, shown_date(it.next_check)) for it in run.instruments],
        }
        for run in table.conditions
    ]
    return {"shown": shown, "runs": runs, "remarks": table.remarks}


def _by_next_check(sieves: tuple[SieveUsed, ...]) -> list[tuple[str, list[SieveUsed]]]:
    """Return the sieves, coarse to fine, grouped while their next checks fall on one day."""
    groups = groupby(sieves, key=lambda sieve: sieve.next_check)
    return [(shown_date(day), list(group)) for day, group in groups]


def _chart(content: CertificateContent) -> SafeString:
    return mark_safe(svg(certificate_figure(content), *_CHART_MM))  # noqa: S308 - svg escapes


def _characteristics(items: Sequence[Characteristic]) -> dict[str, object]:
    """Return a table for each run, and which columns any of them needs."""
    runs = dict.fromkeys(item.run for item in items)
    return {
        "tables": [(run, _values([item for item in items if item.run == run])) for run in runs],
        "has_uncertainty": any(item.uncertainty for item in items),
        "has_limits": any(item.lower or item.upper for item in items),
        "has_verdicts": any(item.verdict for item in items),
    }


def _values(items: Sequence[Characteristic]) -> list[dict[str, object]]:
    values = aligned([it.value for it in items])
    spreads = aligned([it.uncertainty for it in items])
    return [
        {
            "item": it,
            "value": value,
            "uncertainty": spread,
            "limits": _limits(it.lower, it.upper),
        }
        for it, value, spread in zip(items, values, spreads, strict=True)
    ]


def _limits(lower: str, upper: str) -> str:
    if lower and upper:
        return f"{written(lower)} to {written(upper)}"
    if lower:
        return f"at least {written(lower)}"
    return f"at most {written(upper)}" if upper else "–"


def _dates(content: CertificateContent) -> dict[str, str]:
    sample = content.sample
    return {
        "sampled": shown_date(sample.sampled_on),
        "received": shown_date(sample.received_on),
        "tested": shown_days(content.tested_first, content.tested_last),
        "issued": shown_date(content.issued_at) or "not issued",
    }
