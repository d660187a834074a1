"""The worksheet: parse it, evaluate it. One way from masses to results for every caller."""

from __future__ import annotations

from gradation.science.worksheet_checks import WorksheetWarning
from gradation.science.worksheet_evaluation import evaluate
from gradation.science.worksheet_form import (
    EndPointCheck,
    Entry,
    Fault,
    Fraction,
    PortionCheck,
    Worksheet,
    WorksheetFaults,
    WorksheetSplit,
)
from gradation.science.worksheet_output import as_json
from gradation.science.worksheet_parsing import parse_worksheet
from gradation.science.worksheet_result import Evaluation, Row

__all__ = [
    "EndPointCheck",
    "Entry",
    "Evaluation",
    "Fault",
    "Fraction",
    "PortionCheck",
    "Row",
    "Worksheet",
    "WorksheetFaults",
    "WorksheetSplit",
    "WorksheetWarning",
    "as_json",
    "evaluate",
    "parse_worksheet",
]
