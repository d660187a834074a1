"""What people get wrong: it is answered beside the field, and nothing typed is lost."""

import html
import re
from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from gradation.models import Sample, Weighing
from gradation.policy import Role
from gradation.queries.trail import trail_of
from gradation.services import upkeep
from tests import factories

REFUSED = 422


@pytest.fixture
def technician(client, db):
    factories.make_laboratory()
    person = factories.technician()
    client.force_login(person)
    return person


def text_of(answer):
    return html.unescape(answer.content.decode())


@pytest.fixture
def delivery(technician):
    material = factories.make_material()
    customer = factories.make_customer()
    return {
        "customer": customer.pk,
        "material": material.pk,
        "lot": "L-77",
        "sampled_by": "customer",
        "condition": "bag dry, seal whole",
        "mass_received_g": "12500,5",
    }


def log(client, delivery, **changed):
    return client.post(reverse("intake:sample-log"), {**delivery, **changed})


def test_a_delivery_as_it_should_be_is_logged(client, delivery):
    answer = log(client, delivery)

    sample = Sample.objects.get()
    assert answer["Location"] == reverse("intake:sample-show", args=[sample.number])
    assert sample.mass_received_g == Decimal("12500.5")


@pytest.mark.parametrize("mass", ["twelve", "1.2.3", "12.5 kg", "1e3", "٣", "NaN", "--5"])
def test_text_in_a_mass_is_answered_beside_it(client, delivery, mass):
    answer = log(client, delivery, mass_received_g=mass)

    assert answer.status_code == REFUSED
    assert answer.context["form"].errors.keys() == {"mass_received_g"}
    shown = text_of(answer)
    assert f'value="{mass}"' in shown
    assert 'value="L-77"' in shown
    assert 'aria-describedby="id_mass_received_g_error"' in shown
    assert not Sample.objects.exists()


@pytest.mark.parametrize("mass", ["-5", "0"])
def test_a_mass_that_cannot_be_is_answered_beside_it(client, delivery, mass):
    answer = log(client, delivery, mass_received_g=mass)

    assert answer.status_code == REFUSED
    assert answer.context["form"].errors.keys() == {"mass_received_g"}
    assert f'value="{mass}"' in text_of(answer)
    assert 'value="L-77"' in text_of(answer)
    assert not Sample.objects.exists()


def test_a_portion_without_mass_is_answered_beside_it(client, technician):
    sample = factories.make_sample(technician)
    address = reverse("intake:portion-prepare", args=[sample.number])

    typed = {"way": "another way", "words": "by hand", "count": "1", "mass_0": "-0,5"}
    answer = client.post(address, typed | {"first_label": f"{sample.number}-A"})

    assert answer.status_code == REFUSED
    assert answer.context["form"].errors.keys() == {"mass_0"}
    assert 'value="-0,5"' in text_of(answer)
    assert "by hand" in text_of(answer)


@pytest.mark.parametrize("field", ["received_at", "sampled_at"])
def test_a_date_in_the_future_is_answered_beside_it(client, delivery, field):
    tomorrow = (timezone.now() + timedelta(days=1)).strftime("%Y-%m-%dT%H:%M")

    answer = log(client, delivery, **{field: tomorrow})

    assert answer.status_code == REFUSED
    assert "lies in the future" in " ".join(answer.context["form"].errors[field])
    assert tomorrow in text_of(answer)


def test_a_lot_of_ten_thousand_characters_is_answered_beside_it(client, delivery):
    lot = "L" * 10_000

    answer = log(client, delivery, lot=lot)

    assert answer.status_code == REFUSED
    assert answer.context["form"].errors.keys() == {"lot"}
    assert lot in text_of(answer)


@pytest.mark.parametrize("lot", ["شحنة 7", "📦 L-7", "L-7\u202e7", "<b>L-7</b>"])
def test_a_lot_in_any_writing_is_kept_and_shown_as_typed(client, delivery, lot):
    answer = client.get(log(client, delivery, lot=lot)["Location"])

    assert Sample.objects.get().lot == lot
    assert f"<bdi>{html.escape(lot)}</bdi>" in answer.content.decode()


@pytest.fixture
def nest_of(technician):
    """Give an address that opens a run, the sieves of its procedure and a bench."""
    portion = factories.make_portion(technician)
    version = portion.sample.procedure_version
    sizes = [place.aperture_um for place in version.apertures.all()]
    address = reverse("bench:run-open", args=[portion.label])
    return address, factories.make_sieves(sizes), factories.make_bench()


def open_run(client, nest_of, sieves):
    address, _, bench = nest_of
    serials = "\n".join(sieve.serial for sieve in sieves)
    return client.post(address, {"bench": bench.pk, "sieves": serials})


def test_a_nest_in_order_opens_the_run(client, nest_of):
    answer = open_run(client, nest_of, nest_of[1])

    assert answer.status_code == 302


@pytest.mark.parametrize(
    ("arranged", "said"),
    [
        (lambda sieves: [*sieves, sieves[0]], "stands in the nest twice"),
        (lambda sieves: sieves[::-1], "out of order"),
        (lambda sieves: sieves[1:], "sizes that are missing: 4.75 mm"),
    ],
    ids=["a sieve twice", "out of order", "a size missing"],
)
def test_a_nest_that_is_wrong_is_answered_beside_it(client, nest_of, arranged, said):
    sieves = arranged(nest_of[1])

    answer = open_run(client, nest_of, sieves)

    assert answer.status_code == REFUSED
    assert said in " ".join(answer.context["form"].errors["sieves"])
    assert "\n".join(sieve.serial for sieve in sieves) in text_of(answer)


def test_a_sieve_out_of_service_is_answered_with_what_to_do(client, nest_of):
    torn = nest_of[1][2]
    upkeep.take_out_of_service(actor=factories.keeper(), item=torn, reason="Torn at the rim.")

    answer = open_run(client, nest_of, nest_of[1])

    said = " ".join(answer.context["form"].errors["sieves"])
    assert answer.status_code == REFUSED
    assert "\n".join(sieve.serial for sieve in nest_of[1]) in text_of(answer)
    assert torn.serial in said
    assert "Torn at the rim. Scan another, or ask the equipment keeper." in said


def test_words_in_any_writing_survive_a_refusal(client, delivery):
    words = {"lot": "شحنة 📦\u202e7", "description": "<i>grob</i> & feucht", "condition": ""}

    answer = log(client, delivery, **words)

    assert answer.context["form"].errors.keys() == {"condition"}
    assert words["lot"] in text_of(answer)
    assert words["description"] in text_of(answer)
    assert "<i>grob</i>" not in answer.content.decode()


def test_an_unknown_serial_is_named(client, nest_of):
    address, _, bench = nest_of

    answer = client.post(address, {"bench": bench.pk, "sieves": "NO-SUCH-1"})

    assert "under NO-SUCH-1" in " ".join(answer.context["form"].errors["sieves"])


@pytest.fixture
def washed_run(technician):
    material = factories.make_material(factories.make_procedure(wash=True))
    return factories.make_run(technician, factories.make_sample(technician, material))


def record(client, run, slot, text, position=0, **more):
    sent = {"slot": slot, "position": position, "text": text, "key": uuid4(), **more}
    return client.post(reverse("bench:reading-record", args=[run.pk]), sent)


@pytest.mark.parametrize("text", ["abc", "1.2.3", "-1", "", "1e5", "12 g", "1" * 150])
def test_a_reading_that_is_no_mass_is_answered_in_its_row(client, washed_run, text):
    answer = record(client, washed_run, "fraction", text, position=2)

    assert answer.status_code == REFUSED
    assert (answer.json()["kind"], answer.json()["where"]) == ("refused", "fraction-2")
    assert not washed_run.weighings.exists()


def test_a_decimal_comma_is_a_decimal_point(client, washed_run):
    answer = record(client, washed_run, "dry mass", "500,25")

    assert answer.status_code == 200
    assert washed_run.weighings.get().mass_g == Decimal("500.25")


def test_gross_below_tare_is_answered_in_its_row(client, washed_run):
    answer = record(client, washed_run, "fraction", "380", position=1, tare_text="400")

    assert answer.status_code == REFUSED
    assert answer.json()["where"] == "fraction-1"
    assert "Gross 380 g is below tare 400 g" in answer.json()["message"]
    assert not washed_run.weighings.exists()


def test_a_mass_after_washing_above_the_one_before_is_answered_in_its_row(client, washed_run):
    record(client, washed_run, "dry mass", "500")

    answer = record(client, washed_run, Weighing.Slot.WASHED_DRY_MASS.value, "510")

    assert answer.status_code == REFUSED
    assert answer.json()["where"] == "dry-mass-after-washing-0"
    assert "510" in answer.json()["message"]
    assert washed_run.weighings.count() == 1


def test_the_same_reading_sent_twice_is_kept_once(client, washed_run):
    key = uuid4()

    first = record(client, washed_run, "dry mass", "500", key=key)
    again = record(client, washed_run, "dry mass", "500", key=key)

    assert (first.status_code, again.status_code) == (200, 200)
    assert washed_run.weighings.count() == 1


def test_a_run_with_gaps_is_not_handed_over_and_says_what_is_missing(client, washed_run):
    address = reverse("bench:run-submit", args=[washed_run.pk])

    answer = client.post(
        address, {"version": washed_run.version, "deviations": "Shaken by hand, mains were off."}
    )

    assert answer.status_code == REFUSED
    assert "Not weighed yet: the dry mass of the portion" in text_of(answer)
    assert "Shaken by hand, mains were off." in text_of(answer)


def _gone_through(run):
    return {"seen": trail_of(run).newest, "went_through": "on"}


def test_who_made_the_run_does_not_review_it(client, db):
    both = factories.make_person(Role.TECHNICIAN, Role.REVIEWER)
    run = factories.make_weighed_run(both)
    client.force_login(both)
    address = reverse("review:run-review", args=[run.pk])

    told = {"answer": "accept", "reason": "Looks well.", **_gone_through(run)}
    answer = client.post(address, {"version": run.version, **told})

    assert answer.status_code == REFUSED
    assert "Somebody else reviews it" in " ".join(answer.context["form"].errors["answer"])
    assert re.search(r'<input[^>]*value="accept"[^>]*checked', text_of(answer))
    assert "Looks well." in text_of(answer)
    run.refresh_from_db()
    assert run.state == "weighed"


def test_a_run_changed_meanwhile_is_not_answered_for_unseen(client, db):
    run = factories.make_weighed_run()
    client.force_login(factories.reviewer())
    address = reverse("review:run-review", args=[run.pk])

    answer = client.post(
        address, {"version": run.version - 1, "answer": "accept", **_gone_through(run)}
    )

    assert answer.status_code == REFUSED
    assert "was changed by somebody else" in text_of(answer)
