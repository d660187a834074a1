"""How the laboratory began: people, customers, methods, limits, materials; and later editions."""

from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

from django.conf import settings

from gradation.management.demo_scenario import cast
from gradation.management.demo_scenario.materials import KINDS
from gradation.management.demo_scenario.methods import (
    CONFIRMATION,
    EDITIONS,
    REQUIREMENTS,
    Edition,
    Limit,
    Requirement,
)
from gradation.management.demo_scenario.timeline import Story
from gradation.management.demo_scenario.world import World
from gradation.models import (
    Bench,
    Customer,
    Material,
    Origin,
    Procedure,
    ProcedureVersion,
    Source,
    Specification,
    SpecificationLine,
    SpecificationVersion,
    User,
)
from gradation.services import laboratory, methods, parties, people, specifications, upkeep
from gradation.services.procedure_reading import nest_of
from gradation.services.signing_keys import make_key_once


def opening_story(world: World, opening: date) -> Story:
    """Let the laboratory be set up on the morning of its first day."""
    yield world.days.moment(opening, 7, 30)
    owner = laboratory.set_up_laboratory(
        actor=people.system_account(), laboratory=cast.laboratory()
    )
    if settings.SIGNING_KEY_FILE:
        make_key_once(Path(settings.SIGNING_KEY_FILE), owner)
    _add_clients(world)
    _add_people(world)
    for place in cast.PLACES:
        world.benches[place.name] = upkeep.add_bench(
            actor=world.people[cast.KEEPER], bench=Bench(name=place.name, place=place.place)
        )
    yield world.days.moment(opening, 8)
    _add_first_editions(world, opening)
    _add_materials(world)


def _add_people(world: World) -> None:
    for person in cast.PEOPLE:
        user = User(
            username=person.username,
            full_name=person.full_name,
            customer=world.customers.get(person.customer),
        )
        user.origin = Origin(door="web")
        world.people[person.username] = people.add_person(
            actor=people.system_account(),
            person=user,
            password=cast.PASSWORD,
            roles=person.roles,
        )


def _add_clients(world: World) -> None:
    actor = people.system_account()
    for client in cast.CLIENTS:
        customer = Customer(
            name=client.name,
            contact_name=client.contact,
            email=client.email,
            address=client.address,
        )
        world.customers[client.key] = parties.add_customer(actor=actor, customer=customer)
    for origin in cast.ORIGINS:
        source = Source(
            customer=world.customers[origin.client],
            name=origin.name,
            kind=origin.kind,
            place=origin.place,
        )
        world.sources[origin.key] = parties.add_source(actor=actor, source=source)


def _add_first_editions(world: World, opening: date) -> None:
    for edition in EDITIONS:
        if edition.released_ago is None:
            world.procedures[edition.code] = methods.add_procedure(
                actor=world.people[cast.QUALITY],
                procedure=Procedure(code=edition.code, title=edition.title),
            )
            _release_edition(world, edition)
    for requirement in REQUIREMENTS:
        if requirement.from_ago is None:
            world.specifications[requirement.code] = specifications.add_specification(
                actor=world.people[cast.QUALITY],
                specification=Specification(
                    code=requirement.code, title=requirement.title, owner=requirement.owner
                ),
            )
            _release_requirement(world, requirement, opening)


def _release_edition(world: World, edition: Edition) -> None:
    actor = world.people[cast.QUALITY]
    version = methods.draft_procedure_version(
        actor=actor,
        version=ProcedureVersion(procedure=world.procedures[edition.code], **edition.values),
        places=nest_of(*edition.apertures_um),
    )
    proposed = methods.propose_procedure_version(actor=actor, version=version)
    methods.approve_procedure_version(
        actor=world.people[cast.SIGNATORY], version=proposed, confirmation=CONFIRMATION
    )


def _release_requirement(world: World, requirement: Requirement, first_day: date) -> None:
    actor = world.people[cast.QUALITY]
    version = specifications.draft_specification_version(
        actor=actor,
        version=SpecificationVersion(
            specification=world.specifications[requirement.code],
            clause=requirement.clause,
            source=requirement.source,
            effective_from=first_day,
            **requirement.values,
        ),
        lines=[_line(limit) for limit in requirement.limits],
    )
    proposed = specifications.propose_specification_version(actor=actor, version=version)
    specifications.approve_specification_version(
        actor=world.people[cast.SIGNATORY], version=proposed, confirmation=CONFIRMATION
    )


def _line(limit: Limit) -> SpecificationLine:
    return SpecificationLine(
        kind=limit.kind,
        aperture_um=None if limit.aperture_um is None else Decimal(limit.aperture_um),
        characteristic=limit.characteristic,
        minimum=Decimal(limit.minimum) if limit.minimum else None,
        maximum=Decimal(limit.maximum) if limit.maximum else None,
    )


def _add_materials(world: World) -> None:
    for kind in KINDS:
        material = Material(
            name=kind.name,
            trade=kind.trade,
            hazards=kind.hazards,
            default_procedure=world.procedures[kind.procedure],
            default_specification=world.specifications.get(kind.specification),
        )
        world.materials[kind.key] = parties.add_material(
            actor=world.people[cast.QUALITY], material=material
        )


def later_editions(world: World) -> Iterator[Story]:
    """Yield a story for each edition that replaced an earlier one."""
    for edition in EDITIONS:
        if edition.released_ago is not None:
            yield _new_edition(world, edition, world.days.ago(edition.released_ago))
    for requirement in REQUIREMENTS:
        if requirement.from_ago is not None:
            yield _new_requirement(world, requirement, world.days.ago(requirement.from_ago))


def _new_edition(world: World, edition: Edition, day: date) -> Story:
    yield world.days.moment(day, 7, 40)
    _release_edition(world, edition)


def _new_requirement(world: World, requirement: Requirement, day: date) -> Story:
    yield world.days.moment(day, 7, 50)
    former = world.specifications[requirement.code].versions.get(state="released")
    specifications.end_specification_version(
        actor=world.people[cast.QUALITY],
        version=former,
        effective_to=day - timedelta(days=1),
    )
    _release_requirement(world, requirement, day)
