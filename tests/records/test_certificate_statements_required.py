"""What ISO/IEC 17025:2017, 7.8 asks of a report, R15 to R28: printed, in the data, or refused."""

import hashlib
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from gradation.documents.certificate import certificate_html, certificate_pdf
from gradation.documents.certificate_content import CertificateContent, ReportForm
from gradation.errors import Invalid, NotAllowed
from gradation.models import (
    Certificate,
    ExternalResult,
    Laboratory,
    LedgerEntry,
    ProcedureVersion,
    Sample,
    SamplingRecord,
)
from gradation.models import ReportForm as ReportFormRow
from gradation.science.decisions import DecisionRule, Limits, Rule, decide
from gradation.services import (
    bench,
    certificate_additions,
    report_forms,
)
from gradation.services.certificate_drafting import draft_content
from gradation.services.certificate_gates import open_gaps
from tests import factories
from tests.bench_steps import hand_over
from tests.documents.example_certificate import SAMPLE, make_content
from tests.documents.reading import embedded, text
from tests.records.certificates import accepted, draft, issue, read

pytestmark = pytest.mark.django_db


def test_r15_name_of_who_authorised_comes_from_the_signature(db):
    signatory = factories.signatory()
    issued = issue(draft(factories.make_accepted_run()), signatory)

    said, data = read(issued)

    assert data["signatures"][0]["name"] == signatory.full_name
    assert f"{signatory.full_name}, authorised signatory" in said


def test_r16_result_of_an_external_provider_is_marked_on_its_row(db):
    run = factories.make_accepted_run()
    certificate_additions.enter_external_result(
        actor=factories.technician(),
        sample=run.portion.sample,
        result=ExternalResult(
            name="Loss on ignition",
            value="1.4",
            unit="%",
            method="EN 1744-1",
            provider="Tarn Chemistry",
            report="TC-77",
        ),
    )

    said, data = read(issue(draft(run)))

    assert "Loss on ignition 1.4‡" in said
    assert "Tarn Chemistry, report TC-77" in said
    assert "Results marked ‡ come from an external provider." in said
    (row,) = [it for it in data["characteristics"] if it["external"]]
    assert row["provider"] == "Tarn Chemistry"


@pytest.mark.parametrize("fixture", ["all supplied", "lot only", "sampled by the laboratory"])
def test_r17_data_of_the_customer_are_marked_with_their_disclaimer(fixture):
    by_us = fixture.startswith("sampled")
    supplied = {"all supplied": SAMPLE.supplied_by_customer, "lot only": ("lot",)}
    sample = replace(
        SAMPLE, supplied_by_customer=supplied.get(fixture, ()), sampled_by_laboratory=by_us
    )

    said = text(certificate_pdf(make_content(sample=sample)))

    assert ("2026-W47-3†" in said) == (not by_us)
    assert ("line 2†" in said) == (fixture == "all supplied")
    assert ("Data marked † were supplied by the customer" in said) == (not by_us)
    assert ("apply to the sample as received" in said) == (not by_us)


def test_r18_missing_items_are_refused_with_the_whole_list(db):
    customer = factories.make_customer(contact_name="")
    sample = factories.make_sample(customer=customer)
    certificate = draft(factories.make_accepted_run(sample=sample))
    Laboratory.objects.update(certificate_title="", address="")

    with pytest.raises(Invalid) as refusal:
        issue(certificate)

    said = [fault.message for fault in refusal.value.faults]
    assert said == [
        "Missing: title.", "Missing: laboratory address.", "Missing: customer contact.",
    ]  # fmt: skip


def test_r18_leaving_out_needs_a_signatorys_reason_that_is_kept_and_printed(db):
    customer = factories.make_customer(contact_name="")
    sample = factories.make_sample(customer=customer)
    certificate = draft(factories.make_accepted_run(sample=sample))
    left_out = {"certificate": certificate, "item": "customer contact"}
    with pytest.raises(NotAllowed):
        certificate_additions.leave_out_item(
            actor=factories.reviewer(), reason="none named", **left_out
        )
    with pytest.raises(Invalid, match="Say why"):
        certificate_additions.leave_out_item(actor=factories.signatory(), reason=" ", **left_out)
    assert open_gaps(certificate) == ["customer contact"]

    signatory = factories.signatory()
    certificate_additions.leave_out_item(
        actor=signatory, reason="the customer names nobody", **left_out
    )
    said, data = read(issue(certificate, signatory))

    assert "Customer contact: the customer names nobody" in said
    assert f"authorised by {signatory.full_name}" in said
    assert data["omissions"][0]["reason"] == "the customer names nobody"
    entry = LedgerEntry.objects.get(action="item left out")
    assert (entry.actor, entry.reason) == (signatory, "the customer names nobody")


def test_r18_what_is_not_missing_is_not_left_out(db):
    certificate = draft(factories.make_accepted_run())

    with pytest.raises(Invalid, match="is not missing"):
        certificate_additions.leave_out_item(
            actor=factories.signatory(), certificate=certificate, item="results", reason="why not"
        )


def test_r19_simplified_report_leaves_everything_in_the_full_record():
    form = ReportForm(name="short", is_simplified=True, agreement="frame contract 4")
    content = make_content(report_form=form)

    printed = text(certificate_pdf(content))
    record = certificate_html(content, full_record=True)

    for words in ("vertical throw with turn", "S-0140", "Wash loss"):
        assert words not in printed
        assert words in record
    assert "simplified report by agreement" in printed
    kept = CertificateContent.from_json(embedded(certificate_pdf(content), "certificate.json"))
    assert kept.results[0].conditions == content.results[0].conditions


def test_r21_conditions_are_those_of_each_run(technician):
    run = factories.make_run(technician)
    factories.weigh(run)
    said_so = bench.HandOver(shaking_minutes=Decimal(12), climate="21 °C, 44 % rh")
    run = factories.accept(hand_over(run, hand_over=said_so), factories.reviewer(), reason="ok")
    balance = factories.make_instrument("balance", serial="B-77")
    run.instruments.create(instrument=balance, next_check_on=date(2027, 1, 15))

    said, data = read(issue(draft(run)))

    serials = [row.sieve.serial for row in run.places.select_related("sieve")]
    assert all(serial in said for serial in serials)
    assert "12 min" in said
    assert "21 °C, 44 % rh" in said
    assert "dry, not washed" in said
    assert "balance B-77 (check due 15 Jan 2027)" in said
    conditions = data["results"][0]["conditions"][0]
    assert [it["serial"] for it in conditions["sieves"]] == serials
    assert conditions["climate"] == "21 °C, 44 % rh"


NEAR_G = ("25.0", "75.0", "100.0", "125.0", "110.0", "45.0", "20.0")
#: 25 of 500 g stay on 4.75 mm: 95.0 % pass, exactly the lower limit of make_specification.


def with_limits(technician, rule="plain_acceptance", masses_g=factories.MASSES_G):
    version = factories.make_specification(decision_rule=rule)
    material = factories.make_material(specification=version)
    sample = factories.make_sample(technician, material)
    return accepted(factories.make_run(technician, sample), masses_g=masses_g)


def uncertainties(content):
    return {row.uncertainty_pct for row in content.results[0].rows}


def test_r22_uncertainty_is_not_stated_where_nothing_calls_for_it(technician):
    content = draft_content(draft(with_limits(technician)))

    assert uncertainties(content) == {""}
    assert content.uncertainty_statement == ""


@pytest.mark.parametrize(
    ("trigger", "reason"),
    [
        ("asked for", "the customer asked for it"),
        ("relevant", "it is relevant to the use of the results"),
        ("in the rule", "the decision rule uses it"),
        ("near a limit", "a result lies near a limit"),
    ],
)
def test_r22_each_reason_alone_makes_the_uncertainty_appear(technician, trigger, reason):
    if trigger == "relevant":
        report_forms.draw_up_form(
            actor=factories.quality_manager(),
            form=ReportFormRow(name="Usual", states_uncertainty=True),
        )
    rule = "guard_band" if trigger == "in the rule" else "plain_acceptance"
    masses = NEAR_G if trigger == "near a limit" else factories.MASSES_G
    run = with_limits(technician, rule, masses)

    content = draft_content(draft(run, uncertainty_asked=trigger == "asked for"))

    assert f"Stated because {reason}." in content.uncertainty_statement
    assert uncertainties(content) != {""}
    assert "± U" in text(certificate_pdf(content))


@pytest.mark.parametrize("decimals", [0, 1])
def test_r22_uncertainty_is_printed_one_place_beyond_its_passing_and_is_never_nothing(
    technician, decimals
):
    """JCGM 100:2008, 7.2.6: no excessive digits; those of a passing are its procedure's."""
    report_forms.draw_up_form(
        actor=factories.quality_manager(),
        form=ReportFormRow(name="Usual", passing_decimals=decimals, rounding_mode="half_even"),
    )

    content = draft_content(draft(with_limits(technician), uncertainty_asked=True))

    stated = [row for row in content.results[0].rows if row.uncertainty_pct]
    assert len(stated) == len(factories.APERTURES_UM)
    assert {places(row.passing_pct) for row in stated} == {decimals}
    assert {places(row.uncertainty_pct) for row in stated} <= set(range(decimals + 2))
    assert all(Decimal(row.uncertainty_pct) > 0 for row in stated)


def places(written):
    return -Decimal(written).as_tuple().exponent


@pytest.mark.parametrize("demanded_by", ["method", "report form"])
def test_r23_extras_demanded_are_refused_while_one_is_empty(technician, demanded_by):
    run = factories.make_accepted_run(technician)
    if demanded_by == "method":
        ProcedureVersion.objects.update(report_items=["climate"])
    else:
        report_forms.draw_up_form(
            actor=factories.quality_manager(),
            form=ReportFormRow(name="Usual", required_items=["climate"]),
        )
    certificate = draft(run)

    with pytest.raises(Invalid, match="climate during the test"):
        issue(certificate)

    type(run).objects.update(climate="21 °C")
    assert issue(certificate).state == "issued"


SIX = {
    "sampled_on": date(2026, 2, 27),
    "item": "Stockpile 4, 0/4 sand",
    "place": "Tarnholt quarry",
    "plan": "EN 932-1:1996, clause 8.7",
    "conditions": "light rain, heap surface removed",
    "uncertainty": "two increments compared, see record SR-12",
}


def test_r24_own_sampling_states_its_six_fields(db):
    with factories.at():
        sample = factories.make_sample(sampled_by=Sample.SampledBy.LABORATORY)
        certificate = draft(factories.make_accepted_run(sample=sample))
        with pytest.raises(Invalid) as refusal:
            issue(certificate)
        missing = [fault.message for fault in refusal.value.faults]
        certificate_additions.record_sampling(
            actor=factories.technician(), sample=sample, record=SamplingRecord(**SIX)
        )
        said, data = read(issue(certificate))

    assert missing == [
        "Missing: item sampled.",
        "Missing: place of sampling.",
        "Missing: conditions during sampling.",
        "Missing: what is needed to judge the uncertainty of the sampling.",
        "Missing: day of sampling.",
    ]
    for words in ("27 Feb 2026", *[value for name, value in SIX.items() if name != "sampled_on"]):
        assert words in said
    assert data["sample"]["sampled_item"] == "Stockpile 4, 0/4 sand"


def test_r24_a_record_of_sampling_without_one_of_its_fields_is_refused(db):
    sample = factories.make_sample(sampled_by=Sample.SampledBy.LABORATORY)

    with pytest.raises(Invalid) as refusal:
        certificate_additions.record_sampling(
            actor=factories.technician(),
            sample=sample,
            record=SamplingRecord(**{**SIX, "conditions": "", "sampled_on": date(2020, 1, 1)}),
        )

    assert [fault.field for fault in refusal.value.faults] == ["conditions"]


@pytest.mark.parametrize(
    ("rule", "below", "at", "above"),
    [
        # Upper limit 40, standard uncertainty 1, so U = 2 (k = 2). By hand: a guard band of 95 %
        # is 1.96 wide, so 38 is inside 38.04 and 42 outside 41.96; Phi(2) = 0.977 >= 0.95.
        (Rule.PLAIN, "conforms", "conforms", "does not conform"),
        (Rule.GUARD_BAND, "conforms", "not decidable at this confidence", "does not conform"),
        (Rule.PROBABILITY, "conforms", "not decidable at this confidence", "does not conform"),
    ],
)
def test_r25_each_rule_gives_its_verdict_at_the_limit_and_u_beside_it(rule, below, at, above):
    limits = Limits(upper=40.0)

    found = decide([38.0, 40.0, 42.0], 1.0, limits, DecisionRule(rule, 0.95))

    assert [str(each) for each in found.outcomes] == [below, at, above]


@pytest.mark.parametrize(
    ("rule", "words", "risk"),
    [
        ("plain_acceptance", "plain acceptance", "up to 50 % of being wrong"),
        ("guard_band", "guard band of the expanded uncertainty", "of being wrong"),
        ("probability", "conformance probability of at least 95 %", "at most 5 % of being wrong"),
    ],
)
def test_r25_rule_is_printed_with_its_risk(technician, rule, words, risk):
    content = draft_content(draft(with_limits(technician, rule)))

    said = text(certificate_pdf(content))

    assert words in said
    assert risk in said


def test_r26_statement_says_which_results_which_clause_and_which_rule(technician):
    inside = with_limits(technician)
    content = draft_content(draft(inside))

    (statement,) = content.conformity
    said = text(certificate_pdf(content))

    assert statement.results_covered == f"percentages passing of run {inside}"
    assert statement.clause
    assert "plain acceptance" in statement.decision_rule
    for words in (statement.results_covered, statement.decision_rule, statement.risk, "conforms"):
        assert words in said


def test_r26_a_result_outside_and_a_further_specification_each_have_their_statement(technician):
    coarse = ("50.0", "75.0", "100.0", "125.0", "110.0", "20.0", "20.0")
    #: 50 of 500 g stay on 4.75 mm: 90 % pass, 5 below the lower limit of 95.
    run = with_limits(technician, masses_g=coarse)
    other = factories.make_specification(limits=((4750, "85", "100"),))

    content = draft_content(draft(run, further_specifications=[other]))

    assert [it.outcome.value for it in content.conformity] == ["does not conform", "conforms"]
    first, second = content.conformity
    assert "4.75 mm 90 %, below the limit 95 %" in first.sentence
    assert [(it.what, it.value, it.lower) for it in second.lines] == [("4.75 mm", "90", "85")]
    assert str(other.specification) in text(certificate_pdf(content))


def test_r27_editing_rule_and_limits_leaves_verdict_and_file(technician):
    run = with_limits(technician)
    issued = issue(draft(run))
    before = issued.pdf_sha256
    version = run.portion.sample.specification_version

    version.lines.filter(aperture_um=4750).update(minimum=Decimal(99))
    type(version).objects.update(decision_rule="guard_band", clause="changed")
    ProcedureVersion.objects.update(passing_decimals=2)

    kept = Certificate.objects.get(pk=issued.pk)
    assert hashlib.sha256(bytes(kept.pdf)).hexdigest() == before
    assert kept.content["conformity"][0]["outcome"] == "conforms"
    assert run.results.get().assessments.get().outcome == "conforms"


def test_r28_opinions_are_a_signatorys_and_stand_apart(db):
    certificate = draft(factories.make_accepted_run())
    given = {"certificate": certificate, "text": "It suits the upper course.", "basis": "EN 13043"}
    for other in (factories.reviewer(), factories.technician(), factories.quality_manager()):
        with pytest.raises(NotAllowed):
            certificate_additions.give_opinion(actor=other, **given)

    signatory = factories.signatory()
    certificate_additions.give_opinion(actor=signatory, **given)
    said, data = read(issue(certificate, signatory))

    after = said.partition("Opinions and interpretations")[2]
    assert "These are not results of the test." in after
    assert f"It suits the upper course. ({signatory.full_name})" in after
    assert data["opinions"] == [
        {"text": given["text"], "basis": "EN 13043", "given_by": signatory.full_name}
    ]
