"""The impact report: what a bad sieve, balance, shaker or person touched, and what was decided."""

from collections.abc import Callable
from dataclasses import dataclass
from operator import attrgetter

from django.template.loader import render_to_string

from gradation.documents.content_json import from_json, to_json
from gradation.documents.csv_text import Cell, csv_text
from gradation.documents.figures import NOT_SPECIFIED, shown_date, shown_days, written
from gradation.documents.pdf import EmbeddedFile, render_pdf

#: Rows printed of each table; all rows are in the CSV and in the data inside the PDF.
MOST_ROWS = 300
_LANDSCAPE = "@page { size: A4 landscape }"


@dataclass(frozen=True)
class ImpactRun:
    """One run as it was recorded and as it would have been; percentages, None where not told."""

    run: str
    state: str
    opened_on: str
    sample: str
    customer: str
    material: str
    certificates: tuple[str, ...] = ()
    specification: str = ""
    point: str = ""
    passing_pct: float | None = None
    corrected_pct: float | None = None
    margin_before: float | None = None
    margin_after: float | None = None
    nearest: str = ""
    outcome_before: str = ""
    outcome_after: str = ""
    would_flip: bool | None = None
    mass_g: float | None = None
    corrected_mass_g: float | None = None
    note: str = ""


@dataclass(frozen=True)
class ImpactCertificate:
    """One certificate, what was decided on it, and the amendment made since."""

    number: str
    state: str
    issued_on: str
    customer: str
    sample: str
    runs: int
    needs_decision: bool
    would_flip: bool | None = None
    margin_after: float | None = None
    decision: str = ""
    reason: str = ""
    decided_by: str = ""
    decided_at: str = ""
    amended_by: str = ""


@dataclass(frozen=True)
class ImpactContent:
    """A whole assessment as it stood when printed; dates ISO, in the laboratory's zone."""

    laboratory: str
    number: str
    subject: str
    reason: str
    state: str
    first_day: str
    last_day: str
    last_good_evidence: str
    method: str
    sentence: str
    opened_at: str
    opened_by: str
    printed_at: str
    printed_by: str
    time_zone: str
    run_count: int
    flips: int
    runs: tuple[ImpactRun, ...] = ()
    certificates: tuple[ImpactCertificate, ...] = ()
    customers: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    conclusion: str = ""
    closed_at: str = ""
    closed_by: str = ""
    language: str = "en"

    def to_json(self) -> str:
        """Return the content as JSON; equal content gives equal text."""
        return to_json(self)

    @classmethod
    def from_json(cls, text: str) -> "ImpactContent":
        """Return the content that `to_json` wrote; raises ContentFault on anything else."""
        return from_json(cls, text)


def impact_html(content: ImpactContent) -> str:
    """Return the report as one HTML page, the rows in the order given: worst first."""
    undecided = [each for each in content.certificates if each.needs_decision and not each.decision]
    context = {
        "content": content,
        "identity": f"Impact assessment {content.number}",
        "period": shown_days(content.first_day, content.last_day),
        "opened": shown_date(content.opened_at),
        "closed": shown_date(content.closed_at),
        "printed": shown_date(content.printed_at),
        "runs": [_shown_run(each) for each in content.runs[:MOST_ROWS]],
        "runs_left_out": max(0, len(content.runs) - MOST_ROWS),
        "certificates": [_shown_certificate(each) for each in content.certificates[:MOST_ROWS]],
        "certificates_left_out": max(0, len(content.certificates) - MOST_ROWS),
        "undecided": len(undecided),
    }
    return render_to_string("documents/impact.html", context)


def impact_pdf(content: ImpactContent) -> bytes:
    """Return the report as PDF with all its rows as an embedded data file."""
    data = EmbeddedFile("impact.json", content.to_json(), "Every run and certificate touched")
    return render_pdf(impact_html(content), page_css=_LANDSCAPE, embedded=data)


def runs_csv(content: ImpactContent) -> str:
    """Return every run as CSV, worst first."""
    return _table(_RUN_COLUMNS, content.runs)


def certificates_csv(content: ImpactContent) -> str:
    """Return every certificate with its decision as CSV, worst first."""
    return _table(_CERTIFICATE_COLUMNS, content.certificates)


_Columns = dict[str, Callable[..., Cell]]

_RUN_COLUMNS: _Columns = {
    "run": attrgetter("run"),
    "state": attrgetter("state"),
    "opened on": attrgetter("opened_on"),
    "sample": attrgetter("sample"),
    "customer": attrgetter("customer"),
    "material": attrgetter("material"),
    "certificates": lambda row: ", ".join(row.certificates),
    "specification": attrgetter("specification"),
    "sieve": attrgetter("point"),
    "passing recorded [%]": attrgetter("passing_pct"),
    "passing corrected [%]": attrgetter("corrected_pct"),
    "margin recorded [%]": attrgetter("margin_before"),
    "margin corrected [%]": attrgetter("margin_after"),
    "nearest limit": attrgetter("nearest"),
    "outcome recorded": lambda row: row.outcome_before.replace("_", " "),
    "outcome corrected": lambda row: row.outcome_after.replace("_", " "),
    "would flip": attrgetter("would_flip"),
    "dry mass recorded [g]": attrgetter("mass_g"),
    "dry mass corrected [g]": attrgetter("corrected_mass_g"),
    "note": attrgetter("note"),
}
_CERTIFICATE_COLUMNS: _Columns = {
    "certificate": attrgetter("number"),
    "state": attrgetter("state"),
    "issued on": attrgetter("issued_on"),
    "customer": attrgetter("customer"),
    "sample": attrgetter("sample"),
    "touched runs": attrgetter("runs"),
    "would flip": attrgetter("would_flip"),
    "margin corrected [%]": attrgetter("margin_after"),
    "needs a decision": attrgetter("needs_decision"),
    "decision": attrgetter("decision"),
    "reason": attrgetter("reason"),
    "decided by": attrgetter("decided_by"),
    "decided at": attrgetter("decided_at"),
    "amended by": attrgetter("amended_by"),
}


def _table(columns: _Columns, rows: tuple[ImpactRun, ...] | tuple[ImpactCertificate, ...]) -> str:
    return csv_text(list(columns), ([read(row) for read in columns.values()] for row in rows))


def _shown_run(run: ImpactRun) -> dict[str, object]:
    return {
        "row": run,
        "day": shown_date(run.opened_on),
        "certificates": ", ".join(run.certificates) or NOT_SPECIFIED,
        "passing": _figure(run.passing_pct),
        "corrected": _figure(run.corrected_pct),
        "before": _figure(run.margin_before),
        "after": _figure(run.margin_after),
        "flip": _flip(run.would_flip),
        "outcomes": _outcomes(run),
    }


def _shown_certificate(certificate: ImpactCertificate) -> dict[str, object]:
    return {
        "row": certificate,
        "day": shown_date(certificate.issued_on),
        "after": _figure(certificate.margin_after),
        "flip": _flip(certificate.would_flip),
        "decided": shown_date(certificate.decided_at),
    }


def _outcomes(run: ImpactRun) -> str:
    before, after = (each.replace("_", " ") for each in (run.outcome_before, run.outcome_after))
    return before if before == after else f"{before} → {after}"


def _figure(value: float | None) -> str:
    return NOT_SPECIFIED if value is None else written(f"{value:.2f}")


def _flip(value: bool | None) -> str:
    return {None: NOT_SPECIFIED, True: "yes", False: "no"}[value]
