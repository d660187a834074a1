"""Frames of a nest: one diameter, and those that a procedure asks for."""

from decimal import Decimal

import pytest

from gradation.errors import Invalid
from gradation.models import Nest
from gradation.queries.nests import frame_faults, nest_list, nest_states, other_frames
from gradation.services import clock, upkeep
from tests import factories

pytestmark = pytest.mark.django_db


def sieves(**frame):
    return [factories.make_sieve(size, **frame) for size in (600, 300)]


def test_frames_the_procedure_asks_for_are_in_order():
    procedure = factories.make_procedure(
        apertures_um=(600, 300), frame_diameter_mm=Decimal(200), frame_height_mm=Decimal(50)
    )

    assert frame_faults(sieves(frame_height_mm=Decimal(50)), procedure) == []


def test_other_diameter_and_height_are_each_named():
    procedure = factories.make_procedure(
        apertures_um=(600, 300), frame_diameter_mm=Decimal("203.2"), frame_height_mm=Decimal(50)
    )

    said = list(other_frames(sieves(frame_height_mm=Decimal(25)), procedure))

    assert said == [
        f"{procedure} asks for frames of 203.2 mm diameter; these have 200 mm.",
        f"{procedure} asks for frames of 50 mm height; these have 25 mm.",
    ]


def test_procedure_without_a_frame_takes_any_and_an_unknown_height_is_not_held_against():
    free = factories.make_procedure(apertures_um=(600, 300))
    strict = factories.make_procedure(apertures_um=(600, 300), frame_height_mm=Decimal(50))

    assert list(other_frames(sieves(), free)) == []
    assert list(other_frames(sieves(), strict)) == []


def test_nest_of_other_frames_is_not_built_and_one_built_earlier_is_unfit():
    version = factories.make_procedure(apertures_um=(600, 300), frame_diameter_mm=Decimal("203.2"))
    free = factories.make_procedure(apertures_um=(600, 300))
    keeper = factories.keeper()

    with pytest.raises(Invalid, match=r"203\.2 mm diameter"):
        upkeep.build_nest(actor=keeper, name="A", procedure=version.procedure, sieves=sieves())
    built = upkeep.build_nest(actor=keeper, name="B", procedure=free.procedure, sieves=sieves())
    Nest.objects.filter(pk=built.pk).update(procedure=version.procedure)

    found = nest_states(nest_list().filter(pk=built.pk), clock.today())[0]
    assert not found.is_fit
    assert "203.2 mm diameter" in " ".join(found.reasons)
