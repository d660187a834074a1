"""Review and report forms on the screen: the queue's list, several at once, the live preview."""

import pytest
from django.urls import reverse

from gradation.models import Run, TrailReview
from gradation.queries.trail import trail_of
from gradation.services import certify, intake, review
from tests import factories
from tests.bench_steps import hand_over

pytestmark = pytest.mark.django_db


@pytest.fixture
def reviewer(client):
    factories.make_laboratory()
    person = factories.reviewer()
    client.force_login(person)
    return person


def test_queue_says_what_to_look_at_and_offers_only_clean_runs(client, reviewer):
    clean = factories.make_weighed_run()
    lossy = factories.make_weighed_run(dry_mass_g="510")

    page = client.get(reverse("review:run-queue")).content.decode()

    assert f'value="{clean.pk}" aria-label="Pick run {clean}"' in page
    assert f"Pick run {lossy}" not in page
    assert "clean" in page


def test_queue_costs_the_same_however_long(client, reviewer, django_assert_max_num_queries):
    for _ in range(3):
        factories.make_weighed_run()

    with django_assert_max_num_queries(30):
        client.get(reverse("review:run-queue"))


def test_acceptance_without_the_tick_is_answered_beside_it(client, reviewer):
    run = factories.make_weighed_run()
    sent = {"version": run.version, "seen": trail_of(run).newest, "answer": "accept"}

    refused = client.post(reverse("review:run-review", args=[run.pk]), sent)

    assert refused.status_code == 422
    assert "Go through the history" in refused.content.decode()
    client.post(reverse("review:run-review", args=[run.pk]), sent | {"went_through": "on"})
    assert Run.objects.get(pk=run.pk).state == "accepted"
    assert TrailReview.objects.get(run=run).reviewer == reviewer


def test_clean_runs_are_accepted_together_the_others_named(client, reviewer):
    clean, lossy = factories.make_weighed_run(), factories.make_weighed_run(dry_mass_g="510")
    picked = f"?run={clean.pk}&run={lossy.pk}"

    shown = client.get(reverse("review:runs-accept") + picked).content.decode()
    answered = client.post(
        reverse("review:runs-accept"),
        {
            "run": [clean.pk, lossy.pk],
            f"seen-{clean.pk}": trail_of(clean).newest,
            f"seen-{lossy.pk}": trail_of(lossy).newest,
        },
    ).content.decode()

    assert f"Run {lossy} has something to look at" in shown
    assert "not accepted" in answered
    states = dict(Run.objects.values_list("pk", "state"))
    assert states == {clean.pk: "accepted", lossy.pk: "weighed"}


def test_what_was_written_since_the_review_is_looked_at_on_the_page(client, reviewer):
    run = factories.make_accepted_run()
    sample = run.portion.sample
    intake.change_sample(
        actor=factories.technician(),
        sample=sample,
        delivery=intake.Delivery(
            customer=sample.customer,
            material=sample.material,
            condition=sample.condition,
            received_at=sample.received_at,
            lot="7",
        ),
        reason="lot was missing",
    )

    page = client.get(reverse("review:run-review", args=[run.pk])).content.decode()
    client.post(
        reverse("review:trail-look", args=[run.pk]),
        {"seen": trail_of(run).newest, "note": "Nothing that matters."},
    )

    assert "Since then something was written about it" in page
    assert trail_of(run).is_current


def test_draft_says_what_is_missing_and_what_was_written_since(client, reviewer):
    sample = factories.make_sample(customer=factories.make_customer(contact_name=""))
    run = factories.make_accepted_run(sample=sample)
    draft = certify.draft_certificate(
        actor=reviewer, sample=sample, drafting=certify.Drafting(runs=[run])
    )

    page = client.get(reverse("certificates:certificate-show", args=[draft.pk])).content.decode()

    assert "Customer contact" in page
    assert "A signatory can leave an item out" in page


def test_preview_follows_what_is_chosen_and_keeps_nothing(client, reviewer):
    client.force_login(factories.quality_manager())
    factories.make_certificate()
    chosen = {
        "name": "German", "language": "de", "paper": "A4", "rounding_mode": "half_even",
        "scale": "log", "direction": "coarse_left", "title": "Prüfbericht",
    }  # fmt: skip

    page = client.get(reverse("certificates:form-preview"), chosen).content.decode()

    assert "Prüfbericht" in page
    assert "Durchgang" in page
    assert "css/document" in page
    assert client.get(reverse("certificates:form-list")).content.decode().count("German") == 0


def test_form_is_drawn_up_on_its_page(client, reviewer):
    client.force_login(factories.quality_manager())

    answer = client.post(
        reverse("certificates:form-add"),
        {
            "name": "Usual", "language": "fr", "paper": "Letter", "rounding_mode": "half_up",
            "scale": "power45", "direction": "fine_left", "columns": ["aperture", "lower"],
            "passing_decimals": "1",
        },
    )  # fmt: skip

    assert answer.status_code == 302
    page = client.get(reverse("certificates:form-list")).content.decode()
    assert "Usual" in page
    assert "Letter" in page
    assert "français" in page


def test_own_run_is_left_out_of_several(client, reviewer):
    both = factories.make_person(factories.Role.TECHNICIAN, factories.Role.REVIEWER)
    run = factories.make_run(both)
    factories.weigh(run)
    run = hand_over(run)

    (answer,) = review.accept_runs(actor=both, picked=[review.Picked(run, trail_of(run).newest)])

    assert "Somebody else reviews it" in answer.refusal
