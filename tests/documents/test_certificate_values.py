"""The certificate's characteristic values and remarks: columns by need, a table for each run."""

import dataclasses
import re

from gradation.documents.certificate import certificate_html
from gradation.documents.certificate_content import Amendment, CertificateContent, Verdict
from gradation.documents.content_changes import changes_between
from tests.documents.example_certificate import make_content

HEADINGS = {"± U", "Limits", "Verdict"}


def values_tables(content):
    """Return the HTML of each table of characteristic values."""
    html = certificate_html(content)
    return re.findall(r'<table class="figures characteristics">.*?</table>', html, re.DOTALL)


def headings(table):
    return set(re.findall(r'<th scope="col"[^>]*>([^<]+)</th>', table))


def bare(item, **changes):
    """Return a characteristic value without uncertainty, limits and verdict."""
    none = {"uncertainty": "", "lower": "", "upper": "", "verdict": Verdict.NONE}
    return dataclasses.replace(item, **none | changes)


def test_columns_that_no_value_needs_are_left_out():
    full = make_content()
    plain = make_content(characteristics=tuple(bare(it) for it in full.characteristics))

    assert headings(values_tables(full)[0]) >= HEADINGS
    assert not headings(values_tables(plain)[0]) & HEADINGS


def test_every_row_has_as_many_cells_as_the_head():
    limited = make_content(
        characteristics=(
            bare(make_content().characteristics[0], lower="0.2", verdict=Verdict.WITHIN),
            bare(make_content().characteristics[1]),
        )
    )

    for content in (make_content(), limited):
        (table,) = values_tables(content)
        rows = re.findall(r"<tr[ >].*?</tr>", table, re.DOTALL)
        counts = {len(re.findall(r"<t[hd][ >]", row)) for row in rows}
        assert len(counts) == 1
        assert len(re.findall(r"<col[ >]", table)) == counts.pop()


def test_each_run_has_a_table_of_its_own_values():
    first, second = (
        bare(make_content().characteristics[0], run=run, value=value)
        for run, value in (("26-0148-A/1", "0.31"), ("26-0148-B/1", "0.28"))
    )

    tables = values_tables(make_content(characteristics=(first, second)))

    assert len(tables) == 2
    for table, item in zip(tables, (first, second), strict=True):
        assert f"<caption>Run {item.run}</caption>" in table
        assert item.value in table


def test_two_verdicts_say_which_run_each_is_about():
    (one,) = make_content().conformity[:1]
    both = tuple(
        dataclasses.replace(one, results_covered=f"percentages passing of run {run}")
        for run in ("26-0148-A/1", "26-0148-B/1")
    )

    html = certificate_html(make_content(conformity=both))

    for statement in both:
        assert (
            f'<span>{one.sentence}</span> <span class="small">({statement.results_covered})' in html
        )
    assert f"({one.results_covered})" not in certificate_html(make_content())


def test_remarks_stand_under_their_heading_and_without_any_there_is_none():
    html = certificate_html(make_content(remarks=("The bag was wet on one side.",)))

    assert "<h2>Remarks</h2>\n<p>The bag was wet on one side.</p>" in html
    assert "<h2>Remarks</h2>" not in certificate_html(make_content())


def test_a_reason_that_ends_in_a_full_stop_gets_no_second_one():
    for reason in ("Lot number corrected.", "Lot number corrected"):
        amendment = Amendment("C26-0001", "2026-03-02", reason, ())

        html = certificate_html(make_content(amendment=amendment))

        assert "Reason: Lot number corrected. The changes are listed below." in html


def test_a_changed_value_is_named_with_its_run():
    one = dataclasses.replace(make_content().characteristics[0], run="26-0148-B/1")
    old = make_content(characteristics=(one,))
    new = make_content(characteristics=(dataclasses.replace(one, value="0.33"),))

    (change,) = changes_between(old, new)

    assert change.where == "characteristics · D10, 26-0148-B/1 · value"


def test_content_kept_before_a_field_was_added_is_still_read():
    text = make_content().to_json()
    older = text.replace('"remarks": [], ', "").replace(', "run": ""', "")
    assert older != text

    assert CertificateContent.from_json(older) == make_content()
