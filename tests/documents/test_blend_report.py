"""A blend on paper: every share, every margin, the curves, and nothing that a text smuggles in."""

import csv
import dataclasses
import io

import pytest

from gradation.documents.blend_report import (
    BlendContent,
    BlendPile,
    BlendSieve,
    blend_csv,
    blend_figure,
    blend_html,
    blend_pdf,
)
from tests.charts.hostile_texts import HOSTILE_TEXTS
from tests.documents import reading


def make_pile(name, share, passing, **changes):
    pile = BlendPile(
        name=name,
        detail="accepted runs, the newest first",
        runs="26-0148-1/1",
        share_pct=share,
        share_min_pct="0",
        share_max_pct="100",
        smallest_pct="35.7",
        largest_pct="64.3",
        ended_by="below: at most 75 % passing 4.75 mm",
        apertures_um=(4750.0, 75.0),
        passing_pct=passing,
    )
    return dataclasses.replace(pile, **changes)


def make_sieve(um, name, **changes):
    sieve = BlendSieve(um, name, ("30.0", "100.0"), "65.0", "55", "75", "", "10.0", "lower", True)
    return dataclasses.replace(sieve, **changes)


def make_content(**changes):
    content = BlendContent(
        laboratory="Norrhaven Materials Laboratory",
        number="B26-0001",
        title="Concrete sand",
        note="Using up stockpile 31.",
        specification="GS-01 Fine aggregate, version 1",
        goal="the largest smallest margin to the limits",
        exists=True,
        sentence="The blend meets the envelope with at least 3.0 points to every limit.",
        held_by=("at least 2 % passing 75 µm", "at most 8 % passing 75 µm"),
        piles=(
            make_pile("Coarse", "50.0", (30.0, 0.0)),
            make_pile("Fine", "50.0", (100.0, 10.0)),
        ),
        sieves=(
            make_sieve(4750.0, "4.75 mm"),
            make_sieve(
                75.0,
                "75 µm",
                piles_pct=("0.0", "10.0"),
                blend_pct="5.0",
                lower_pct="2",
                upper_pct="8",
                margin_pct="3.0",
            ),
        ),
        apertures_um=(4750.0, 75.0),
        passing_pct=(65.0, 5.0),
        left_out=("d50: a characteristic value does not blend in proportion",),
        notes=(),
        science_version="1.0",
        inputs_digest="ab" * 32,
        computed_at="2026-03-02T10:00+01:00",
        computed_by="Renna Hollis",
        printed_at="2026-03-03T09:00+01:00",
        printed_by="Ilka Brandvold",
        time_zone="Europe/Oslo",
    )
    return dataclasses.replace(content, **changes)


def test_the_page_names_shares_limits_margins_and_what_was_not_searched():
    html = blend_html(make_content())

    for words in (
        "B26-0001", "Concrete sand", "Coarse", "50.0", "35.7 to 64.3", "4.75 mm", "65.0", "10.0",
        "at least 3.0 points", "a characteristic value does not blend", "ab" * 32,
        "The gradation of each stockpile is taken as exact",
    ):  # fmt: skip
        assert words in html, words


def test_the_page_says_plainly_when_no_blend_exists():
    none = make_content(
        exists=False,
        sentence="No blend of these stockpiles meets the envelope.",
        piles=(make_pile("Coarse", "", (30.0, 0.0)), make_pile("Fine", "", (100.0, 10.0))),
        sieves=(make_sieve(4750.0, "4.75 mm", blend_pct="", margin_pct=""),),
        apertures_um=(),
        passing_pct=(),
    )

    html = blend_html(none)

    assert "No blend exists" in html
    assert "No blend of these stockpiles meets the envelope." in html
    assert [curve.label for curve in blend_figure(none).curves] == ["Coarse", "Fine"]


def test_the_blend_is_drawn_first_then_its_stockpiles_with_their_shares():
    labels = [curve.label for curve in blend_figure(make_content()).curves]

    assert labels == ["Blend", "Coarse, 50.0 %", "Fine, 50.0 %"]


def test_a_missed_line_is_marked_on_the_chart_and_in_the_table():
    missed = make_sieve(
        4750.0, "4.75 mm", blend_pct="80.0", margin_pct="-5.0", nearer="upper", is_inside=False
    )
    content = make_content(sieves=(missed,))

    (point,) = blend_figure(content).failing
    assert (point.side, point.text) == ("above", "4.75 mm: 80.0 %")
    assert 'class="outside"' in blend_html(content)
    assert "−5.0" in blend_html(content)


def test_content_comes_back_as_it_was_written():
    content = make_content()

    assert BlendContent.from_json(content.to_json()) == content


def test_the_pdf_carries_its_figures_and_repeats_byte_for_byte():
    content = make_content()

    printed = blend_pdf(content)

    assert printed == blend_pdf(content)
    assert "End of blend B26-0001" in reading.text(printed)
    assert BlendContent.from_json(reading.embedded(printed, "blend.json")) == content


def test_the_csv_has_a_column_for_every_stockpile():
    rows = list(csv.DictReader(io.StringIO(blend_csv(make_content()))))

    assert rows[1] == {
        "aperture [mm]": "0.075",
        "Coarse [%]": "0.0",
        "Fine [%]": "10.0",
        "blend [%]": "5.0",
        "at least [%]": "2",
        "at most [%]": "8",
        "target [%]": "",
        "margin [points]": "3.0",
    }


@pytest.mark.parametrize("text", HOSTILE_TEXTS)
def test_no_text_becomes_markup(text):
    hostile = make_content(title=text, note=text, piles=(make_pile(text, "100.0", (30.0, 0.0)),))

    assert "<script>alert" not in blend_html(hostile)
    assert blend_html(hostile).count("<script") == 0
