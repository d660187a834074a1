"""The worksheet: parse it, evaluate it. One way from masses to results for every caller."""

from __future__ import annotations

from gradation.science.worksheet_checks import WorksheetWarning
from gradation.science.worksheet_evaluation import Evaluation, Row, evaluate
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
from gradation.science.worksheet_parsing import parse_worksheet

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
    "evaluate",
    "parse_worksheet",
]
