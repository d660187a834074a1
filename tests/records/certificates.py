"""Drafting, issuing and reading back certificates, as the tests of records need it."""

import json

from gradation.models import Certificate
from gradation.services import certify
from tests import factories
from tests.bench_steps import hand_over
from tests.documents.reading import embedded, text
from tests.factories import PASSWORD


def draft(*runs, **values):
    sample = runs[0].portion.sample
    drafting = certify.Drafting(runs=runs, **values)
    return certify.draft_certificate(actor=factories.signatory(), sample=sample, drafting=drafting)


def issue(certificate, actor=None):
    return certify.issue_certificate(
        actor=actor or factories.signatory(), certificate=certificate, password=PASSWORD
    )


def read(certificate):
    """Return the text and the embedded data of an issued file."""
    pdf = bytes(Certificate.objects.get(pk=certificate.pk).pdf)
    return text(pdf), json.loads(embedded(pdf, "certificate.json"))


def accepted(run, **values):
    factories.weigh(run, **values)
    return factories.accept(hand_over(run), factories.reviewer(), reason="Looked through.")
