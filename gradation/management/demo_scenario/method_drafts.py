"""What the quality manager is working on: one procedure drafted, one proposed for release."""

from decimal import Decimal

from gradation.management.demo_scenario import cast
from gradation.management.demo_scenario.timeline import Story
from gradation.management.demo_scenario.world import World
from gradation.models import Procedure, ProcedureVersion
from gradation.queries.methods import released_procedures
from gradation.science.procedure_library import library_procedure
from gradation.services import methods
from gradation.services.procedure_reading import from_library

_DAYS_AGO = 2


def method_work(world: World) -> Story:
    """Draft a procedure from the library, and propose a new version of one in use."""
    yield world.days.moment(world.days.ago(_DAYS_AGO), 13, 20)
    _draft_from_library(world)
    _propose_next_version(world)


def _draft_from_library(world: World) -> None:
    read = from_library(library_procedure("en_1235"))
    methods.draft_procedure_version(
        actor=world.people[cast.QUALITY],
        version=ProcedureVersion(
            procedure=Procedure(code="NP-06", title="Test sieving of fertiliser"), **read.fields
        ),
        places=read.places,
    )


def _propose_next_version(world: World) -> None:
    """The core sand is shaken by its acceleration from now on, and shown to be done."""
    actor = world.people[cast.QUALITY]
    former = released_procedures().get(procedure=world.procedures["NP-03"])
    told = {name: getattr(former, name) for name in methods.CHANGEABLE}
    version = methods.draft_procedure_version(
        actor=actor,
        version=ProcedureVersion(procedure=former.procedure, **{**told, **_CHANGES}),
        places=list(former.apertures.all()),
    )
    methods.propose_procedure_version(actor=actor, version=version)


_CHANGES = {
    "edition": "as held by the laboratory, shaking as NI-9",
    "shaking_amplitude_mm": Decimal("1.3"),
    "shaking_interval_s": 10,
    "end_point": "not more than 0.1 % of the portion passes any sieve in a further minute",
    "end_point_form": "an extra minute by hand",
    "end_point_limit_pct": Decimal("0.1"),
}
