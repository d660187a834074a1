"""Procedures and specifications: frozen once released, dates that do not overlap."""

from datetime import date
from decimal import Decimal

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import ProcedureVersion, SpecificationLine, SpecificationVersion
from gradation.services import methods
from tests import factories


@pytest.fixture
def manager(laboratory):
    """Give a quality manager."""
    return factories.quality_manager()


def test_order_in_which_sizes_are_entered_does_not_matter(manager):
    version = factories.make_procedure((300, 4750, 600))

    assert [row.aperture_um for row in version.apertures.all()] == [4750, 600, 300]


def test_size_entered_twice_is_refused(manager):
    with pytest.raises(Invalid, match="stands twice"):
        factories.make_procedure((600, 300, 600))


def test_release_retires_the_version_before(manager):
    first = factories.make_procedure()
    draft = methods.draft_procedure_version(
        actor=manager,
        version=ProcedureVersion(
            procedure=first.procedure,
            standard_reference="ASTM C136/C136M",
            edition="2019",
            basis="initial_dry",
            loss_limit_pct=Decimal("0.3"),
        ),
        apertures_um=[Decimal(600)],
    )

    methods.release_procedure_version(actor=manager, version=draft)

    states = first.procedure.versions.order_by("version").values_list("version", "state")
    assert list(states) == [(1, "retired"), (2, "released")]


def test_released_version_is_not_released_again(manager):
    version = factories.make_procedure()

    with pytest.raises(Conflict, match="only a draft"):
        methods.release_procedure_version(actor=manager, version=version)


def test_figures_from_memory_are_confirmed_before_they_pass_or_fail_a_run(manager):
    first = factories.make_procedure()
    draft = methods.draft_procedure_version(
        actor=manager,
        version=ProcedureVersion(
            procedure=first.procedure,
            standard_reference="EN 933-1",
            edition="2012",
            basis="initial_dry",
            loss_limit_pct=Decimal(1),
            loss_rule="en_933_1_loss",
        ),
        apertures_um=[Decimal(600)],
    )
    with pytest.raises(Invalid, match="kept from memory") as refusal:
        methods.release_procedure_version(actor=manager, version=draft)
    assert refusal.value.field == "confirmation"

    released = methods.release_procedure_version(
        actor=manager, version=draft, confirmation="EN 933-1:2012, copy 2 on the shelf"
    )

    assert released.confirmation == "EN 933-1:2012, copy 2 on the shelf"


def test_minimum_above_maximum_is_refused(manager):
    with pytest.raises(Invalid, match="above maximum"):
        factories.make_specification(((600, "60", "40"),))


def test_line_without_any_limit_is_refused(manager):
    version = factories.make_specification()
    draft = SpecificationVersion(
        specification=version.specification, effective_from=date(2027, 1, 1)
    )

    with pytest.raises(Invalid, match="neither minimum nor maximum"):
        methods.draft_specification_version(
            actor=manager, version=draft, lines=[SpecificationLine(aperture_um=Decimal(600))]
        )


def test_overlapping_dates_are_refused_until_the_former_ends(manager):
    first = factories.make_specification()
    second = methods.draft_specification_version(
        actor=manager,
        version=SpecificationVersion(
            specification=first.specification, effective_from=date(2026, 7, 1)
        ),
        lines=[SpecificationLine(aperture_um=Decimal(600), maximum=Decimal(70))],
    )
    with pytest.raises(Invalid, match="overlap"):
        methods.release_specification_version(actor=manager, version=second)

    methods.end_specification_version(actor=manager, version=first, effective_to=date(2026, 6, 30))
    second = methods.release_specification_version(actor=manager, version=second)

    assert second.state == "released"


def test_technician_may_not_release(technician):
    version = factories.make_procedure()

    with pytest.raises(NotAllowed):
        methods.release_procedure_version(actor=technician, version=version)
