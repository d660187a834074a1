"""The impact report names every run and certificate, worst first, and says what was decided."""

import csv
import dataclasses
import io

import pytest

from gradation.documents.content_json import ContentFault
from gradation.documents.impact_report import (
    MOST_ROWS,
    ImpactCertificate,
    ImpactContent,
    ImpactRun,
    certificates_csv,
    impact_html,
    impact_pdf,
    runs_csv,
)
from tests.charts.hostile_texts import HOSTILE_TEXTS
from tests.documents import reading


def make_run(n=1, **changes):
    run = ImpactRun(
        run=f"26-0148-{n}/1",
        state="accepted",
        opened_on="2026-02-11",
        sample=f"26-{n:04d}",
        customer="Fjellgrus AS",
        material="Crushed granite 0/4",
        certificates=(f"C26-{n:04d}",),
        specification="GS-01 v1",
        point="400 µm",
        passing_pct=40.0,
        corrected_pct=33.333333,
        margin_before=4.0,
        margin_after=-2.666667,
        nearest="400 µm",
        outcome_before="conforms",
        outcome_after="does_not_conform",
        would_flip=True,
    )
    return dataclasses.replace(run, **changes)


def make_certificate(n=1, **changes):
    certificate = ImpactCertificate(
        number=f"C26-{n:04d}",
        state="issued",
        issued_on="2026-02-12",
        customer="Fjellgrus AS",
        sample=f"26-{n:04d}",
        runs=1,
        needs_decision=True,
        would_flip=True,
        margin_after=-2.666667,
    )
    return dataclasses.replace(certificate, **changes)


def make_content(**changes):
    content = ImpactContent(
        laboratory="Norrhaven Materials Laboratory",
        number="7",
        subject="400 µm S-0142",
        reason="Failed its aperture measurement.",
        state="open",
        first_day="2026-01-15",
        last_day="2026-03-02",
        last_good_evidence="aperture measurement of 15 Jan 2026: inside.",
        method="recomputed with the aperture found",
        sentence="Marked 400 µm, found 565.69 µm.",
        opened_at="2026-03-02T10:00+01:00",
        opened_by="K. Lindqvist",
        printed_at="2026-03-03T09:00+01:00",
        printed_by="H. Vestergard",
        time_zone="Europe/Oslo",
        run_count=1,
        flips=1,
        runs=(make_run(),),
        certificates=(make_certificate(),),
        customers=("Fjellgrus AS",),
    )
    return dataclasses.replace(content, **changes)


def test_report_tells_item_period_and_what_would_flip(pdf_libraries):
    said = reading.text(impact_pdf(make_content()))

    assert "400 µm S-0142: Failed its aperture measurement." in said
    assert "15 Jan 2026 to 2 Mar 2026, both days included" in said
    assert "Verdicts that would be another one: 1." in said
    assert "40.00 33.33 4.00 −2.67" in said
    assert "conforms → does not conform" in said
    assert "Certificates without a decision: 1." in said


def test_decision_and_amendment_stand_beside_the_certificate():
    decided = make_certificate(
        decision="amend",
        reason="The fines move.",
        decided_by="Q. Moberg",
        decided_at="2026-03-03T08:00+01:00",
        amended_by="C26-0009",
    )

    html = impact_html(make_content(certificates=(decided,)))

    for words in ("<strong>Amend</strong>: The fines move.", "Q. Moberg", "C26-0009"):
        assert words in html
    assert "Certificates without a decision: 0." in html


def test_long_tables_are_cut_in_print_and_whole_in_the_data(pdf_libraries):
    runs = tuple(make_run(n, certificates=()) for n in range(MOST_ROWS + 40))
    content = make_content(runs=runs)

    pdf = impact_pdf(content)

    assert "40 further runs are in the data file" in reading.text(pdf)
    assert ImpactContent.from_json(reading.embedded(pdf, "impact.json")) == content


def test_every_page_says_which_assessment(pdf_libraries):
    pages = reading.pages(impact_pdf(make_content(runs=tuple(make_run(n) for n in range(90)))))

    assert len(pages) > 1
    assert all("Impact assessment 7" in page for page in pages)
    assert [("End of impact assessment" in page) for page in pages][-1]


def test_nothing_touched_is_said():
    html = impact_html(make_content(runs=(), certificates=(), customers=()))

    assert "No certificate is touched." in html
    assert "No run was made in the period." in html


def test_csv_has_every_run_with_plain_numbers():
    runs = tuple(make_run(n) for n in range(MOST_ROWS + 40))

    rows = list(csv.DictReader(io.StringIO(runs_csv(make_content(runs=runs)), newline="")))

    assert len(rows) == MOST_ROWS + 40
    assert rows[0]["margin corrected [%]"] == "-2.6667"
    assert (rows[0]["would flip"], rows[0]["outcome corrected"]) == ("yes", "does not conform")


def test_csv_runs_nothing_that_a_customer_was_named():
    run = make_run(customer='=HYPERLINK("http://evil.example")', material="@SUM(A1)")
    certificate = make_certificate(reason="-2+3+cmd|' /C calc'!A0", decision="stands")
    content = make_content(runs=(run,), certificates=(certificate,))

    (row,) = csv.DictReader(io.StringIO(runs_csv(content), newline=""))
    (named,) = csv.DictReader(io.StringIO(certificates_csv(content), newline=""))

    assert row["customer"].startswith("'=")
    assert row["material"].startswith("'@")
    assert named["reason"].startswith("'-2")


def test_runs_that_were_not_recomputed_show_no_figure():
    bare = ImpactRun("26-0148-1/1", "accepted", "2026-02-11", "26-0148", "Fjellgrus AS", "sand")

    (row,) = csv.DictReader(io.StringIO(runs_csv(make_content(runs=(bare,))), newline=""))

    assert (row["passing recorded [%]"], row["would flip"]) == ("", "")


def test_spoilt_data_are_refused():
    with pytest.raises(ContentFault, match="ImpactContent"):
        ImpactContent.from_json("{}")


@pytest.mark.parametrize("text", HOSTILE_TEXTS)
def test_no_text_becomes_markup(text):
    def filled(word):
        run = make_run(
            customer=word, material=word, certificates=(word,), point=word, nearest=word, note=word
        )
        certificate = make_certificate(
            number=word, customer=word, decision=word, reason=word, amended_by=word
        )
        return make_content(
            runs=(run,), certificates=(certificate,), customers=(word,), notes=(word,),
            subject=word, reason=word, laboratory=word, sentence=word, conclusion=word,
        )  # fmt: skip

    assert impact_html(filled(text)).count("<") == impact_html(filled("a")).count("<")
