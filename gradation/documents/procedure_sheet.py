"""An edition of a procedure on paper: all that it says, step by step, and who stands behind it."""

from __future__ import annotations

from dataclasses import dataclass

from django.template.loader import render_to_string

from gradation.documents.content_json import from_json, to_json
from gradation.documents.figures import shown_date
from gradation.documents.pdf import EmbeddedFile, render_pdf

__all__ = ["Act", "ProcedureContent", "Said", "Step", "procedure_html", "procedure_pdf"]

_CARE = "The safety data sheet, local rules and the site's risk assessment come first."


@dataclass(frozen=True)
class Said:
    """One thing a procedure says, and how sure the library is of it."""

    label: str
    words: str
    mark: str = ""


@dataclass(frozen=True)
class Step:
    """What it says about one step of the work."""

    legend: str
    lines: tuple[Said, ...]


@dataclass(frozen=True)
class Act:
    """Who drafted, proposed or released it, and when (ISO, in the laboratory's zone)."""

    name: str
    person: str
    at: str


@dataclass(frozen=True)
class ProcedureContent:
    """A whole edition as it stood when printed."""

    laboratory: str
    code: str
    title: str
    version: int
    state: str
    standard: str
    steps: tuple[Step, ...]
    acts: tuple[Act, ...]
    confirmation: str
    to_confirm: str
    cautions: str
    printed_at: str
    printed_by: str
    time_zone: str
    language: str = "en"

    def to_json(self) -> str:
        """Return the content as JSON; equal content gives equal text."""
        return to_json(self)

    @classmethod
    def from_json(cls, text: str) -> ProcedureContent:
        """Return the content that `to_json` wrote; raises ContentFault on anything else."""
        return from_json(cls, text)


def procedure_html(content: ProcedureContent) -> str:
    """Return the edition as one HTML page; what it leaves open is not listed."""
    context = {
        "content": content,
        "identity": f"{content.code} version {content.version}",
        "is_in_force": content.state == "released",
        "steps": [step for step in map(_filled, content.steps) if step.lines],
        "acts": [(act, shown_date(act.at)) for act in content.acts],
        "printed": shown_date(content.printed_at),
        "care": _CARE,
    }
    return render_to_string("documents/procedure.html", context)


def _filled(step: Step) -> Step:
    return Step(step.legend, tuple(line for line in step.lines if line.words))


def procedure_pdf(content: ProcedureContent) -> bytes:
    """Return the edition as PDF with its words as an embedded data file."""
    data = EmbeddedFile("procedure.json", content.to_json(), "The edition as data")
    return render_pdf(procedure_html(content), embedded=data)
