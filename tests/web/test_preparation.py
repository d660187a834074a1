"""Dividing and drying as the pages offer them."""

import re
from decimal import Decimal
from uuid import uuid4

import pytest
from django.urls import reverse

from gradation.models import Division as Way
from gradation.models import DryingMass, TestPortion
from gradation.queries.halves import halves_drawn
from gradation.services import dryings
from tests import factories
from tests.counting import count_queries

pytestmark = pytest.mark.django_db
REFUSED = 422


@pytest.fixture
def technician(client):
    factories.make_laboratory()
    person = factories.technician()
    client.force_login(person)
    return person


@pytest.fixture
def sample(technician):
    procedure = factories.make_procedure(
        constant_mass_pct=Decimal("0.1"), divider_passes=2, determinations=2
    )
    return factories.make_sample(technician, factories.make_material(procedure))


def text_of(answer):
    return re.sub(r"\s+", " ", answer.content.decode())


def divide(client, sample, **typed):
    filled = {
        "way": Way.RIFFLE.value,
        "passes": "2",
        "count": "1",
        "first_label": f"{sample.number}-A",
        **typed,
    }
    return client.post(reverse("intake:portion-prepare", args=[sample.number]), filled)


def shown_halves(page):
    return re.findall(r"<b>([LR])</b>", page)


def test_the_form_shows_the_halves_that_are_kept_and_shows_them_again(client, sample):
    address = reverse("intake:portion-prepare", args=[sample.number])
    drawn = [*halves_drawn(sample.number, 0, 2), *halves_drawn(sample.number, 1, 2)]

    first, again = (text_of(client.get(address)) for _ in range(2))

    assert shown_halves(first) == shown_halves(again) == drawn
    more = text_of(client.get(address, {"passes": "5", "count": "1", "way": "riffle divider"}))
    assert shown_halves(more)[:2] == drawn[:2]
    assert len(shown_halves(more)) == 5


def test_one_divider_in_service_is_offered_and_the_portion_is_kept(client, sample):
    divider = factories.make_instrument("divider")

    answer = divide(client, sample, divider=divider.pk, mass_0="512,5")

    portion = TestPortion.objects.get()
    assert answer["Location"] == reverse("bench:portion-show", args=[portion.label])
    assert portion.moist_mass_g == Decimal("512.5")
    page = text_of(client.get(answer["Location"]))
    assert "not dry yet" in page
    assert "Put it into the oven" in page


def test_what_was_typed_about_a_half_stays_when_its_reason_is_missing(client, sample):
    divider = factories.make_instrument("divider")

    answer = divide(client, sample, divider=divider.pk, taken_0="L R", mass_0="500")

    assert answer.status_code == REFUSED
    assert "Say why another half was kept" in text_of(answer)
    assert 'value="L R"' in text_of(answer)
    assert not TestPortion.objects.exists()


def test_a_portion_is_dried_and_weighed_until_it_is_constant(client, technician, sample):
    portion = factories.make_portion(technician, sample)
    oven = factories.make_instrument("oven", set_temperature_c=Decimal(110))
    address = reverse("bench:drying-begin", args=[portion.label])
    page = client.post(address, {"oven": oven.pk, "moist_text": "520"})["Location"]
    for number, text in enumerate(("500,9", "500,5"), start=1):
        weigh = {"number": number, "key": str(uuid4()), "text": text}
        client.post(f"{page}masses/", weigh)

    shown = text_of(client.get(page))

    assert "Constant at weighing 2: change 0.08 %, at most 0.1 %." in shown
    assert "Moisture 3.9 % of the dry mass." in shown, "19.5 of 500.5"
    client.post(f"{page}end/", {"version": "1"})
    assert "may go on" in text_of(client.get(reverse("bench:portion-show", args=[portion.label])))


def test_a_weighing_that_is_refused_stays_in_its_field(client, technician, sample):
    drying = factories.make_drying(factories.make_portion(technician, sample))
    address = reverse("bench:drying-weigh", args=[drying.pk])

    answer = client.post(address, {"number": "1", "key": str(uuid4()), "text": "1.2.3"})

    assert answer.status_code == REFUSED
    assert 'value="1.2.3"' in text_of(answer)
    assert not DryingMass.objects.exists()


def test_the_same_weighing_sent_twice_is_kept_once(client, technician, sample):
    drying = factories.make_drying(factories.make_portion(technician, sample))
    typed = {"number": "1", "key": str(uuid4()), "text": "500"}

    answers = [client.post(reverse("bench:drying-weigh", args=[drying.pk]), typed) for _ in "ab"]

    assert [answer.status_code for answer in answers] == [302, 302]
    assert DryingMass.objects.count() == 1


def test_opening_a_run_of_a_portion_not_dry_says_so_with_the_way_to_it(client, technician, sample):
    portion = factories.make_portion(technician, sample)
    address = reverse("bench:run-open", args=[portion.label])

    assert "Not dry yet." in text_of(client.get(address))
    drying = factories.make_drying(portion)
    assert reverse("bench:drying-show", args=[drying.pk]) in text_of(client.get(address))


def test_the_dry_mass_is_offered_to_the_run_and_taken(client, technician, sample):
    portion = factories.make_portion(technician, sample)
    drying = factories.make_drying(portion)
    for number, text in enumerate(("500.9", "500.5"), start=1):
        dryings.record_drying_mass(
            actor=technician, drying=drying, reading=dryings.MassReading(number, text, uuid4())
        )
    run = factories.make_run(technician, portion=portion)
    page = reverse("bench:drying-show", args=[drying.pk])
    assert f'name="run" value="{run.pk}"' in text_of(client.get(page))

    client.post(reverse("bench:drying-end", args=[drying.pk]), {"version": "1", "run": run.pk})

    assert run.weighings.get().mass_as_entered == Decimal("500.5")


def test_a_portions_page_costs_no_more_queries_with_more_dryings(client, technician, sample):
    portion = factories.make_portion(technician, sample)
    page = reverse("bench:portion-show", args=[portion.label])

    def once():
        drying = factories.make_drying(portion)
        dryings.end_drying(actor=technician, drying=drying, reason="Tried the oven.")

    def queries():
        return count_queries(lambda: client.get(page))

    once()
    queries()
    few = queries()
    for _ in range(3):
        once()

    assert queries() == few


def test_the_story_of_a_sample_tells_its_drying(client, technician, sample):
    drying = factories.make_drying(factories.make_portion(technician, sample))
    for number in (1, 2):
        dryings.record_drying_mass(
            actor=technician, drying=drying, reading=dryings.MassReading(number, "500.0", uuid4())
        )

    told = text_of(client.get(reverse("intake:sample-history", args=[sample.number])))

    assert "Drying begun" in told
    assert "weighing 2: 500.0 g" in told
    assert "110 °C" in told
