"""Asking the interface all that its contract allows and forbids, by schemathesis.

The examples live in a small laboratory; keys of things that exist are put into addresses, so that
what is found is not only absence.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from typing import Any

import schemathesis
from schemathesis.checks import load_all_checks
from schemathesis.config import SchemathesisConfig

from gradation.api.documentation import contract
from gradation.models import Event, Scope, Webhook
from gradation.policy import Role
from tests import factories

load_all_checks()
#: Rules of the laboratory cannot be told in a schema: what is well formed may still be refused.
_REFUSED = [400, 401, 403, 404, 406, 409, 412, 413, 414, 415, 422, 428, 429]


@dataclass
class Laboratory:
    """A laboratory with one of each thing, and a token that may do all that a token may."""

    bearer: str
    named: dict[str, list[Any]] = field(default_factory=dict)

    def fill(self, case: Any, chance: random.Random) -> None:
        """Put keys of things that exist into most addresses."""
        for name in list(case.path_parameters or {}):
            known = self.named.get(f"{case.operation.path.split('/')[3]}.{name}", [])
            sent = case.path_parameters[name]
            if known and isinstance(sent, type(known[0])) and chance.random() < 0.8:
                case.path_parameters[name] = chance.choice(known)


def make_laboratory() -> Laboratory:
    """Make the laboratory."""
    certificate = factories.make_certificate()
    run = factories.make_weighed_run()
    open_run = factories.make_run(factories.technician())
    sieve, balance = factories.make_sieve(425), factories.make_instrument("balance")
    nest = factories.make_nest(run.procedure_version, factories.make_sieves())
    specification = factories.make_specification()
    blend, study = factories.make_blend(), factories.make_study()
    drying = factories.make_drying()
    orders = factories.make_order_form()
    job = factories.make_run_import()
    hook = Webhook.objects.create(
        name="Fuzz", url="https://192.0.2.1/", events=[Event.SAMPLE_LOGGED], secret_salt="s",
        created_at=factories.NOW, created_by=run.technician,
    )  # fmt: skip
    person = factories.make_person(*(role for role in Role if role is not Role.CUSTOMER))
    made = factories.make_token(person, scopes=list(Scope))
    runs = [run.pk, open_run.pk, certificate.runs.get().pk]
    named = {
        "samples.number": [certificate.sample.number, run.portion.sample.number],
        "portions.label": [run.portion.label, drying.portion.label],
        "dryings.id": [drying.pk],
        "runs.id": runs,
        "sheet-forms.id": [orders.pk, job.form_id],
        "webhooks.id": [hook.pk],
        "imports.id": [job.pk],
        "certificates.number": [certificate.number],
        "sieves.serial": [sieve.serial],
        "instruments.serial": [balance.serial],
        "balances.serial": [balance.serial],
        "equipment.serial": [sieve.serial, balance.serial],
        "nests.id": [nest.pk],
        "benches.bench": [open_run.bench.name],
        "customers.id": [certificate.sample.customer_id],
        "materials.id": [certificate.sample.material_id],
        "procedure-versions.id": [run.procedure_version_id],
        "specification-versions.id": [specification.pk],
        "blends.number": [blend.number],
        "studies.number": [study.number],
        "check-policies.code": ["equipment-unfit"],
    }
    return Laboratory(f"Bearer {made.text}", named)


def config() -> SchemathesisConfig:
    """Give how much is asked, and what a rule of the laboratory may answer."""
    return SchemathesisConfig.from_dict(
        {
            "checks": {
                "positive_data_acceptance": {"expected-statuses": ["2xx", *_REFUSED]},
                "negative_data_rejection": {"expected-statuses": _REFUSED},
                "missing_required_header": {"expected-statuses": _REFUSED},
            }
        }
    )


def schema(app: Any) -> Any:
    """Load the contract from the application that serves it."""
    loaded = schemathesis.openapi.from_dict(contract(), config=config())
    loaded.app = app
    return loaded
