"""Opening a run on the screen: what it is made with, and why something cannot be used."""

import html
from datetime import timedelta

import pytest
from django.urls import reverse

from gradation.models import Run
from gradation.services import clock, laboratory, people, upkeep
from tests import factories


@pytest.fixture
def technician(client, db):
    factories.make_laboratory()
    person = factories.technician()
    client.force_login(person)
    return person


def submit(client, technician, sieves, **values):
    portion = values.pop("portion", None) or factories.make_portion(technician)
    place = values.pop("bench", None) or factories.make_bench()
    typed = {"bench": place.pk, "sieves": "\n".join(sieve.serial for sieve in sieves), **values}
    return client.post(reverse("bench:run-open", args=[portion.label]), typed)


def text_of(answer):
    return html.unescape(answer.content.decode())


def test_shaker_chosen_is_that_of_the_run(client, technician):
    shaker = factories.make_instrument("shaker")

    submit(client, technician, factories.make_sieves(), shaker=shaker.pk)

    assert [row.instrument for row in Run.objects.get().instruments.all()] == [shaker]


def test_scanned_sieve_that_is_out_of_service_is_refused_with_its_reason(client, technician):
    sieves = factories.make_sieves()
    upkeep.take_out_of_service(actor=factories.keeper(), item=sieves[0], reason="torn at the rim")

    answer = submit(client, technician, sieves)

    assert "torn at the rim" in text_of(answer)
    assert not Run.objects.exists()


def test_scanned_sieve_in_another_run_is_refused_with_who_has_it(client, technician):
    sieves = factories.make_sieves()
    other = factories.make_run(sieves=sieves)

    answer = submit(client, technician, sieves)

    assert str(other.bench) in text_of(answer)
    assert Run.objects.count() == 1


def test_what_the_policy_allows_is_said_beside_the_nest(client, technician):
    laboratory.change_laboratory(
        actor=people.system_account(), reason="keeper away", overdue_sieve="warn"
    )
    yesterday = clock.today() - timedelta(days=1)
    procedure = factories.make_procedure((600, 300))
    sieves = [factories.make_sieve(600), factories.make_sieve(300, next_check_on=yesterday)]
    factories.make_nest(procedure, sieves)
    sample = factories.make_sample(technician, factories.make_material(procedure))
    portion = factories.make_portion(technician, sample)

    page = text_of(client.get(reverse("bench:run-open", args=[portion.label])))

    assert f"{sieves[1].serial}: its check was due on" in page
    assert "It goes with the run." in page
