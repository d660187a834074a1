"""Labels: the code says what the text says, and every label fits its stock."""

import io
import re

import pytest
import segno
from pypdf import PdfReader

from gradation.documents.labels import (
    A4_SHEET,
    ROLL_SAMPLE,
    ROLL_SIEVE,
    LabelStock,
    SampleLabel,
    SieveLabel,
    code_svg,
    labels_html,
    labels_pdf,
)
from tests.charts.hostile_texts import HOSTILE_TEXTS
from tests.documents import reading


def make_sample_label(number="26-0148", **changes):
    values = {"scanned": number, "description": "Crushed granite 0/32", "part": "A, test portion"}
    return SampleLabel(number, **{**values, **changes})


def make_sieve_label(serial="S-0142"):
    return SieveLabel(serial, serial, "250 µm", "ISO 3310-1", "200 mm", "3 May 2027")


def size_mm(pdf):
    box = PdfReader(io.BytesIO(pdf)).pages[0].mediabox
    return tuple(round(float(it) / 72 * 25.4, 1) for it in (box.width, box.height))


def test_the_number_stands_in_plain_text_beside_the_code():
    said = reading.text(labels_pdf((make_sample_label(hazard="Silica dust"),), ROLL_SAMPLE))

    assert "26-0148 Silica dust A, test portion Crushed granite 0/32" in said


def test_a_sieve_label_shows_aperture_and_next_check():
    said = reading.text(labels_pdf((make_sieve_label(),), ROLL_SIEVE))

    assert "S-0142 250 µm ISO 3310-1 200 mm check due 3 May 2027" in said


def test_the_drawn_code_is_the_code_of_the_text_with_four_light_modules_around():
    # ISO/IEC 18004: quiet zone of four modules; the general library's matrix is the reference
    matrix = [
        [bool(it) for it in row] for row in segno.make("26-0148", error="m", micro=False).matrix
    ]
    drawn = code_svg("26-0148")

    dark = {(int(x) - 4, int(y) - 4) for x, y in re.findall(r"M(\d+) (\d+)h1v1h-1z", drawn)}
    expected = {(x, y) for y, row in enumerate(matrix) for x, it in enumerate(row) if it}
    assert dark == expected
    assert f'viewBox="0 0 {len(matrix) + 8}.00 {len(matrix) + 8}.00"' in drawn


@pytest.mark.parametrize(("stock", "size"), [(ROLL_SAMPLE, (89, 36)), (ROLL_SIEVE, (57, 25))])
def test_a_roll_label_is_a_page_of_its_own_size(stock, size):
    pdf = labels_pdf((make_sample_label(), make_sample_label("26-0149")), stock)

    assert size_mm(pdf) == size
    assert len(reading.pages(pdf)) == 2


@pytest.mark.parametrize(("count", "pages"), [(1, 1), (24, 1), (25, 2), (48, 2)])
def test_a_sheet_holds_twenty_four_labels(count, pages):
    labels = tuple(make_sample_label(f"26-{i:04d}") for i in range(count))

    pdf = labels_pdf(labels, A4_SHEET)

    assert size_mm(pdf) == (210, 297)
    printed = reading.pages(pdf)
    assert len(printed) == pages
    assert all(label.number in " ".join(printed) for label in labels)


def test_a_label_bears_no_page_number():
    assert "Page" not in reading.text(labels_pdf((make_sample_label(),), A4_SHEET))


def test_no_label_is_no_page_of_labels():
    assert "label" not in labels_html((), A4_SHEET).partition("<body")[2].replace(
        'class="labels"', ""
    )


@pytest.mark.parametrize("bad", [{"width_mm": 0}, {"columns": 0}, {"columns": 4}])
def test_stock_that_cannot_be_is_refused(bad):
    sheet = {"width_mm": 70, "height_mm": 37, "columns": 3, "rows": 8}

    with pytest.raises(ValueError, match="label"):
        LabelStock(**{**sheet, **bad}, page_width_mm=210, page_height_mm=297)


@pytest.mark.parametrize("text", [it for it in HOSTILE_TEXTS if len(it) < 500])
def test_no_text_becomes_markup(text):
    html = labels_html(
        (make_sample_label(scanned=text, description=text, hazard=text),), ROLL_SAMPLE
    )

    ours = "html head meta title body table tbody tr td div p svg path"
    assert set(re.findall(r"<([a-z]+)", html)) <= set(ours.split())
