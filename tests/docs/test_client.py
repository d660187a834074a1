"""The client of the documentation, against a live server: it does what its page promises."""

import ast
import hashlib
import importlib.util
import sys
from pathlib import Path

import pytest

from gradation.models import Run, Sample, Scope
from gradation.policy import Role
from gradation.services import certify
from tests import factories

PATH = Path(__file__).parents[2] / "docs/client.py"
pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(scope="module")
def documented():
    spec = importlib.util.spec_from_file_location("documented_client", PATH)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def client_system(live_server, documented):
    factories.make_laboratory()
    owner = factories.technician()
    words = ("samples", "portions", "runs", "certificates")
    scopes = [scope for scope in Scope if scope.value.endswith(words)]
    token = factories.make_token(owner, scopes=scopes).text
    return documented.Client(live_server.url, token, timeout_s=20)


def sieving(documented, bench, sieves):
    return documented.Sieving(
        bench=bench.name,
        sieves=[sieve.serial for sieve in sieves],
        dry_mass_g="500",
        fractions_g=list(factories.MASSES_G[:-1]),
        pan_g=factories.MASSES_G[-1],
        answer_to_checks="Recorded at the plant.",
    )


def test_client_in_one_file_needs_the_standard_library_only():
    tree = ast.parse(PATH.read_text(encoding="utf-8"))
    imported = {
        name.split(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, ast.Import | ast.ImportFrom)
        for name in (
            [node.module] if isinstance(node, ast.ImportFrom) else [a.name for a in node.names]
        )
    }

    assert imported <= set(sys.stdlib_module_names)


def test_client_in_one_file_goes_from_sample_to_checked_certificate(client_system, documented):
    customer, material = factories.make_customer(), factories.make_material()
    bench, sieves = factories.make_bench(), factories.make_sieves()

    sample = client_system.log_sample(
        customer=customer.name,
        material=material.name,
        condition="dry, bag sealed",
        customer_reference="PO 7731",
    )
    sent = client_system.send_run(sample["number"], sieving(documented, bench, sieves))
    run = Run.objects.get(pk=sent["id"])
    assert run.state == Run.State.WEIGHED
    assert Sample.objects.get().customer_reference == "PO 7731"

    issued = issue(run)
    certificate = client_system.wait_for_certificate(sample["number"], every_s=0.1, most_s=20)
    data = client_system.file_of(certificate)

    assert certificate["number"] == issued.number
    assert data.startswith(b"%PDF")
    assert hashlib.sha256(data).hexdigest() == issued.pdf_sha256


def issue(run):
    """Accept the run and issue its certificate, as two people of the laboratory."""
    accepted = factories.accept(run, factories.reviewer(), reason="Looked through.")
    signatory = factories.make_person(Role.SIGNATORY)
    draft = certify.draft_certificate(
        actor=signatory,
        sample=accepted.portion.sample,
        drafting=certify.Drafting(runs=[accepted]),
    )
    return certify.issue_certificate(
        actor=signatory, certificate=draft, password=factories.PASSWORD
    )


def test_it_refuses_a_file_with_another_digest(client_system, documented):
    issued = factories.make_certificate()
    certificate = client_system.get(f"certificates/{issued.number}")

    with pytest.raises(documented.DigestDiffers):
        client_system.file_of({**certificate, "pdf_sha256": "0" * 64})


def test_a_refusal_says_what_is_wrong(client_system, documented):
    with pytest.raises(documented.Problem, match="customer of this name") as refused:
        client_system.log_sample(customer="Nobody", material="Nothing", condition="dry")

    assert refused.value.status == 422
    assert refused.value.body["type"]


def test_it_gives_up_waiting(client_system):
    with pytest.raises(TimeoutError):
        client_system.wait_for_certificate("26-0001", every_s=0.05, most_s=0.1)
