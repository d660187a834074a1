"""Forms that keep the laboratory's files: what is typed is what is stored, or says why not."""

import html
from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from gradation.models import (
    Certificate,
    Customer,
    Laboratory,
    Material,
    Nest,
    ProcedureVersion,
    Sieve,
    Source,
    SpecificationVersion,
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


SIEVE = {
    "serial": "NH-0042",
    "aperture_um": "4.75 mm",
    "standard": "ISO 3310-1",
    "medium": "woven wire",
    "frame_diameter_mm": "200",
    "check_interval_days": "180",
}


@pytest.mark.parametrize(
    ("typed", "aperture_um", "designation"),
    [("4.75 mm", "4750", "4.75 mm"), ("No. 200", "75", "75 µm"), ("125 µm", "125", "125 µm")],
)
def test_a_sieve_is_registered_under_the_size_its_label_says(
    client, as_role, typed, aperture_um, designation
):
    as_role(Role.EQUIPMENT_KEEPER)

    send(client, "equipment:sieve-register", {**SIEVE, "aperture_um": typed})

    sieve = Sieve.objects.get(serial="NH-0042")
    assert (sieve.aperture_um, sieve.designation) == (Decimal(aperture_um), designation)


def test_a_serial_taken_already_and_a_size_nobody_knows_are_answered(client, as_role):
    as_role(Role.EQUIPMENT_KEEPER)
    send(client, "equipment:sieve-register", SIEVE)

    again = errors_of(send(client, "equipment:sieve-register", SIEVE))
    strange = errors_of(
        send(client, "equipment:sieve-register", {**SIEVE, "aperture_um": "five-ish"})
    )

    assert "serial" in again or "__all__" in again
    assert strange.keys() == {"aperture_um"}


def test_a_check_in_order_sets_the_next_and_a_failed_one_takes_the_sieve_out(client, as_role):
    as_role(Role.EQUIPMENT_KEEPER)
    send(client, "equipment:sieve-register", SIEVE)
    today = timezone.now().date()
    check = {"kind": "visual", "performed_on": today.isoformat()}

    send(client, "equipment:check-record", {**check, "passed": "yes"}, "NH-0042")
    good = Sieve.objects.get()
    send(client, "equipment:check-record", {**check, "passed": "no", "note": "Torn."}, "NH-0042")

    assert good.next_check_on == today + timedelta(days=180)
    assert Sieve.objects.get().state == Sieve.State.OUT_OF_SERVICE


def test_a_sieve_leaves_service_with_a_reason_and_comes_back_with_evidence(client, as_role):
    as_role(Role.EQUIPMENT_KEEPER)
    sieve = factories.make_sieve()

    without = errors_of(send(client, "equipment:sieve-take-out", {"reason": " "}, sieve.serial))
    send(client, "equipment:sieve-take-out", {"reason": "Dented frame."}, sieve.serial)
    shown = client.get(reverse("equipment:sieve-show", args=[sieve.serial])).content.decode()
    send(client, "equipment:sieve-put-back", {"reason": "New frame, measured."}, sieve.serial)

    assert without.keys() == {"reason"}
    assert "Dented frame." in shown
    assert Sieve.objects.get().state == Sieve.State.IN_SERVICE


def test_a_nest_is_built_from_scanned_serials(client, as_role):
    as_role(Role.EQUIPMENT_KEEPER)
    version = factories.make_procedure()
    sieves = factories.make_sieves()
    serials = "\r\n".join(sieve.serial for sieve in sieves)

    send(
        client,
        "equipment:nest-build",
        {"name": "Sand A", "procedure": version.procedure_id, "sieves": serials},
    )

    places = Nest.objects.get(name="Sand A").places.order_by("position")
    assert [place.sieve.serial for place in places] == [sieve.serial for sieve in sieves]


PROCEDURE = {
    "standard_reference": "EN 933-1",
    "edition": "2012",
    "apertures": "500 µm; 8 mm\n4 mm",
    "entry": "individual",
    "basis": "initial_dry",
    "wash": "on",
    "determinations": "1",
    "loss_limit_pct": "1",
    "passing_decimals": "0",
    "rounding_mode": "half_even",
    "interpolation": "log_linear",
}


def test_a_procedure_is_drafted_with_its_sizes_from_the_top_and_released(client, as_role):
    as_role(Role.QUALITY_MANAGER)
    procedure = factories.make_procedure().procedure

    drafted = send(client, "procedures:version-draft", PROCEDURE, procedure.pk)
    version = ProcedureVersion.objects.get(version=2)
    released = send(client, "procedures:version-release", {}, version.pk)

    assert (drafted.status_code, released.status_code) == (302, 302)
    sizes = [place.aperture_um for place in version.apertures.order_by("position")]
    assert sizes == [8000, 4000, 500]
    version.refresh_from_db()
    assert version.is_released


def test_sizes_that_cannot_be_read_are_each_named(client, as_role):
    as_role(Role.QUALITY_MANAGER)
    procedure = factories.make_procedure().procedure

    answer = send(
        client,
        "procedures:version-draft",
        {**PROCEDURE, "apertures": "8 mm; coarse; fine"},
        procedure.pk,
    )

    said = errors_of(answer)["apertures"]
    assert "coarse" in said
    assert "fine" in said
    assert "8 mm; coarse; fine" in html.unescape(answer.content.decode())


LIMITS = """4 mm; 85; 99; 92
retained 2 mm; 0; 45
between 500 µm and 250 µm; -; 45
fineness modulus; 2,3; 3.1"""


def test_limits_of_every_kind_are_read_from_their_lines(client, as_role):
    as_role(Role.QUALITY_MANAGER)
    specification = factories.make_specification().specification
    data = {"effective_from": "2026-01-01", "decision_rule": "plain_acceptance", "lines": LIMITS}

    send(client, "specifications:version-draft", data, specification.pk)

    version = SpecificationVersion.objects.get(version=2)
    read = [
        (line.kind, line.aperture_um or line.characteristic, line.minimum, line.maximum)
        for line in version.lines.order_by("position")
    ]
    assert read == [
        ("passing", 4000, 85, 99),
        ("retained", 2000, 0, 45),
        ("between", 500, None, 45),
        ("characteristic", "fineness_modulus", Decimal("2.3"), Decimal("3.1")),
    ]


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ("4 mm; 85; 99\n4 mm; 80; 99", "limited twice"),
        ("4 mm; 99; 85", "above maximum"),
        ("4 mm", "neither minimum nor maximum"),
        ("4 mm; many", "Line 1"),
        ("4 mm; 1; 2; 3; 4", "more than four parts"),
    ],
)
def test_a_limit_that_is_wrong_is_named_and_stays_typed(client, as_role, lines, said):
    as_role(Role.QUALITY_MANAGER)
    specification = factories.make_specification().specification
    data = {"effective_from": "2026-01-01", "decision_rule": "plain_acceptance", "lines": lines}

    answer = send(client, "specifications:version-draft", data, specification.pk)

    assert said in errors_of(answer)["lines"]
    assert lines in html.unescape(answer.content.decode())


def test_a_version_whose_dates_overlap_is_not_released_until_the_other_ends(client, as_role):
    as_role(Role.QUALITY_MANAGER)
    first = factories.make_specification()
    data = {"effective_from": "2026-01-01", "decision_rule": "plain_acceptance", "lines": LIMITS}
    send(client, "specifications:version-draft", data, first.specification_id)
    second = SpecificationVersion.objects.get(version=2)

    refused = send(client, "specifications:version-release", {}, second.pk)
    send(client, "specifications:version-end", {"effective_to": "2025-12-31"}, first.pk)
    released = send(client, "specifications:version-release", {}, second.pk)

    assert refused.status_code == 422
    assert "the dates overlap" in refused.content.decode()
    assert released.status_code == 302


def test_a_policy_changes_with_a_reason(client, as_role):
    as_role(Role.QUALITY_MANAGER)
    data = {
        "name": "Norrhaven Materials Laboratory",
        "address": "Kiln Lane 4",
        "work_place": "Norrhaven",
        "certificate_title": "Certificate of analysis",
        "time_zone": "Europe/Oslo",
        "overdue_sieve": "warn",
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
    assert (kept.overdue_sieve, kept.due_soon_days, kept.reviewer_must_differ) == (
        "warn",
        14,
        False,
    )


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
    early = errors_of(
        send(client, "intake:sample-dispose", {"reason": "Room needed."}, reported.number)
    )

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
            reverse("equipment:sieve-show", args=[Sieve.objects.first().serial]),
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
