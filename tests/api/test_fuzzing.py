"""Several hundred requests, sound and unsound, to every address: nothing but what is documented."""

import random

import hypothesis
import pytest
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections
from schemathesis.core.failures import Failure, FailureGroup
from schemathesis.generation import GenerationMode

from tests.api import fuzzing

pytestmark = pytest.mark.django_db

#: For each address and each way (sound, unsound); `tests.load.interface_fuzz` asks far more.
EXAMPLES = 1


@pytest.fixture
def application():
    """Give the application without its habit of closing the connection that the test is in."""
    signals = (request_started, request_finished)
    for signal in signals:
        signal.disconnect(close_old_connections)
    yield get_wsgi_application()
    for signal in signals:
        signal.connect(close_old_connections)


@pytest.mark.parametrize("mode", list(GenerationMode), ids=lambda mode: mode.value)
def test_g10_p13_every_address_answers_as_its_contract_says(mode, application):
    laboratory = fuzzing.make_laboratory()
    schema = fuzzing.schema(application)
    asked, faults = 0, []
    for found in schema.get_all_operations():
        operation = found.ok()
        asked += _ask(operation, mode, laboratory, faults)

    assert faults == []
    assert asked > 100


def _ask(operation, mode, laboratory, faults):
    chance = random.Random(operation.label)
    asked = 0

    @hypothesis.settings(
        max_examples=EXAMPLES,
        database=None,
        deadline=None,
        derandomize=True,
        phases=[hypothesis.Phase.generate],
        suppress_health_check=list(hypothesis.HealthCheck),
    )
    @hypothesis.given(case=operation.as_strategy(generation_mode=mode))
    def ask(case):
        nonlocal asked
        laboratory.fill(case, chance)
        asked += 1
        is_left_out = mode is GenerationMode.NEGATIVE and "Authorization" not in (
            case.headers or {}
        )
        sent = {} if is_left_out else {"Authorization": laboratory.bearer}
        try:
            case.call_and_validate(headers=sent)
        except (Failure, FailureGroup) as fault:
            faults.append(f"{operation.label}: {_words(fault)}"[:1500])

    try:
        ask()
    except (hypothesis.errors.Unsatisfiable, ValueError, TypeError) as none:
        # An address without anything that could be unsound.
        faults += [] if mode is GenerationMode.NEGATIVE else [f"{operation.label}: {none}"]
    return asked


def _words(fault):
    said = getattr(fault, "exceptions", (fault,))
    return " | ".join(
        f"{type(each).__name__}: {each} {getattr(each, 'message', '')}" for each in said
    )
