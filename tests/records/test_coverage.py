"""Every table that holds records is written by use-cases alone, and each write has its entry.

The cells of the matrix come from the code: the models of the application, and the use-cases found
in its services. `tests.records.watching` holds each use-case that any test calls to the rule; here
one laboratory's work is done from end to end, and no table may stay blank.
"""

import inspect
from pathlib import Path

import pytest
from django.apps import apps
from django.db import transaction

from gradation.models import LedgerEntry, Sample
from gradation.services import intake
from tests import factories
from tests.records import watching
from tests.web.test_permissions import things

__all__ = ["things"]

TESTS = Path(__file__).resolve().parents[1]


def tables():
    """Give every table of the application but the machinery, many-to-many ones too."""
    models = apps.get_app_config("gradation").get_models(include_auto_created=True)
    return {
        model._meta.db_table.removeprefix("gradation_")
        for model in models
        if model._meta.db_table not in watching.MACHINERY
    }


def test_every_use_case_is_found_and_watched():
    found = watching.use_cases()

    assert len(found) > 90
    assert {
        "weighing.record_weighing",
        "certify.issue_certificate",
        "seals.seal_now",
    } <= found.keys()
    assert all(hasattr(function, "__wrapped__") for function in found.values())
    assert inspect.signature(found["bench.open_run"]).parameters.keys() >= {"actor", "portion"}


def test_f14_r51_g3_no_table_is_written_without_an_entry_and_none_is_left_blank(things):
    written = {kind for kind, _ in watching.cells}

    blank = sorted(tables() - written - OTHERWISE.keys() - NEVER_WRITTEN)
    assert not blank, f"no use-case was seen at work on {', '.join(blank)}"


#: Tables that this laboratory's day does not come to, and the tests that see them written.
OTHERWISE = {
    "certificate_further_samples": "records/test_certificate_statements_required.py",
    "certificate_further_specifications": "records/test_certificate_statements_required.py",
    "certificateomission": "records/test_certificate_statements_required.py",
    "certificateopinion": "records/test_certificate_statements_required.py",
    "certificatemail": "services/test_issue_batches.py",
    "chartnote": "services/test_control_charts.py",
    "dryingcontainer": "services/test_drying_containers.py",
    "dryingmass": "services/test_dryings.py",
    "editiondecision": "services/test_edition_decisions.py",
    "certificatesignature": "services/test_issuing.py",
    "externalresult": "records/test_certificate_statements_required.py",
    "frozenlimits": "services/test_control_charts.py",
    "impactdecision": "services/test_impact.py",
    "interfacekey": "api/test_contract.py",
    "interfaceuse": "api/test_contract.py",
    "issuebatch": "services/test_issue_batches.py",
    "issuebatchitem": "services/test_issue_batches.py",
    "maintenance": "operations/test_running.py",
    "papercomparison": "services/test_transcribing.py",
    "policyacceptance": "services/test_issuing.py",
    "recoverycode": "security/test_sessions.py",
    "reportform": "services/test_report_forms.py",
    "runcheckanswer": "services/test_run_checks.py",
    "runcheckpolicy": "services/test_run_checks.py",
    "runinstrument": "services/test_instruments.py",
    "samplingrecord": "records/test_certificate_statements_required.py",
    "secondfactor": "security/test_sessions.py",
    "setupcode": "security/test_sign_in.py",
    "signingpolicy": "services/test_issuing.py",
    "tare": "services/test_upkeep.py",
    "webhook": "services/test_webhooks.py",
}
#: Django's own rights of single accounts: roles are groups, and nothing of ours writes these.
NEVER_WRITTEN = {"user_user_permissions"}


def test_what_is_seen_otherwise_is_seen_somewhere():
    missing = [name for name in OTHERWISE.values() if not (TESTS / name).is_file()]

    assert missing == []


def test_a_use_case_that_tells_nothing_is_caught(things):
    def silent(*, actor, sample):
        Sample.objects.filter(pk=sample.pk).update(lot="another")

    watched = watching._watched("made_up.silent", silent)

    with pytest.raises(AssertionError, match="wrote sample, and the ledger tells nothing"):
        watched(actor=None, sample=Sample.objects.first())


def test_r52_an_entry_leaves_nothing_out(things):
    for entry in LedgerEntry.objects.all():
        assert entry.actor_id
        assert entry.actor_name
        assert entry.action
        assert entry.subject
        assert entry.door
        assert entry.at.tzinfo is not None


def test_r54_without_its_entry_the_change_is_gone_too(technician, monkeypatch):
    sample = factories.make_sample(technician)

    def failing(*_, **__):
        msg = "the ledger cannot be written"
        raise OSError(msg)

    monkeypatch.setattr("gradation.services.ledger._lock_head", failing)
    with pytest.raises(OSError, match="cannot be written"), transaction.atomic():
        intake.cancel_sample(actor=technician, sample=sample, reason="delivered twice")

    sample.refresh_from_db()
    assert sample.state == Sample.State.LOGGED
