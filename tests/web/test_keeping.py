"""Forms that keep the laboratory's files: what is typed is what is stored, or says why not."""

import html

import pytest
from django.urls import reverse

from gradation.models import (
    Certificate,
    Customer,
    Laboratory,
    LedgerEntry,
    Material,
    Sieve,
    Source,
    User,
)
from gradation.policy import Role
from tests import factories


@pytest.fixture
def as_role(client, db):
    """Sign in with a role and give the person."""

    def sign_in(*roles):
        factories.make_laboratory()
        person = factories.make_person(*roles)
        client.force_login(person)
        return person

    return sign_in


def send(client, name, data, *args):
    return client.post(reverse(name, args=args), data)


def errors_of(answer):
    assert answer.status_code == 422
    return {name: " ".join(said) for name, said in answer.context["form"].errors.items()}


def test_a_policy_changes_with_a_reason(client, as_role):
    as_role(Role.QUALITY_MANAGER)
    data = {
        "name": "Norrhaven Materials Laboratory",
        "address": "Kiln Lane 4",
        "work_place": "Norrhaven",
        "certificate_title": "Certificate of analysis",
        "time_zone": "Europe/Oslo",
        "due_soon_days": "14",
        "retention_days": "90",
        "reason": "Small bench, agreed with the customers.",
    }

    wrong = errors_of(
        send(client, "settings:laboratory-change", {**data, "time_zone": "Norrhaven"})
    )
    send(client, "settings:laboratory-change", data)

    assert wrong.keys() == {"time_zone"}
    kept = Laboratory.objects.get()
    assert (kept.due_soon_days, kept.retention_days) == (14, 90)


def test_a_person_is_added_given_other_roles_and_closed(client, as_role):
    as_role(Role.QUALITY_MANAGER)
    data = {"username": "siri", "full_name": "Siri Moen", "roles": ["technician"]}

    weak = errors_of(send(client, "settings:person-add", {**data, "password": "short"}))
    send(client, "settings:person-add", {**data, "password": "lichen on granite"})
    siri = User.objects.get(username="siri")
    roles = {"roles": ["reviewer", "auditor"], "reason": "Trained."}
    send(client, "settings:roles-set", roles, siri.pk)
    send(client, "settings:person-deactivate", {"reason": "Left."}, siri.pk)

    assert weak.keys() == {"password"}
    siri = User.objects.get(username="siri")
    assert siri.role_names == {"reviewer", "auditor"}
    assert not siri.is_active


def test_customer_source_and_material_are_added(client, as_role):
    as_role(Role.TECHNICIAN)
    version = factories.make_procedure()

    send(client, "intake:customer-add", {"name": "Tarnholt Aggregates"})
    customer = Customer.objects.get()
    send(client, "intake:source-add", {"customer": customer.pk, "name": "Tarnholt quarry"})
    material = {"name": "Crushed granite 0/32", "default_procedure": version.procedure_id}
    send(client, "intake:material-add", {**material, "hazards": "Holds quartz."})

    assert Source.objects.get().customer == customer
    assert Material.objects.get().default_procedure == version.procedure


def test_customer_source_and_material_are_changed_and_the_records_keep_the_earlier_words(
    client, as_role
):
    as_role(Role.TECHNICIAN)
    customer = factories.make_customer(name="Tarnholt Agregates")
    source = factories.make_source(customer, name="Tarnholt quarry")
    material = factories.make_material(name="Granite 0/32")

    shown = client.get(reverse("intake:customer-change", args=[customer.pk])).content.decode()
    send(client, "intake:customer-change", {"name": "Tarnholt Aggregates"}, customer.pk)
    send(client, "intake:source-change", {"name": "Tarnholt quarry, east"}, source.pk)
    words = {"name": "Crushed granite 0/32", "hazards": "Holds quartz."}
    send(client, "intake:material-change", words, material.pk)

    assert 'value="Tarnholt Agregates"' in shown
    assert Customer.objects.get().name == "Tarnholt Aggregates"
    source.refresh_from_db()
    assert (source.name, source.customer) == ("Tarnholt quarry, east", customer)
    assert Material.objects.get().hazards == "Holds quartz."
    entry = LedgerEntry.objects.get(action="customer changed")
    assert (entry.before["name"], entry.after["name"]) == (
        "Tarnholt Agregates",
        "Tarnholt Aggregates",
    )


def test_a_name_that_another_customer_has_is_answered_beside_it(client, as_role):
    as_role(Role.TECHNICIAN)
    taken, other = factories.make_customer(name="Tarnholt"), factories.make_customer()

    answer = send(client, "intake:customer-change", {"name": taken.name}, other.pk)

    assert "name" in errors_of(answer)
    assert 'value="Tarnholt"' in html.unescape(answer.content.decode())


def test_a_certificate_is_amended_and_withdrawn_under_signature(client, as_role):
    signatory = as_role(Role.SIGNATORY)
    certificate = factories.make_certificate()
    run = certificate.runs.get()

    amendment = {"runs": [run.pk], "remarks": "Lot number corrected.", "reason": "Wrong lot."}
    send(client, "certificates:certificate-amend", amendment, certificate.pk)
    draft = Certificate.objects.get(amends=certificate)
    send(client, "certificates:certificate-issue", {"password": factories.PASSWORD}, draft.pk)
    refused = send(
        client, "certificates:certificate-withdraw", {"reason": "x", "password": "no"}, draft.pk
    )
    sent = {"reason": "Sieve found torn.", "password": factories.PASSWORD}
    send(client, "certificates:certificate-withdraw", sent, draft.pk)

    assert "password" in errors_of(refused)
    certificate.refresh_from_db()
    draft.refresh_from_db()
    assert (certificate.state, draft.state) == ("superseded", "withdrawn")
    assert draft.issued_by == signatory
    shown = client.get(reverse("certificates:certificate-show", args=[draft.pk])).content.decode()
    assert "Sieve found torn." in shown


def test_a_draft_is_discarded_and_the_sample_can_be_drafted_again(client, as_role):
    as_role(Role.REVIEWER)
    run = factories.make_accepted_run()
    number = run.portion.sample.number
    draft = {"runs": [run.pk], "remarks": ""}
    send(client, "certificates:certificate-draft", draft, number)
    certificate = Certificate.objects.get()

    send(client, "certificates:draft-discard", {"reason": "Wrong remarks."}, certificate.pk)
    again = send(client, "certificates:certificate-draft", draft, number)

    assert again.status_code == 302
    assert Certificate.objects.count() == 1


def test_a_sample_is_changed_with_a_reason_unless_somebody_was_first(client, as_role):
    as_role(Role.TECHNICIAN)
    sample = factories.make_sample(lot="L-1")
    data = {
        "customer": sample.customer_id,
        "material": sample.material_id,
        "sampled_by": "customer",
        "condition": sample.condition,
        "lot": "L-2",
        "version": sample.version,
        "reason": "Label misread.",
    }

    send(client, "intake:sample-change", data, sample.number)
    late = send(client, "intake:sample-change", {**data, "lot": "L-3"}, sample.number)

    sample.refresh_from_db()
    assert sample.lot == "L-2"
    assert "was changed by somebody else" in errors_of(late)["__all__"]


def test_a_sample_is_cancelled_closed_or_disposed_of_only_when_it_may_be(client, as_role):
    as_role(Role.TECHNICIAN)
    fresh = factories.make_sample()
    reported = factories.make_certificate().sample

    send(client, "intake:sample-cancel", {"reason": "Bag burst."}, fresh.number)
    send(client, "intake:sample-close", {"reason": "Reported."}, reported.number)
    scans = {"at_shelf": reported.number, "at_container": reported.number, "how": "tipped"}
    gone = {"reason": "Room needed.", **scans}
    early = errors_of(send(client, "intake:sample-dispose", gone, reported.number))

    fresh.refresh_from_db()
    reported.refresh_from_db()
    assert (fresh.state, reported.state) == ("cancelled", "closed")
    assert "is kept until" in early["__all__"]


@pytest.mark.parametrize("kind", ["sample", "portion", "sieve", "certificate"])
def test_the_scan_field_goes_straight_to_what_a_label_names(client, as_role, kind):
    as_role(Role.TECHNICIAN)
    certificate = factories.make_certificate()
    sample = certificate.sample
    labels = {
        "sample": (sample.number, reverse("intake:sample-show", args=[sample.number])),
        "portion": (
            sample.portions.get().label,
            reverse("bench:run-open", args=[sample.portions.get().label]),
        ),
        "sieve": (
            Sieve.objects.first().serial.lower(),
            reverse("equipment:item-show", args=[Sieve.objects.first().serial]),
        ),
        "certificate": (
            certificate.number,
            reverse("certificates:certificate-show", args=[certificate.pk]),
        ),
    }
    label, place = labels[kind]

    answer = client.get(reverse("web:find"), {"q": label})

    assert answer["Location"] == place


def test_the_scan_field_lists_the_samples_that_carry_a_word(client, as_role):
    as_role(Role.TECHNICIAN)
    wanted = factories.make_sample(lot="Kiln-7")
    other = factories.make_sample(lot="Kiln-8")

    shown = client.get(reverse("web:find"), {"q": "kiln-7"}, follow=True).content.decode()

    assert wanted.number in shown
    assert other.number not in shown
