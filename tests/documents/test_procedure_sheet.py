"""An edition of a procedure on paper: every step, who stands behind it, whether it is in force."""

import io
import re
from dataclasses import replace

from pypdf import PdfReader

from gradation.documents.procedure_sheet import (
    Act,
    ProcedureContent,
    Said,
    Step,
    procedure_html,
    procedure_pdf,
)

CONTENT = ProcedureContent(
    laboratory="Norrhaven sieve room",
    code="NP-01",
    title="Sieving of sand",
    version=3,
    state="released",
    standard="EN 933-1, 2012",
    steps=(
        Step("Drying", (Said("Oven", "110 °C", "confirmed"), Said("Drying", ""))),
        Step("Determinations", (Said("Outliers", ""),)),
    ),
    acts=(Act("Drafted", "Ilka", "2026-11-20T09:05+01:00"), Act("Released", "", "")),
    confirmation="",
    to_confirm="the loss limit",
    cautions="Hot oven.",
    printed_at="2026-11-24T14:05+01:00",
    printed_by="Renna",
    time_zone="Europe/Stockholm",
)


def words(html):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def test_what_is_said_is_printed_and_what_is_left_open_is_not():
    page = words(procedure_html(CONTENT))

    assert "Oven 110 °C confirmed" in page
    assert "Determinations" not in page
    assert "To confirm against your own edition: the loss limit" in page
    assert "Ilka, 20 Nov 2026 09:05" in page
    assert "Hot oven. The safety data sheet" in page


def test_draft_says_that_nothing_is_tested_by_it():
    page = words(procedure_html(replace(CONTENT, state="draft")))

    assert "This edition is draft: nothing is tested by it." in page
    assert "nothing is tested by it" not in words(procedure_html(CONTENT))


def test_text_from_outside_is_shown_not_run():
    page = procedure_html(replace(CONTENT, title="<script>alert(1)</script>"))

    assert "<script>" not in page


def test_pdf_carries_its_words_as_data_and_repeats_byte_by_byte():
    pdf = procedure_pdf(CONTENT)

    reader = PdfReader(io.BytesIO(pdf))
    data = reader.attachments["procedure.json"][0].decode()
    assert ProcedureContent.from_json(data) == CONTENT
    assert procedure_pdf(CONTENT) == pdf
    page = reader.pages[0].extract_text()
    assert "NP-01, version 3" in page
    assert "Page 1 of 1" in page
