"""The certificate on paper, read back from the PDF as a customer would."""

import dataclasses
import hashlib
import io
import os
import re
import subprocess
import sys
from collections import Counter, defaultdict
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont
from pypdf import PdfReader

from gradation.documents.certificate import certificate_html, certificate_pdf
from gradation.documents.certificate_content import (
    DEFERENCE,
    NOT_IN_PART,
    RELATES_ONLY,
    Amendment,
    CertificateContent,
    Change,
    Opinion,
    Verdict,
)
from gradation.documents.certificate_figure import certificate_figure
from tests.charts.hostile_texts import HOSTILE_TEXTS
from tests.documents import reading
from tests.documents.example_certificate import BALANCE, CONDITIONS, SAMPLE, make_content

_ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def pdf():
    return certificate_pdf(make_content())


@pytest.fixture(scope="module")
def text(pdf):
    return reading.text(pdf)


@cache
def pages_with_rows(count):
    return reading.pages(certificate_pdf(with_rows(count)))


def with_rows(count):
    """Return the example with `count` rows, each sieve 5 % finer than the one before."""
    row = make_content().results[0].rows[3]
    rows = tuple(
        dataclasses.replace(
            row, designation=f"sieve {i}", aperture_mm=f"{45 * 0.95**i:.3f}", verdict=Verdict.WITHIN
        )
        for i in range(count)
    )
    table = dataclasses.replace(make_content().results[0], rows=rows)
    return make_content(results=(table,))


# ISO/IEC 17025:2017, 7.8.2.1 a) to p) and 7.8.3, each found in the text of the PDF
@pytest.mark.parametrize(
    "said",
    [
        "Certificate of analysis",
        "Norrhaven Materials Laboratory",
        "Quay Road 4, Norrhaven",
        "Work done at: Norrhaven, permanent laboratory",
        "NML-2026-00217",
        "Tarnholt Aggregates",
        "Ms I. Fjeldstad, quality",
        "In-house method NML-12, edition 3 (2026-02-01)",
        "26-0148",
        "Crushed granite 0/32, unbound base†",
        "Sealed bag, moist, 14.2 kg, no damage",
        "20 Nov 2026",
        "19 Nov 2026†",
        "23 to 24 Nov 2026",
        "issued 24 Nov 2026 14:05",
        "From the belt, 8 increments, customer's plan QP-7†",
        RELATES_ONLY,
        NOT_IN_PART,
        DEFERENCE,
        "the results apply to the sample as received",
        "Deviations, additions and exclusions None.",
        "Dr M. Solheim, authorised signatory Authorised for issue 24 Nov 2026 14:05 (UTC+01:00)",
        "1.5 mm peak to peak at 50 Hz, 10 min",
        "washed over 63 µm",
        "21 °C, 44 % relative humidity",
        "S-0153",
        "next check due 3 May 2027",
        "TQ-0/32 unbound base, version 3, clause 4.2: does not conform",
        "plain acceptance of the reported value",
        "passing at 45, 31.5, 16, 8, 4, 2, 1 mm, 500 µm and 63 µm; Cu",
        "U is the expanded uncertainty, coverage factor 2, about 95 %.",
        "389.4 g J. Aasheim, 24 Nov 2026 10:12 (UTC+01:00)",
        "7K2M-QX4D-93RT",
        "halves to even",
    ],
)
def test_the_certificate_says(text, said):
    assert said in text


def test_every_row_is_printed_with_its_figures_in_order(text):
    for row in make_content().results[0].rows:
        figures = (row.designation, row.aperture_mm, row.retained_g, row.retained_pct)
        assert " ".join((*figures, row.cumulative_pct, row.passing_pct)) in text


def test_r40_a_corrected_value_is_marked_on_its_row(text):
    assert "5.6 mm 5.6 389.4 8.1 57.0 43§" in text


def test_not_specified_is_a_dash_and_nought_is_nought(text):
    assert "22.4 mm 22.4 611.8 12.7 15.7 84 2 – – –" in text
    assert "45 mm 45 0.0 0.0 0.0 100 0 100 – within" in text


def test_a_verdict_outside_is_told_in_words_with_its_side(text):
    assert "4.8 0.3 – 4.0 outside, above" in text


@pytest.mark.parametrize("count", [15, 30, 60])
def test_every_page_carries_number_version_and_its_place_and_only_the_last_the_end(count):
    pages = pages_with_rows(count)

    assert len(pages) <= {15: 2, 30: 3, 60: 3}[count]
    for i, page in enumerate(pages, start=1):
        assert "Certificate NML-2026-00217, version 1" in page
        assert f"Page {i} of {len(pages)}" in page
    assert [page.count("End of certificate NML-2026-00217") for page in pages] == [
        *[0] * (len(pages) - 1),
        1,
    ]


def test_table_heads_are_repeated_when_a_table_runs_over_the_page():
    pages = pages_with_rows(60)

    assert all("Passing against limits" in page for page in pages[:2])


def test_a_draft_is_marked_on_every_page_and_has_no_number():
    pages = reading.pages(certificate_pdf(make_content(draft=True)))

    assert all("DRAFT" in page for page in pages)
    assert all("DRAFT, not issued, no number" in page for page in pages)
    assert not [page for page in pages if "NML-2026-00217" in page or "7K2M" in page]


def test_an_issued_certificate_bears_no_draft_mark(text):
    assert "DRAFT" not in text.upper().replace("DRAFTED", "")


def test_an_amendment_names_what_it_replaces_why_and_each_change():
    amendment = Amendment(
        "NML-2026-00201", "2026-11-20", "Lot was wrong", (Change("sample · lot", "W46", "W47"),)
    )

    said = reading.text(certificate_pdf(make_content(amendment=amendment)))

    assert "This certificate replaces NML-2026-00201 of 20 Nov 2026. Reason: Lot was wrong." in said
    assert "sample · lot W46 W47" in said


def test_opinions_stand_apart_under_their_own_heading():
    opinion = Opinion("It may suit a capping layer.", "Dr M. Solheim")

    said = reading.text(certificate_pdf(make_content(opinions=(opinion,))))

    assert "Opinions and interpretations These are not results of the test." in said
    assert "It may suit a capping layer. (Dr M. Solheim)" in said


def test_an_unknown_sampling_date_says_so():
    sample = dataclasses.replace(SAMPLE, sampled_on="not known", supplied_by_customer=())

    assert "Sampled not known" in reading.text(certificate_pdf(make_content(sample=sample)))


def test_two_places_of_work_are_both_printed():
    first = make_content().results[0]
    field = dataclasses.replace(CONDITIONS, place="Tarnholt quarry, site laboratory")
    second = dataclasses.replace(first, label="Determination 2", conditions=(field,))

    said = reading.text(certificate_pdf(make_content(results=(first, second))))

    assert "Norrhaven, wet room" in said
    assert "Tarnholt quarry, site laboratory" in said


def test_without_limits_there_is_neither_verdict_column_nor_band():
    rows = tuple(
        dataclasses.replace(
            it, lower_pct="", upper_pct="", uncertainty_pct="", verdict=Verdict.NONE
        )
        for it in make_content().results[0].rows
    )
    table = dataclasses.replace(make_content().results[0], rows=rows)
    content = make_content(results=(table,), conformity=())

    said = reading.text(certificate_pdf(content))

    assert "No statement of conformity was asked for." in said
    assert "31.5 mm 31.5 142.6 3.0 3.0 97 22.4 mm" in said
    assert certificate_figure(content).band is None


def test_the_embedded_data_are_the_content_that_is_printed(pdf):
    data = reading.embedded(pdf, "certificate.json")

    assert CertificateContent.from_json(data) == make_content()


def test_title_author_and_language_are_in_the_file(pdf):
    reader = PdfReader(io.BytesIO(pdf))

    assert reader.metadata.title == "Certificate of analysis NML-2026-00217"
    assert reader.metadata.author == "Norrhaven Materials Laboratory"
    assert reader.trailer["/Root"]["/Lang"] == "en"


def test_only_bundled_fonts_are_used_and_all_are_embedded(pdf):
    fonts = reading.fonts(pdf)

    assert {name.partition(",")[0] for name in fonts} <= {
        "Source-Sans-3",
        "Source-Sans-3-Semi-Bold",
        "Source-Sans-3-Ext",
        "Source-Sans-3-Greek",
        "Source-Code-Pro",
    }
    assert all(fonts.values())


def test_the_same_content_gives_the_same_bytes(pdf):
    between = certificate_pdf(make_content(draft=True, title="Another"))

    assert certificate_pdf(make_content()) == pdf
    assert between != pdf


def test_another_process_gives_the_same_bytes(pdf):
    program = (
        "import django, hashlib; django.setup();"
        "from gradation.documents.certificate import certificate_pdf;"
        "from tests.documents.example_certificate import make_content;"
        "print(hashlib.sha256(certificate_pdf(make_content())).hexdigest())"
    )
    environment = {**os.environ, "DJANGO_SETTINGS_MODULE": "labsite.settings.test"}

    printed = subprocess.run(
        [sys.executable, "-c", program], cwd=_ROOT, env=environment, capture_output=True, check=True
    )

    assert printed.stdout.decode().strip() == hashlib.sha256(pdf).hexdigest()
    assert b"Exception" not in printed.stderr


def test_threads_printing_at_once_give_the_same_bytes(pdf):
    with ThreadPoolExecutor(3) as pool:
        printed = list(pool.map(lambda _: certificate_pdf(make_content()), range(3)))

    assert set(printed) == {pdf}


def test_decimal_points_line_up_in_every_column(pdf):
    """The place of the point is the start of the figure plus its leading digits, each one wide."""
    font = TTFont(_ROOT / "static/fonts/source-sans-3-latin-400-normal.woff")
    glyphs = font.getBestCmap()
    advances = {font["hmtx"][glyphs[ord(digit)]][0] for digit in "0123456789"}
    (advance,) = advances
    digit_px = advance / font["head"].unitsPerEm * 8.5 * 96 / 72
    by_line = defaultdict(list)
    for run, x, y in reading.placed(pdf, 0):
        by_line[round(y)].append((run, x))

    points = defaultdict(set)
    for row in make_content().results[0].rows:
        line = next(it for it in by_line.values() if it[0][0] == row.designation)
        for column, figure in (("aperture", row.aperture_mm), ("mass", row.retained_g)):
            x = next(x for run, x in line[1:] if run == figure)
            points[column].add(round(x + len(figure.partition(".")[0]) * digit_px, 1))

    assert all(max(places) - min(places) <= 0.2 for places in points.values())
    assert set(points) == {"aperture", "mass"}


def test_every_numeric_column_has_its_unit_in_the_heading():
    heads = re.findall(
        r'<th scope="col" class="figure">(.*?)</th>', certificate_html(make_content())
    )
    results = [re.sub("<br>", " ", it) for it in heads[:8]]

    assert results == [
        "Aperture mm",
        "Retained g",
        "Retained %",
        "Cumulative retained, %",
        "Passing %",
        "± U %",
        "Lower %",
        "Upper %",
    ]


class _Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.found = Counter()

    def handle_starttag(self, tag, attrs):
        self.found[(tag, *sorted(name for name, _ in attrs))] += 1

    def handle_comment(self, data):
        self.found["comment"] += 1


def tags(html):
    parser = _Tags()
    parser.feed(html)
    return parser.found


_NOT_FREE = {"aperture_mm", "scale", "direction", "form", "language", "supplied_by_customer"}
_FIGURES = re.compile(
    r"_pct$|_g$|^(value|uncertainty|lower|upper|.*_(on|at|day|check|first|last))$"
)


def spoken_by(kind, value):
    """Return `value` with every free text in it replaced by `kind`."""
    if isinstance(value, tuple):
        return tuple(spoken_by(kind, it) for it in value)
    if not dataclasses.is_dataclass(value):
        return kind if type(value) is str else value
    changes = {
        field.name: spoken_by(kind, getattr(value, field.name))
        for field in dataclasses.fields(value)
        if field.name not in _NOT_FREE and not _FIGURES.search(field.name)
    }
    return dataclasses.replace(value, **changes)


_FULL = make_content(
    opinions=(Opinion("a", "b"),),
    deviations=("a",),
    amendment=Amendment("N-1", "2026-11-20", "a", (Change("a", "b", "c"),)),
)


@pytest.mark.parametrize("hostile", HOSTILE_TEXTS)
def test_no_text_becomes_markup(hostile):
    plain = tags(certificate_html(spoken_by("p" * len(hostile), _FULL)))

    assert tags(certificate_html(spoken_by(hostile, _FULL))) == plain


@pytest.mark.parametrize("hostile", [HOSTILE_TEXTS[17], "漢字 \u202e \U0001f600"])
def test_hostile_content_is_printed_and_nothing_is_fetched(hostile):
    pdf = certificate_pdf(spoken_by(hostile, _FULL))

    assert sorted(PdfReader(io.BytesIO(pdf)).attachments) == ["certificate.csv", "certificate.json"]


def test_hebrew_arabic_greek_and_emoji_stay_readable():
    sample = dataclasses.replace(
        SAMPLE, description="גרניט 0/32", material="رمل", source="Ωφμ 😀 Łódź"
    )

    said = reading.text(certificate_pdf(make_content(sample=sample)))

    assert "גרניט" in said or "טינרג" in said  # the reader may give letters in the order drawn
    assert "رمل" in said or "لمر" in said
    assert "Ωφμ" in said
    assert "😀" in said
    assert "Łódź" in said


def test_long_names_break_instead_of_running_off_the_page():
    sample = dataclasses.replace(SAMPLE, material="W" * 300, lot="x" * 300)

    runs = reading.placed(certificate_pdf(make_content(sample=sample)), 0)

    assert "".join(run for run, *_ in runs).count("W") >= 300
    assert max(len(run) for run, *_ in runs if set(run) == {"W"}) < 60


def test_the_curve_agrees_with_the_table():
    figure = certificate_figure(make_content())

    assert [it.passing_pct for it in figure.curves[0].points] == [
        float(row.passing_pct) for row in make_content().results[0].rows
    ]
    assert [it.text for it in figure.failing] == ["63 µm: 4.8 above 4.0"]


def test_a_row_not_determined_is_printed_and_left_out_of_the_curve():
    content = make_content()
    table = content.results[0]
    rows = (dataclasses.replace(table.rows[0], passing_pct="n.d."), *table.rows[1:])
    content = make_content(results=(dataclasses.replace(table, rows=rows, balance=BALANCE),))

    assert "n.d." in certificate_html(content)
    assert len(certificate_figure(content).curves[0].points) == 13
