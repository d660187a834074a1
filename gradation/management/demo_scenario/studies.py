"""Studies: a ring of laboratories on two control sands, and a comparison round to answer."""

from collections.abc import Iterator
from decimal import Decimal

from gradation.management.demo_scenario.cast import QUALITY, REVIEWER
from gradation.management.demo_scenario.timeline import Story
from gradation.management.demo_scenario.world import World
from gradation.queries.studies.asked import Head, PrecisionAsked, RoundAsked
from gradation.queries.studies.tables import read_cells, read_round
from gradation.services import studies

PRECISION_DAYS_AGO, ROUND_DAYS_AGO = 40, 3
#: Passing 300 µm, in percent: eight laboratories of an invented ring, three bottles each of two
#: control sands. Skerry Point's second level scatters: its sieve was found torn.
RING = """
participant; level; bottle 1; bottle 2; bottle 3
Norrhaven; NC-7; 41.6; 41.9; 41.4
Aldersund; NC-7; 42.3; 42.0; 42.4
Bramwick; NC-7; 41.1; 41.5; 41.3
Corrie Head; NC-7; 41.8; 41.6; 42.1
Dunmarrow; NC-7; 42.6; 42.9; 42.5
Eskholm; NC-7; 41.2; 40.9; 41.3
Fallowby; NC-7; 41.9; 42.2; 41.8
Skerry Point; NC-7; 41.5; 41.9; 41.7
Norrhaven; NC-9; 18.2; 18.4; 18.1
Aldersund; NC-9; 18.6; 18.4; 18.7
Bramwick; NC-9; 17.9; 18.1; 18.0
Corrie Head; NC-9; 18.3; 18.2; 18.5
Dunmarrow; NC-9; 18.9; 18.7; 18.8
Eskholm; NC-9; 18.0; 17.8; 18.1
Fallowby; NC-9; 18.4; 18.3; 18.6
Skerry Point; NC-9; 18.3; 20.9; 19.0
"""
#: Passing 75 µm, in percent, of a round of twelve laboratories.
ROUND = """
L01; 6.1
L02; 5.9
L03; 6.3
L04; 6.0
L05; 6.2
L06; 5.8
L07; 7.1
L08; 6.1
L09; 6.4
L10; 5.7
L11; 6.0
L12; 6.2
"""


def study_stories(world: World) -> Iterator[Story]:
    """Yield the precision study of the ring, and a round whose score waits for its answer."""
    yield _precision(world)
    yield _round(world)


def _precision(world: World) -> Story:
    yield world.days.moment(world.days.ago(PRECISION_DAYS_AGO), 14, 5)
    actor = world.people[QUALITY]
    head = Head(
        "Ring of eight on two control sands, 300 µm",
        "passing_300",
        world.materials["control_sand"],
        note="Three bottles of each sand, divided together and sent on one day.",
        entered={
            "title": "Ring of eight on two control sands, 300 µm",
            "figure": "passing",
            "aperture_um": "300",
            "participants_are": "laboratories",
            "table": RING.strip(),
        },
    )
    study = studies.begin_study(
        actor=actor, head=head, asked=PrecisionAsked(read_cells(RING), "laboratories")
    )
    yield world.days.moment(world.days.ago(PRECISION_DAYS_AGO), 15, 40)
    study = studies.leave_out(
        actor=actor,
        study=study,
        participant="Skerry Point",
        level="NC-9",
        reason="Its 300 µm sieve was found torn at the frame after the second bottle.",
    )
    studies.keep_study(actor=actor, study=study)


def _round(world: World) -> Story:
    yield world.days.moment(world.days.ago(ROUND_DAYS_AGO), 10, 30)
    actor = world.people[REVIEWER]
    asked = RoundAsked(
        own=Decimal("7.1"),
        u_own=Decimal("0.25"),
        assigned=Decimal("6.1"),
        deviation=Decimal("0.4"),
        u_assigned=Decimal("0.08"),
        results=read_round(ROUND),
    )
    head = Head(
        "Autumn round on crushed sand, passing 75 µm",
        "passing_75",
        world.materials["crushed_sand"],
        note="We are L07.",
    )
    study = studies.begin_study(actor=actor, head=head, asked=asked)
    studies.keep_study(actor=actor, study=study)
