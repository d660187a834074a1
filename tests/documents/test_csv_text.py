"""A CSV opens in a spreadsheet and runs nothing there."""

import csv
import io

import pytest

from gradation.documents.csv_text import csv_text, safe_cell
from tests.charts.hostile_texts import HOSTILE_TEXTS


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n"])
def test_words_that_a_spreadsheet_would_run_get_an_apostrophe(start):
    assert safe_cell(f"{start}cmd|' /C calc'!A0") == f"'{start}cmd|' /C calc'!A0"


@pytest.mark.parametrize(
    ("value", "text"),
    [(-0.42, "-0.4200"), (-3, "-3"), ("-0.42", "-0.42"), (None, ""), (True, "yes"), (False, "no")],
)
def test_true_numbers_stay_numbers(value, text):
    assert safe_cell(value) == text


@pytest.mark.parametrize("text", ["-0.42-1", "+1", "-1e5", "--1", "-", "1+1"])
def test_what_only_looks_like_a_number_is_words(text):
    assert safe_cell(text) == (text if text == "1+1" else f"'{text}")


@pytest.mark.parametrize("text", HOSTILE_TEXTS)
def test_every_cell_reads_back_as_itself(text):
    read = list(csv.reader(io.StringIO(csv_text(["name"], [[text]]), newline="")))

    assert read == [["name"], [safe_cell(text)]]
