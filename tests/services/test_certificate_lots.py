"""A certificate where the specification judges several results of a lot together."""

from datetime import date
from decimal import Decimal

import pytest

from gradation.documents.certificate import certificate_html, certificate_pdf
from gradation.documents.certificate_content import CertificateContent, Outcome, Verdict
from gradation.documents.certificate_figures import certificate_csv
from gradation.models import ReportForm, Run, Specification, SpecificationLine, SpecificationVersion
from gradation.services import certify, people, report_forms, specifications
from gradation.services.certificate_drafting import draft_content
from tests import factories
from tests.documents.reading import text

#: On 300 µm of 500 g: passing 16 %, 20 % and 24 %.
COARSE = ("10", "75", "100", "125", "110", "60", "20")
MIDDLE = ("10", "75", "100", "110", "105", "75", "25")
FINE = ("10", "75", "100", "95", "100", "90", "30")


@pytest.fixture
def sand(db):
    factories.make_laboratory()

    def make(maximum="22", **rule):
        version = specifications.draft_specification_version(
            actor=people.system_account(),
            version=SpecificationVersion(
                specification=Specification(code="NS-60", title="Sand"),
                effective_from=date(2020, 1, 1),
                **rule,
            ),
            lines=[SpecificationLine(aperture_um=Decimal(300), maximum=Decimal(maximum))],
        )
        return factories.make_material(specification=factories.release_specification(version))

    return make


def run_of(material, masses, lot="7", *, accepted=True):
    sample = factories.make_sample(material=material, lot=lot)
    make = factories.make_accepted_run if accepted else factories.make_weighed_run
    return Run.objects.get(pk=make(sample=sample, masses_g=masses).pk)


def content_of(run):
    draft = certify.draft_certificate(
        actor=factories.signatory(),
        sample=run.portion.sample,
        drafting=certify.Drafting(runs=[run]),
    )
    return draft_content(draft)


def test_certificate_states_the_mean_of_the_lot_not_the_single_result(sand):
    material = sand(lot_rule="mean", lot_size=2)
    first = run_of(material, COARSE)
    last = run_of(material, FINE)

    (said,) = content_of(last).conformity

    # By hand: (16 + 24) / 2 = 20 %, at most 22, margin 2; the last alone, 24 %, would be outside.
    # s = sqrt((16 - 20)^2 + (24 - 20)^2) = sqrt(32) = 5.66, two digits 5.7.
    assert said.outcome is Outcome.CONFORMS
    assert said.lot == "7"
    assert said.sentence == (
        "Within NS-60 Sand; nearest limit 300 µm (20 %, limit 22 %), margin 2 %."
    )
    (line,) = said.lines
    assert (line.results, line.value, line.deviation, line.upper) == ("2", "20", "5.7", "22")
    assert line.verdict is Verdict.WITHIN
    for run in (first, last):
        assert run.portion.sample.number in said.results_covered


def test_share_within_limits_stands_on_the_certificate(sand):
    material = sand(lot_rule="percent_within_limits", lot_size=3, lot_share_pct=Decimal(90))
    runs = [run_of(material, masses) for masses in (COARSE, MIDDLE, FINE)]

    (said,) = content_of(runs[-1]).conformity

    # By hand: mean 20, s = 4, quality index Q = (22 - 20) / 4 = 0.5. For n = 3 the beta
    # distribution is the arc sine, share = 1/2 + arcsin(Q · sqrt(3) / 2) / pi
    # = 0.5 + arcsin(0.4330) / pi = 0.5 + 0.4478 / 3.1416 = 0.6425.
    assert said.outcome is Outcome.DOES_NOT_CONFORM
    (line,) = said.lines
    assert (line.results, line.value, line.deviation, line.share_pct) == ("3", "20", "4.0", "64.3")
    assert "(64.3 %, 90 %)" in said.sentence


def test_lot_that_is_not_complete_is_not_decided(sand):
    said = content_of(run_of(sand(lot_rule="mean", lot_size=2), COARSE)).conformity[0]

    assert said.outcome is Outcome.NOT_DECIDABLE
    assert said.sentence == "Not decided yet against NS-60 Sand: 1 of 2 results so far."


def test_result_that_nobody_reviewed_does_not_enter_a_certificate(sand):
    material = sand(lot_rule="mean", lot_size=2)
    run_of(material, FINE, accepted=False)

    (said,) = content_of(run_of(material, COARSE)).conformity

    assert "1 of 2 results so far" in said.sentence


def test_lot_stands_in_page_file_data_and_table(sand, pdf_libraries):
    material = sand(lot_rule="mean", lot_size=2)
    run_of(material, COARSE)
    content = content_of(run_of(material, FINE))

    assert CertificateContent.from_json(content.to_json()) == content
    html = certificate_html(content)
    assert "the mean of 2 results of a lot: lot 7" in html
    assert "Std deviation" in html
    printed = text(certificate_pdf(content))
    assert "the mean of 2 results of a lot" in printed
    assert "lot 7,300 µm,mean of 2 results,20,%,,22,within" in certificate_csv(content)


def test_lot_is_told_in_the_language_of_the_report_form(sand):
    run = run_of(sand(lot_rule="mean", lot_size=2), COARSE)
    form = report_forms.draw_up_form(
        actor=factories.quality_manager(), form=ReportForm(name="Deutsch", language="de")
    )
    draft = certify.draft_certificate(
        actor=factories.signatory(),
        sample=run.portion.sample,
        drafting=certify.Drafting(runs=[run]),
    )

    (said,) = draft_content(draft, form).conformity

    assert said.sentence.endswith("noch nicht entschieden: bisher 1 von 2 Ergebnissen.")
    assert said.results_covered.startswith("Mittelwert von 2 Ergebnissen eines Loses: Los 7")
