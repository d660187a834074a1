"""One of everything that the site has a page of, on one sample of one customer."""

from decimal import Decimal

import pytest

from gradation.models import (
    Announcement,
    CertificateMail,
    ChartNote,
    ControlChart,
    Delivery,
    IssueBatch,
    ReferenceLot,
    ReportForm,
    Webhook,
)
from gradation.services import (
    attachments,
    checks,
    clock,
    control_charts,
    incidents,
    instruments,
    people,
    sessions,
)
from tests import factories, paper_runs

CERTIFIED = [
    {"aperture_um": "300", "passing_pct": "88", "u_pct": "0.5"},
    {"aperture_um": "212", "passing_pct": "30", "u_pct": "0.5"},
]


@pytest.fixture
def things(db):
    """Make one of everything, on one sample of one customer."""
    specification = factories.make_specification()
    material = factories.make_material(specification=specification)
    sample = factories.make_sample(material=material)
    certificate = factories.make_certificate(sample)
    portion = factories.make_portion(sample=sample)
    run = sample.portions.first().runs.get()
    return {
        **typed_from_paper(sample.customer),
        "customer": sample.customer,
        "party": sample.customer_id,
        "material": material.pk,
        "source": factories.make_source(sample.customer).pk,
        "number": sample.number,
        "hold": factories.make_hold(sample).pk,
        "label": portion.label,
        "run": run.pk,
        "drying": factories.make_drying(portion).pk,
        "weighing": 1,
        "slot": "dry mass",
        "position": 0,
        "increment": 1,
        "first_position": 1,
        "shaken_run": factories.make_shaking().run_id,
        "shaking": 1,
        "certificate": certificate.pk,
        **issuing(certificate),
        "report_form": ReportForm.objects.create(name="Usual").pk,
        "serial": run.places.first().sieve.serial,
        "procedure": sample.procedure_version.procedure_id,
        "procedure_version": sample.procedure_version_id,
        "specification": specification.specification_id,
        "specification_version": specification.pk,
        "library": "c33_fine",
        "kept_procedure": "en_1235",
        "file_kind": "csv",
        "person": run.technician_id,
        "check_code": "loss-over-limit",
        "finding": "0" * 16,
        "competence": factories.make_competence(run.technician).pk,
        "form": "csv",
        "blend": factories.make_blend(sample).number,
        "study": factories.make_study().number,
        "study_kind": "round",
        **charting(run),
        **equipment(),
        **importing(run.technician),
        **sending(run.technician),
        **running(run.technician),
        **telling(),
    }


def typed_from_paper(customer):
    """Make a run that is typed from paper, with its scan."""
    run = paper_runs.make_paper_run(sample=factories.make_sample(customer=customer))
    return {"paper_run": run.pk, "scan": run.transcription.scans.get().pk}


def telling():
    """Make a webhook with something it was told."""
    hook = Webhook.objects.create(
        name="Plant office", url="https://plant.example.org/", events=["sample.logged"],
        secret_salt="00", created_at=clock.now(), created_by=factories.quality_manager(),
    )  # fmt: skip
    news = Announcement.objects.create(
        event="sample.logged", subject="26-0001", at=clock.now(), data={}
    )
    told = Delivery.objects.create(
        webhook=hook, announcement=news, state="delivered", due_at=clock.now(),
        ended_at=clock.now(),
    )  # fmt: skip
    return {"webhook": hook.pk, "delivery": told.pk}


def issuing(certificate):
    """A message about a certificate, and a list of drafts that were issued together."""
    person, now = factories.signatory(), clock.now()
    mail = CertificateMail.objects.create(
        certificate=certificate, address="lab@tarn.example", asked_at=now, asked_by=person
    )
    batch = IssueBatch.objects.create(
        state=IssueBatch.State.DONE, meaning="m", begun_at=now, begun_by=person, beat_at=now
    )
    return {"certificate_mail": mail.pk, "issue_batch": batch.pk}


def importing(technician):
    """Make a table of runs that was taken in, so that no act on it begins any work."""
    job = factories.make_run_import(technician)
    return {"sheet_form": job.form_id, "run_import": job.pk}


def sending(technician):
    """Make a balance's reading that waits for a field, and a token."""
    link = factories.make_balance_link()
    reading = factories.send_line(link, "12.34 g", actor=technician)
    return {"waiting": reading.pk, "token": factories.make_token(technician).token.pk}


def running(technician):
    """Make an incident, and a session of somebody."""
    met = incidents.Met(ValueError("no"), "1" * 32, "GET", "bench/", technician)
    incident = incidents.record_incident(actor=people.system_account(), met=met)
    session = sessions.begin_session(actor=technician, session_key="k" * 32, browser="")
    return {"incident": incident.pk, "session": session.pk}


def charting(run):
    """Open a chart of a run's material, and a point on it to answer."""
    material, result = run.portion.sample.material, run.results.get()
    chart = control_charts.open_chart(
        actor=factories.quality_manager(),
        chart=ControlChart(
            name="Sand", material=material, characteristic="loss", answers_from=clock.today()
        ),
    )
    note = ChartNote.objects.create(
        chart=chart, run=run, result=result, rules="beyond_three_sigma", reasons="Beyond.",
        run_opened_at=run.opened_at, value=1, centre=0, sigma=0.1, is_frozen=False,
        opened_at=clock.now(),
    )  # fmt: skip
    return {"chart": chart.pk, "chart_note": note.pk}


def equipment():
    """Make a balance that failed its check, with a file, and what else the equipment pages show."""
    balance = factories.make_instrument("balance")
    keeper = factories.keeper()
    check = checks.record_check(
        actor=keeper,
        equipment=balance,
        evidence=checks.WeightsEvidence([(500, 501, Decimal("0.1"))]),
        performed_on=clock.today(),
    )
    factories.make_balance_link(balance)
    kept = attachments.attach_file(
        actor=keeper, equipment=balance, name="report.txt", content=b"Weights of class F1"
    )
    lot = ReferenceLot(name="Beads", lot="7", certificate="7/1", certified=CERTIFIED)
    return {
        "kind": "shaker",
        "check_kind": "visual",
        "instrument": balance.serial,
        "check": check.pk,
        "file": kept.pk,
        "lot": instruments.register_reference_lot(actor=keeper, lot=lot).pk,
        "bench": factories.make_bench().pk,
        "nest": factories.make_nest(factories.make_procedure()).pk,
        "impact": check.impacts.get().pk,
        "rows": "runs",
    }
