"""What ISO/IEC 17025:2017, 7.8 asks of a report, R1 to R14: printed, in the data, or refused."""

import hashlib
from datetime import UTC, datetime, timedelta

import pytest

from gradation.documents.certificate import certificate_pdf
from gradation.errors import Invalid
from gradation.language import LANGUAGES
from gradation.models import (
    Certificate,
    Laboratory,
    ProcedureVersion,
)
from gradation.services import (
    bench,
    laboratory,
    people,
)
from tests import factories
from tests.bench_steps import hand_over
from tests.documents.example_certificate import make_content
from tests.documents.reading import pages, text
from tests.records.certificates import accepted, draft, issue, read

pytestmark = pytest.mark.django_db


def test_r01_title_is_on_page_1_and_an_empty_one_refuses_the_issue(db):
    run = factories.make_accepted_run()
    certificate = draft(run)
    Laboratory.objects.update(certificate_title="")
    with pytest.raises(Invalid, match="Missing: title"):
        issue(certificate)

    Laboratory.objects.update(certificate_title="Report of a sieving")
    issued = issue(certificate)

    assert "Report of a sieving" in pages(bytes(issued.pdf))[0]
    assert read(issued)[1]["title"] == "Report of a sieving"


def test_r02_name_and_address_of_the_laboratory_are_those_of_the_issue(db):
    issued = factories.make_certificate()
    laboratory.change_laboratory(
        actor=people.system_account(), reason="moved", name="Elsewhere", address="New Road 1"
    )

    said, data = read(issued)

    assert "Norrhaven Materials Laboratory" in said
    assert "Kiln Lane 4" in said
    assert data["laboratory"]["name"] == "Norrhaven Materials Laboratory"


def test_r03_place_of_each_run_is_printed_also_away_from_the_laboratory(technician):
    sample = factories.make_sample(technician)
    at_home = accepted(factories.make_run(technician, sample))
    site = factories.make_bench(place="Tarnholt quarry, site cabin", is_away=True)
    away = accepted(factories.make_run(technician, sample, bench=site))

    said, data = read(issue(draft(at_home, away)))

    assert "Norrhaven, sieve room" in said
    assert "Tarnholt quarry, site cabin" in said
    places = [it["conditions"][0]["place"] for it in data["results"] if it["conditions"]]
    assert places == ["Norrhaven, sieve room", "Tarnholt quarry, site cabin"]


def test_r04_every_page_has_number_version_and_page_of_pages_the_last_an_end():
    shown = pages(certificate_pdf(make_content()))

    for number, page in enumerate(shown, start=1):
        assert "NML-2026-00217, version 1" in page
        assert f"Page {number} of {len(shown)}" in page
        assert ("End of certificate" in page) == (number == len(shown))


def test_r05_customer_is_printed_and_a_later_edit_leaves_the_issued_bytes(db):
    issued = factories.make_certificate()
    name, before = issued.sample.customer.name, issued.pdf_sha256

    issued.sample.customer.name = "Renamed Works"
    issued.sample.customer.save()

    said, data = read(issued)
    assert name in said
    assert "I. Fjeldstad, quality" in said
    assert data["customer"]["name"] == name
    kept = Certificate.objects.get(pk=issued.pk)
    assert hashlib.sha256(bytes(kept.pdf)).hexdigest() == before


def test_r06_method_has_the_edition_of_the_day_of_the_run(db):
    run = factories.make_accepted_run()
    procedure = run.procedure_version
    ProcedureVersion.objects.filter(pk=procedure.pk).update(state="retired")
    newer = ProcedureVersion.objects.get(pk=procedure.pk)
    newer.pk, newer.version, newer.edition, newer.state = None, 2, "2031", "released"
    newer.save()

    said, data = read(issue(draft(run)))

    assert "ASTM C136/C136M, edition 2014" in said
    assert data["method"]["edition"] == "2014"
    assert "2031" not in said


def test_r07_item_has_description_number_and_its_condition_however_bad(db):
    sample = factories.make_sample(
        description="Sand 0/4 from the north face", condition="bag torn, a third spilt"
    )

    said, data = read(issue(draft(factories.make_accepted_run(sample=sample))))

    for words in ("Sand 0/4 from the north face", sample.number, "bag torn, a third spilt"):
        assert words in said
    assert data["sample"]["condition_on_receipt"] == "bag torn, a third spilt"


@pytest.mark.parametrize("is_known", [True, False])
def test_r08_days_of_receipt_and_sampling_are_printed_or_said_to_be_unknown(is_known):
    moment = datetime(2026, 2, 27, 9, tzinfo=UTC)
    with factories.at():
        sample = factories.make_sample(sampled_at=moment if is_known else None)
        said, data = read(issue(draft(factories.make_accepted_run(sample=sample))))

    assert "Received 2 Mar 2026" in said
    assert ("Sampled 27 Feb 2026" if is_known else "Sampled not stated") in said
    assert data["sample"]["sampled_on"] == ("2026-02-27" if is_known else "not stated")


def test_r09_work_of_several_days_prints_its_first_and_last_day():
    with factories.at():
        run = factories.make_run(factories.technician())
        factories.weigh(run, masses_g=factories.MASSES_G)
    with factories.at(factories.NOW + timedelta(days=2)):
        one = factories.reading("pan", "20.0")
        bench.correct_weighing(actor=run.technician, run=run, reading=one, reason="dried again")
        run = factories.accept(hand_over(run), factories.reviewer(), reason="Looked through.")
        said, data = read(issue(draft(run)))

    assert "Tested 2 to 4 Mar 2026" in said
    assert (data["tested_first"], data["tested_last"]) == ("2026-03-02", "2026-03-04")


def test_r10_day_of_issue_is_the_servers(db):
    with factories.at():
        certificate = draft(factories.make_accepted_run())
    Certificate.objects.update(issued_at=datetime(2020, 1, 1, tzinfo=UTC))
    later = factories.NOW + timedelta(days=1, hours=2)

    with factories.at(later):
        said, data = read(issue(Certificate.objects.get(pk=certificate.pk)))

    assert "issued 3 Mar 2026 11:00" in said
    assert data["issued_at"].startswith("2026-03-03T11:00")


def test_r11_sampling_plan_is_printed_with_who_took_the_sample(db):
    sample = factories.make_sample(sampling_method="Plan QP-7, eight increments from the belt")

    said, data = read(issue(draft(factories.make_accepted_run(sample=sample))))

    assert "Plan QP-7, eight increments from the belt" in said
    assert "By customer" in said
    assert data["sample"]["sampled_by"] == "customer"


@pytest.mark.parametrize(
    ("language", "words"),
    [
        ("en", "The results relate only to the items tested."),
        ("de", "Die Ergebnisse beziehen sich nur auf die geprüften Gegenstände."),
        ("fr", "Les résultats ne se rapportent qu'aux objets soumis à essai."),
        ("es", "Los resultados se refieren únicamente a los objetos ensayados."),
    ],
)
def test_r12_results_relate_only_to_the_items_in_every_language(language, words):
    content = make_content(language=language)

    assert words in text(certificate_pdf(content))
    assert words in content.statements
    assert set(LANGUAGES) == {"en", "de", "fr", "es"}


def test_r13_every_figure_has_its_unit_in_its_cell_or_heading():
    said = text(certificate_pdf(make_content()))

    heads = (
        "Aperture mm", "Retained g", "Retained %", "Cumulative retained, %", "Passing %", "± U %",
        "Lower %", "Upper %",
    )  # fmt: skip
    for head in heads:
        assert head in said
    assert all(it.unit or it.name == "Cu" for it in make_content().characteristics)
    assert "Cu 39 1 " in said  # a pure number has the unit one


def test_r14_deviations_are_listed_or_said_to_be_none(technician):
    run = factories.make_run(technician)
    factories.weigh(run)
    said_so = bench.HandOver(deviations="Shaken 12 min, not 10.")
    run = factories.accept(hand_over(run, hand_over=said_so), factories.reviewer(), reason="ok")

    said, data = read(issue(draft(run)))

    assert "Shaken 12 min, not 10." in said
    assert "Shaken 12 min, not 10." in data["deviations"]
    assert "exclusions None." in text(certificate_pdf(make_content(deviations=())))
