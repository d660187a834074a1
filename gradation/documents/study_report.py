"""A study on paper and as a file."""

from typing import Any

from django.template.loader import render_to_string

from gradation.charts.series_printed import series_svg
from gradation.documents.csv_text import csv_text
from gradation.documents.figures import shown_date
from gradation.documents.pdf import EmbeddedFile, render_pdf
from gradation.documents.study_benches import benches_parts
from gradation.documents.study_content import Parts, StudyContent
from gradation.documents.study_precision import precision_parts
from gradation.documents.study_scores import methods_parts, round_parts

__all__ = ["study_csv", "study_html", "study_parts", "study_pdf"]

_WIDTH_MM, _HEIGHT_MM = 182.0, 74.0
_PARTS = {
    "precision": precision_parts,
    "comparison of benches or laboratories": benches_parts,
    "comparison round": round_parts,
    "two methods": methods_parts,
}


def study_parts(kind: str, inputs: dict[str, Any], figures: dict[str, Any], unit: str) -> Parts:
    """Put a study of a kind into facts, tables and charts."""
    return _PARTS[kind](inputs, figures, unit)


def study_html(content: StudyContent) -> str:
    """Return the study as one HTML page."""
    charts = [
        {"heading": chart.heading, "svg": series_svg(chart.figure, _WIDTH_MM, _HEIGHT_MM)}
        for chart in content.parts.charts
    ]
    context = {
        "content": content,
        "identity": f"Study {content.number}",
        "computed": shown_date(content.computed_at),
        "kept": shown_date(content.kept_at),
        "printed": shown_date(content.printed_at),
        "charts": charts,
    }
    return render_to_string("documents/study.html", context)


def study_pdf(content: StudyContent) -> bytes:
    """Return the study as PDF with inputs and figures as an embedded data file."""
    data = EmbeddedFile("study.json", content.data, "Inputs and figures of the study")
    return render_pdf(study_html(content), embedded=data)


def study_csv(content: StudyContent) -> str:
    """Return the tables of the study as CSV, one under the other."""
    widest = max(len(table.columns) for table in content.parts.tables)
    rows: list[list[str]] = []
    for table in content.parts.tables:
        heads = [f"{c.text} [{c.unit}]" if c.unit else c.text for c in table.columns]
        rows += [[table.heading], heads, *(list(row.cells) for row in table.rows), []]
    return csv_text(
        [content.number, *[""] * (widest - 1)], (row + [""] * (widest - len(row)) for row in rows)
    )
