"""A run looked at after each reading: the same figures, fewer questions, nothing of others."""

from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gradation.errors import NotFound
from gradation.models import Customer, Laboratory, Run, Sample, Stage
from gradation.policy import Role
from gradation.queries import settled
from gradation.queries.run_changes import refuse_unseen
from gradation.queries.run_checks import findings
from gradation.queries.runs import find_run, find_run_at_work, preview
from gradation.services import bench
from gradation.services.weighing import Reading
from tests import factories
from tests.services.run_steps import SIZES, Slot, open_run, record

pytestmark = pytest.mark.django_db


@pytest.fixture
def technician():
    return factories.technician()


@pytest.fixture
def weighed(technician):
    run = open_run(technician)
    record(run, Slot.DRY_MASS, "1000.0")
    for position, mass in enumerate(("0", "100", "300", "450"), start=1):
        record(run, Slot.FRACTION, mass, position)
    record(run, Slot.PAN, "150.0")
    return run


def queries_of(act):
    with CaptureQueriesContext(connection) as captured:
        act()
    return len(captured)


def of(run):
    evaluation, fault = preview(run)
    assert not fault
    return [row.passing_pct for row in evaluation.rows]


def test_figures_are_those_of_the_run_read_afresh(technician, weighed):
    at_work = find_run_at_work(technician, weighed.pk)

    # Worked by hand: of 1000 g pass 1000, 900, 600 and 150 g.
    assert of(at_work) == pytest.approx([100, 90, 60, 15])
    assert of(at_work) == of(find_run(technician, weighed.pk))
    assert [place.aperture_um for place in at_work.places.all()] == list(SIZES)


def test_what_is_settled_is_read_once_for_many_readings(technician, weighed):
    def look():
        run = find_run_at_work(technician, weighed.pk)
        assert run.procedure_version.procedure.code
        assert list(run.procedure_version.apertures.all())
        assert run.portion.sample.material.name
        assert run.portion.sample.customer.name

    settled.forget_settled()  # the readings were kept by somebody else
    first, second = queries_of(look), queries_of(look)

    # Version, its apertures, material, customer; the sample has no specification. Bench and
    # technician; sieves, instruments and shakings of the run.
    assert first - second == 9


def test_history_and_competences_are_looked_up_once_for_many_readings(technician, weighed):
    laboratory = Laboratory.objects.get()

    def look(choices):
        run = find_run_at_work(technician, weighed.pk)
        return queries_of(
            lambda: findings(run, Stage.HAND_OVER, laboratory=laboratory, choices=choices)
        )

    choices = settled.settled_choices()
    first, second = look(choices), look(choices)

    # Accepted runs of the material; who was found able, and whether anybody ever was.
    assert first - second == 3
    # Whoever hands over is not told what was true a moment ago: these three, and the choices.
    assert look(None) == first + 1


def test_renamed_customer_is_read_again_after_a_moment(technician, weighed, monkeypatch):
    def name():
        return find_run_at_work(technician, weighed.pk).portion.sample.customer.name

    before = name()
    Customer.objects.update(name="Tarnholt Quarries")
    assert name() == before

    later = settled.time.monotonic() + settled.KEPT_S
    monkeypatch.setattr(settled.time, "monotonic", lambda: later)
    assert name() == "Tarnholt Quarries"


def test_another_specification_is_taken_at_once(technician, weighed):
    assert find_run_at_work(technician, weighed.pk).portion.sample.specification_version is None
    version = factories.make_specification([(4750, "95", "100")])
    Sample.objects.update(specification_version=version)

    at_work = find_run_at_work(technician, weighed.pk)

    assert at_work.portion.sample.specification_version == version
    assert len(at_work.portion.sample.specification_version.lines.all()) == 1


def test_run_that_left_the_bench_comes_with_its_result(technician, weighed):
    handed_over = bench.submit_run(actor=technician, run=weighed)

    at_work = find_run_at_work(technician, handed_over.pk)

    assert not at_work.is_editable
    assert "results" in at_work._prefetched_objects_cache
    assert len(at_work.results.all()) == 1


@pytest.mark.parametrize("ask", [find_run_at_work, refuse_unseen])
def test_customer_is_told_nothing_of_the_run_of_another(weighed, ask):
    stranger = factories.make_person(Role.CUSTOMER, customer=factories.make_customer(name="Else"))

    with pytest.raises(NotFound, match="no such run"):
        ask(stranger, weighed.pk)


def test_run_that_does_not_exist_is_refused_whoever_asks(technician, weighed):
    reading = Reading(slot=Slot.PAN, text="1.0", key=uuid4())

    with pytest.raises(NotFound, match="no such run"):
        find_run_at_work(technician, weighed.pk + 1)
    with pytest.raises(NotFound, match="no such run"):
        bench.record_weighing(actor=technician, run=Run(pk=weighed.pk + 1), reading=reading)
