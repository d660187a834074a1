"""The page of a run: what the drawn nest's fill means, who entered what."""

import html

import pytest
from django.urls import reverse

from gradation.models import Weighing
from gradation.policy import Role
from gradation.web.templatetags.notebook import initials
from tests import factories


def shown(client, name, run):
    return html.unescape(client.get(reverse(name, args=[run.pk])).content.decode())


def run_of(**procedure):
    material = factories.make_material(factories.make_procedure(**procedure))
    return factories.make_run(sample=factories.make_sample(material=material))


@pytest.mark.parametrize(
    ("rule", "drawn", "explained"),
    [
        ("", "10 % of the mass of the heaviest fraction", "sets no limit on the load"),
        # ASTM C136, 8.3: 7 kg/m² below 4.75 mm; a 200 mm frame counts 200 - 12.7 = 187.3 mm
        # across, 0.02755 m², so 2.36 mm carries 192.9 g and 125 g are 65 % of it.
        ("astm_c136", "load 65 % of its limit", "the load of a sieve against its limit"),
    ],
)
def test_the_fill_of_the_nest_is_explained(client, db, rule, drawn, explained):
    run = run_of(loading_rule=rule)
    for position, mass in ((1, "12.5"), (2, "125")):
        reading = factories.reading(Weighing.Slot.FRACTION, mass, position)
        factories.bench.record_weighing(actor=run.technician, run=run, reading=reading)
    client.force_login(run.technician)

    page = shown(client, "bench:run-weigh", run)

    assert drawn in page
    assert explained in page


def test_review_names_who_entered_by_initials_and_once_in_full(client, db):
    technician = factories.make_person(Role.TECHNICIAN, full_name="Ingrid Solvik")
    run = factories.make_weighed_run(technician)
    client.force_login(factories.reviewer())

    page = shown(client, "review:run-review", run)

    assert '<abbr title="Ingrid Solvik">IS</abbr>' in page
    assert "Entered by IS = Ingrid Solvik." in page


@pytest.mark.parametrize(
    ("name", "short"),
    [
        ("Ilka Vendrup", "IV"),
        ("Dr Maren Oakholm", "MO"),
        ("Colm Verity-Nash", "CVN"),
        ("ørjan", "Ø"),
        ("Dr.", "D"),
        ("", ""),
    ],
)
def test_a_name_is_shortened_to_its_initials_without_titles(name, short):
    assert initials(name) == short


def test_a_reading_is_named_with_its_place_only_where_it_has_one(db):
    run = run_of()
    weigh = factories.bench.record_weighing
    dry, first = (
        weigh(actor=run.technician, run=run, reading=factories.reading(slot, "10.0", position))
        for slot, position in ((Weighing.Slot.DRY_MASS, 0), (Weighing.Slot.FRACTION, 1))
    )

    assert str(dry) == "dry mass: 10.0 g"
    assert str(first) == "fraction 1: 10.0 g"
