"""Findings on the screen: asked for where they arise, kept when typed, listed for the reviewer."""

import html
from datetime import timedelta

import pytest
from django.urls import reverse

from gradation.models import Competence, Run, RunCheckPolicy, Severity, Stage
from gradation.policy import Role
from gradation.queries.run_checks import findings, rule_of
from gradation.services import clock, people, run_checks
from tests import factories

REFUSED = 422


@pytest.fixture
def technician(client, db):
    factories.make_laboratory()
    person = factories.technician()
    client.force_login(person)
    return person


@pytest.fixture
def lossy(technician):
    run = factories.make_run(technician)
    factories.weigh(run, dry_mass_g="510")
    return run


def text_of(answer):
    return html.unescape(answer.content.decode())


def choose(code, severity):
    usual = {limit.name: limit.usual for limit in rule_of(code).limits}
    run_checks.set_check_policy(
        actor=people.system_account(),
        code=code,
        choice=run_checks.Choice(severity, Role.EQUIPMENT_KEEPER, usual),
        reason="Agreed.",
    )


def loss_of(run):
    found = findings(Run.objects.get(pk=run.pk), Stage.HAND_OVER)
    return next(each for each in found if each.code == "loss-over-limit")


def answer(client, run, key, reason, **headers):
    address = reverse("bench:finding-answer", args=[run.pk, key])
    return client.post(address, {"reason": reason}, headers=headers)


def test_run_page_asks_for_the_reason_and_says_it_once(client, lossy):
    page = text_of(client.get(reverse("bench:run-weigh", args=[lossy.pk])))

    assert page.count("10 g are missing: 1.96 %") == 2  # the sentence, and its field's label
    assert f'data-reason="{loss_of(lossy).key}"' in page


def test_reason_is_kept_and_the_list_drawn_again(client, lossy):
    key = loss_of(lossy).key

    answered = answer(client, lossy, key, "Spill seen.", hx_request="true")

    assert answered.status_code == 200
    assert "Spill seen." in text_of(answered)
    assert f'data-reason="{key}"' not in text_of(answered)


def test_without_scripts_the_answer_leads_back_to_the_list(client, lossy):
    answered = answer(client, lossy, loss_of(lossy).key, "Spill seen.")

    assert answered.status_code == 302
    assert answered["Location"].endswith(f"/bench/runs/{lossy.pk}/#findings")
    assert not loss_of(lossy).is_open


def test_refused_reason_stays_in_its_field(client, lossy):
    long_text = "x" * 401

    answered = answer(client, lossy, loss_of(lossy).key, long_text, hx_request="true")

    assert answered.status_code == REFUSED
    assert f'value="{long_text}"' in text_of(answered)
    assert "401 characters" in text_of(answered)


def test_reason_for_what_is_no_longer_found_is_given_back(client, lossy):
    answered = answer(client, lossy, "0" * 16, "Spill seen at the brush.", hx_request="true")

    assert answered.status_code == REFUSED
    assert "no longer found" in text_of(answered)
    assert "Spill seen at the brush." in text_of(answered)


def test_who_may_not_lift_a_stop_is_told_who_may(client, lossy):
    choose("loss-over-limit", Severity.STOP)

    page = text_of(client.get(reverse("bench:finding-list", args=[lossy.pk])))

    assert "The equipment keeper can lift this stop." in page
    assert "data-reason" not in page


def test_hand_over_leads_to_each_place_that_lacks_its_reason(client, lossy):
    typed = {"version": lossy.version, "deviations": "Pan changed."}

    refused = client.post(reverse("bench:run-submit", args=[lossy.pk]), typed)

    assert refused.status_code == REFUSED
    page = text_of(refused)
    assert '<a href="#cell-pan-0">Pan</a>' in page
    assert "Pan changed." in page


def test_customer_sees_the_run_without_its_findings(client, lossy):
    customer = factories.make_person(Role.CUSTOMER, customer=lossy.portion.sample.customer)
    client.force_login(customer)

    page = text_of(client.get(reverse("bench:run-weigh", args=[lossy.pk])))

    assert "finding__words" not in page


def test_reviewer_goes_through_what_was_found_and_said(client, lossy):
    factories.answer_findings(lossy, "Spill seen at the brush.")
    run = factories.hand_over(lossy)
    client.force_login(factories.reviewer())

    page = text_of(client.get(reverse("review:run-review", args=[run.pk])))

    assert "Spill seen at the brush." in page
    found = page[page.rindex("What the checks found") :].partition("<h2")[0]
    assert found.count("10 g are missing") == 1


def overdue_nest():
    overdue = factories.make_sieve(150, next_check_on=clock.today() - timedelta(days=1))
    return [*factories.make_sieves()[:-1], overdue]


def test_opening_form_asks_for_reasons_and_keeps_what_was_typed(client, technician):
    choose("equipment-unfit", Severity.REASON)
    portion, place = factories.make_portion(technician), factories.make_bench()
    serials = "\n".join(sieve.serial for sieve in overdue_nest())
    address = reverse("bench:run-open", args=[portion.label])
    typed = {"bench": place.pk, "sieves": serials}

    asked = client.post(address, typed)

    form = asked.context["form"]
    (name,) = form.reason_names
    assert asked.status_code == REFUSED
    assert "its check was due on" in form.fields[name].label
    assert serials in text_of(asked)

    about = name.replace("reason-", "about-")
    again = {**typed, name: "Keeper away.", about: form.fields[name].label, "no_pan": "on"}
    still = client.post(address, again)
    assert still.status_code == REFUSED
    assert "Keeper away." in text_of(still)
    assert "its check was due on" in text_of(still)

    del again["no_pan"]
    assert client.post(address, again).status_code == 302
    assert "Keeper away." in Run.objects.get().deviations


def test_checks_are_listed_with_what_came_of_them(client, lossy):
    factories.answer_findings(lossy, "Spill seen.")
    factories.hand_over(lossy)
    client.force_login(factories.make_person(Role.AUDITOR))

    shown = client.get(reverse("settings:check-list"))

    rows = {row.asked.rule.code: row for row in shown.context["rows"]}
    assert len(rows) == 25
    loss = rows["loss-over-limit"]
    assert (loss.runs, loss.answered, loss.lifted) == (1, 1, 0)
    assert "settings/checks/loss-over-limit" not in text_of(shown)


def test_a_check_is_set_on_its_page(client, technician):
    client.force_login(factories.quality_manager())
    address = reverse("settings:check-set", args=["tare-drift"])
    chosen = {
        "severity": "stop",
        "override": "reviewer",
        "drift_g": "0,3",
        "reason": "Fine balance.",
    }

    wrong = client.post(address, {**chosen, "reason": ""})
    kept = client.post(address, chosen)

    assert wrong.status_code == REFUSED
    assert kept.status_code == 302
    row = RunCheckPolicy.objects.get()
    assert (row.severity, row.override_role, row.limits) == ("stop", "reviewer", {"drift_g": "0.3"})


def test_a_check_that_leaves_no_choice_says_so_beside_it(client, technician):
    client.force_login(factories.quality_manager())
    address = reverse("settings:check-set", args=["claimed-twice"])

    refused = client.post(address, {"severity": "note", "override": "", "reason": "Less trouble."})

    assert refused.status_code == REFUSED
    assert "always a stop" in " ".join(refused.context["form"].errors["severity"])
    assert client.get(reverse("settings:check-set", args=["no-such"])).status_code == 404


def test_competence_is_recorded_and_withdrawn_on_its_page(client, technician):
    client.force_login(factories.quality_manager())
    procedure = factories.make_procedure().procedure
    typed = {
        "person": technician.pk,
        "procedure": procedure.pk,
        "valid_from": f"{clock.today():%Y-%m-%d}",
        "evidence": "Three observed runs.",
    }

    client.post(reverse("settings:competence-grant"), typed)
    row = Competence.objects.get()
    address = reverse("settings:competence-withdraw", args=[row.pk])
    client.post(address, {"reason": "Comparison round failed."})

    shown = text_of(client.get(reverse("settings:competence-list")))
    assert "Three observed runs." in shown
    assert "Comparison round failed." in shown
    assert Competence.objects.count() == 1


@pytest.mark.django_db
def test_who_handed_a_run_over_is_not_told_of_reviewing_it(client):
    run = factories.make_weighed_run()
    client.force_login(run.technician)

    page = client.get(reverse("bench:run-weigh", args=[run.pk])).content.decode()

    assert "and reviews it" not in page
