"""What the tests of the checks share: a run about to be opened, and what a check finds in one."""

from __future__ import annotations

from typing import Any

from gradation.models import Instrument, Run, Sieve, Stage, TestPortion, User
from gradation.queries.run_checks import Candidate, Finding, findings, opening_findings
from gradation.services import clock
from tests import factories


def at_opening(code: str, sieves: list[Sieve], **told: Any) -> list[Finding]:
    """Give what one check finds before a run is opened."""
    actor: User = told.pop("actor", None) or factories.technician()
    portion: TestPortion = told.pop("portion", None) or factories.make_portion(actor)
    instruments: list[Instrument] = told.pop("instruments", [])
    candidate = Candidate(
        actor=actor,
        portion=portion,
        bench=factories.make_bench(),
        sieves=sieves,
        instruments=instruments,
        **told,
    )
    laboratory = factories.make_laboratory()
    found = opening_findings(candidate, laboratory=laboratory, day=clock.today(laboratory))
    return [each for each in found if each.code == code]


def found_in(run: Run, code: str, stage: Stage = Stage.HAND_OVER, **told: Any) -> list[Finding]:
    """Give what one check finds in a run, read afresh."""
    fresh = Run.objects.get(pk=run.pk)
    return [each for each in findings(fresh, stage, **told) if each.code == code]


def portion_of(actor: User, **procedure: Any) -> TestPortion:
    """Prepare a portion of a material with its own procedure."""
    apertures = procedure.pop("apertures_um", factories.APERTURES_UM)
    specification = procedure.pop("specification", None)
    version = factories.make_procedure(apertures, **procedure)
    material = factories.make_material(version, specification)
    return factories.make_portion(actor, factories.make_sample(actor, material))


def run_of(actor: User, **procedure: Any) -> Run:
    """Open a run by a procedure of its own."""
    sizes = procedure.get("apertures_um", factories.APERTURES_UM)
    portion = portion_of(actor, **procedure)
    return factories.make_run(actor, portion=portion, sieves=factories.make_sieves(sizes))
