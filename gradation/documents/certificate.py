"""The certificate of analysis: content to HTML, and to PDF with the content embedded."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby

from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _noop

from gradation.charts.printed import svg
from gradation.documents.certificate_content import (
    CertificateContent,
    Characteristic,
    Conformity,
    ResultTable,
    SampleItem,
    SieveUsed,
    Verdict,
)
from gradation.documents.certificate_figure import certificate_figure
from gradation.documents.certificate_figures import certificate_csv
from gradation.documents.certificate_table import ShownTable, shown_table
from gradation.documents.figures import (
    aligned,
    ended,
    shown_date,
    shown_days,
    shown_moment,
    written,
)
from gradation.documents.labels import code_svg
from gradation.documents.pdf import EmbeddedFile, raster_in, render_pdf
from gradation.documents.printing.terms import DATA_FILE, TABLE_FILE
from gradation.language import localized, speaking

_LONGEST_ADDRESS = 300  # a longer one makes a code too fine to be scanned from paper
#: The width between the margins of each sheet, and a height that leaves room for the table.
_CHART_MM = {"A4": (182.0, 82.0), "Letter": (187.9, 78.0)}
_SHEETS = {"A4": "", "Letter": "@page { size: letter }"}


def certificate_html(content: CertificateContent, *, full_record: bool = False) -> str:
    """Return the certificate as one HTML page; every text of `content` is escaped.

    It is written in the content's language. The full record prints also what a simplified report
    leaves out.
    """
    with speaking(content.language):
        return render_to_string("documents/certificate.html", _context(content, full_record))


def pictures_of(content: CertificateContent) -> tuple[str, ...]:
    """Return the addresses of the pictures that the certificate brings along: its logo."""
    logo = content.report_form.logo
    return (logo,) if raster_in(logo) is not None else ()


def page_css_of(content: CertificateContent) -> str:
    """Return the style of the sheet that the certificate is printed on."""
    return _SHEETS.get(content.report_form.paper, "")


def certificate_pdf(content: CertificateContent) -> bytes:
    """Return the certificate as PDF with its content as an embedded data file."""
    data = EmbeddedFile(DATA_FILE, content.to_json(), "The content of this certificate")
    table = EmbeddedFile(TABLE_FILE, certificate_csv(content), "The figures of this certificate")
    html, sheet = certificate_html(content), page_css_of(content)
    return render_pdf(html, page_css=sheet, embedded=(data, table), pictures=pictures_of(content))


def _context(content: CertificateContent, full_record: bool) -> dict[str, object]:
    simplified = content.report_form.is_simplified and not full_record
    return {
        "content": content,
        "identity": _identity(content),
        "simplified": simplified,
        "logo": next(iter(pictures_of(content)), ""),
        "tables": [_table(content, table, simplified) for table in content.results],
        "conformity": [_statement(it) for it in content.conformity],
        "further": [_further(it) for it in content.further_samples],
        "chart": _chart(content),
        "characteristics": _characteristics(content.characteristics),
        "dates": _dates(content),
        "signatures": [(it, shown_moment(it.signed_at)) for it in content.signatures],
        "corrections": [(it, shown_moment(it.changed_at)) for it in content.corrections],
        "supplied": _supplied(content.sample),
        "replaced_on": shown_date(content.amendment.replaced_issued_on)
        if content.amendment
        else "",
        "reason": ended(content.amendment.reason) if content.amendment else "",
        "code": _code(content),
        "data_file": DATA_FILE,
        "table_file": TABLE_FILE,
    }


def _code(content: CertificateContent) -> SafeString:
    """Return the code to scan that leads to the page on which this certificate is verified."""
    where = content.verification_address + content.verification_code
    is_there = content.verification_address and content.verification_code
    if content.draft or not is_there or len(where) > _LONGEST_ADDRESS:
        return mark_safe("")
    return code_svg(where)


def _identity(content: CertificateContent) -> str:
    """Return what stands at the foot of every page; a draft has no number to be quoted by."""
    if content.draft:
        return gettext("DRAFT, not issued, no number")
    told = {"number": content.number, "version": content.version}
    return gettext("Certificate %(number)s, version %(version)s") % told


def _supplied(sample: SampleItem) -> dict[str, str]:
    return dict.fromkeys(sample.supplied_by_customer, "†")


def _further(sample: SampleItem) -> dict[str, object]:
    return {
        "it": sample,
        "supplied": _supplied(sample),
        "sampled": shown_date(sample.sampled_on),
        "received": shown_date(sample.received_on),
    }


#: Outcomes as they are written above and in the statement of conformity.
_SAID = (_noop("conforms"), _noop("does not conform"), _noop("not decidable"))


def _statement(statement: Conformity) -> dict[str, object]:
    values = aligned([it.value for it in statement.lines])
    lines = [
        {
            "item": it,
            "value": value,
            "limits": _limits(it.lower, it.upper),
            "deviation": written(it.deviation),
            "share": written(it.share_pct),
            "said": _verdict(it.verdict),
        }
        for it, value in zip(statement.lines, values, strict=True)
    ]
    return {
        "it": statement,
        "said": gettext(statement.outcome.value),
        "lines": lines,
        "has_shares": any(it.share_pct for it in statement.lines),
    }


def _verdict(verdict: Verdict) -> str:
    return gettext(verdict.value) if verdict else ""


def _table(content: CertificateContent, table: ResultTable, simplified: bool) -> dict[str, object]:
    columns = content.report_form.columns
    shown: ShownTable = shown_table(table, columns, with_balance=not simplified)
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
    sample = table.sample if content.further_samples else ""
    return {"shown": shown, "runs": runs, "remarks": table.remarks, "sample": sample}


def _by_next_check(sieves: tuple[SieveUsed, ...]) -> list[tuple[str, list[SieveUsed]]]:
    """Return the sieves, coarse to fine, grouped while their next checks fall on one day."""
    named = (replace(it, designation=localized(it.designation)) for it in sieves)
    groups = groupby(named, key=lambda sieve: sieve.next_check)
    return [(shown_date(day), list(group)) for day, group in groups]


def _chart(content: CertificateContent) -> SafeString:
    return mark_safe(svg(certificate_figure(content), *_size(content)))  # noqa: S308 - svg escapes


def _size(content: CertificateContent) -> tuple[float, float]:
    return _CHART_MM.get(content.report_form.paper, _CHART_MM["A4"])


def _characteristics(items: Sequence[Characteristic]) -> dict[str, object]:
    """Return a table for each run, and which columns any of them needs."""
    runs = dict.fromkeys(item.run for item in items)
    return {
        "tables": [
            (_of_run(run), _values([item for item in items if item.run == run])) for run in runs
        ],
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
            "said": _verdict(it.verdict),
        }
        for it, value, spread in zip(items, values, spreads, strict=True)
    ]


def _of_run(run: str) -> str:
    return gettext("Run %(run)s") % {"run": run} if run else ""


def _limits(lower: str, upper: str) -> str:
    if lower and upper:
        ends = {"lower": written(lower), "upper": written(upper)}
        return gettext("%(lower)s to %(upper)s") % ends
    if lower:
        return gettext("at least %(limit)s") % {"limit": written(lower)}
    return gettext("at most %(limit)s") % {"limit": written(upper)} if upper else "–"


def _dates(content: CertificateContent) -> dict[str, str]:
    sample = content.sample
    return {
        "sampled": shown_date(sample.sampled_on),
        "received": shown_date(sample.received_on),
        "tested": shown_days(content.tested_first, content.tested_last),
        "issued": shown_date(content.issued_at) or gettext("not issued"),
    }
