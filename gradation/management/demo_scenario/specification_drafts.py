"""Specifications in the making: one drafted from a published grading, one waiting for approval."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

from gradation.management.demo_scenario import cast
from gradation.management.demo_scenario.timeline import Story
from gradation.management.demo_scenario.world import World
from gradation.models import (
    LotRule,
    Specification,
    SpecificationLine,
    SpecificationVersion,
)
from gradation.science.envelope_library import library_entry
from gradation.services import specifications

DRAFTED_AGO, PROPOSED_AGO, BEGINS_IN_DAYS = 4, 2, 21
#: A published grading of which figures are from memory: the draft says so line by line.
PUBLISHED = "EN 12620 GC90/15 4000 16000"


def draft_stories(world: World) -> tuple[Story, ...]:
    """Give the stories of what is not in force yet."""
    return _drafted(world), _proposed(world)


def _drafted(world: World) -> Story:
    yield world.days.moment(world.days.ago(DRAFTED_AGO), 15, 20)
    entry = library_entry(PUBLISHED)
    specifications.draft_specification_version(
        actor=world.people[cast.QUALITY],
        version=SpecificationVersion(
            specification=Specification(
                code="NS-25", title="Coarse aggregate 4/16", owner="Osterby Road Works"
            ),
            product="Crushed stone 4/16",
            clause="grading categories",
            source="EN 12620, category GC90/15; confirm against your own edition",
            library_key=entry.key,
            unconfirmed_note="All limits are from memory; confirm against your own edition.",
            effective_from=_beginning(world),
        ),
        lines=[
            SpecificationLine(
                kind=line.kind.value,
                aperture_um=line.aperture_um,
                minimum=line.minimum,
                maximum=line.maximum,
                mark=mark,
            )
            for line, mark in zip(entry.lines, entry.marks, strict=True)
        ],
    )


def _proposed(world: World) -> Story:
    """Let the sand's next edition wait: a limit between neighbours, and lots of four results."""
    yield world.days.moment(world.days.ago(PROPOSED_AGO), 10, 5)
    former = world.specifications["NS-10"].versions.get(state="released")
    lines = list(former.lines.all())
    for line in lines:
        line.pk = None
    version = specifications.draft_specification_version(
        actor=world.people[cast.QUALITY],
        version=SpecificationVersion(
            specification=world.specifications["NS-10"],
            replaces=former,
            product="Crushed sand 0/4, washed",
            clause="Table 1 and 6.1",
            source=former.source,
            effective_from=_beginning(world),
            neighbour_maximum_pct=Decimal(45),
            lot_rule=LotRule.WITHIN_LIMITS.value,
            lot_size=4,
            lot_share_pct=Decimal(90),
            certificate_wording="Held against the share of the lot within limits.",
        ),
        lines=lines,
    )
    yield world.days.moment(world.days.ago(PROPOSED_AGO), 10, 40)
    specifications.propose_specification_version(actor=world.people[cast.QUALITY], version=version)


def _beginning(world: World) -> date:
    return world.days.last + timedelta(days=BEGINS_IN_DAYS)
