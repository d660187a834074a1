"""Impact assessments: who opens, decides and closes them, and what is refused."""

from datetime import timedelta
from decimal import Decimal

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import (
    Certificate,
    Check,
    Equipment,
    ImpactAssessment,
    ImpactDecision,
    LedgerEntry,
)
from gradation.policy import Role
from gradation.queries.impact import touched, touched_certificates
from gradation.services import certify, clock, impact
from gradation.services.impact_content import impact_content
from tests import factories

NOW = factories.NOW


@pytest.fixture
def manager(laboratory):
    return factories.make_person(Role.QUALITY_MANAGER)


@pytest.fixture
def sieve(laboratory):
    return factories.make_sieve(600)


def make_check(item, *, days_ago, passed=True, kind=Check.Kind.APERTURE, **values):
    """Put a check on record as it would have been made so many days ago."""
    filled = {"sentence": "Judged.", "performed_by": factories.keeper(), "recorded_at": NOW}
    return Check.objects.create(
        equipment=Equipment.objects.get(pk=item.pk),
        kind=kind,
        passed=passed,
        performed_on=NOW.date() - timedelta(days=days_ago),
        **{**filled, **values},
    )


def open_on(actor, item, **values):
    with clock.at(NOW):
        return impact.open_assessment(
            actor=actor, equipment=item, **{"reason": "Found torn.", **values}
        )


def test_r75_period_runs_from_the_last_good_measurement_to_today(manager, sieve):
    make_check(sieve, days_ago=90)
    good = make_check(sieve, days_ago=30)
    make_check(sieve, days_ago=10, kind=Check.Kind.VISUAL)
    failed = make_check(sieve, days_ago=2, passed=False, found_aperture_um=Decimal("622.5"))

    opened = open_on(manager, sieve, failed_check=failed)

    # A look ten days ago told nothing of the apertures.
    assert opened.last_good_check == good
    assert opened.period_from == NOW.date() - timedelta(days=30)
    assert opened.period_to == NOW.date()
    assert opened.found_aperture_um == Decimal("622.50")


def test_torn_cloth_was_whole_when_any_check_was_passed(manager, sieve):
    make_check(sieve, days_ago=30)
    look = make_check(sieve, days_ago=10, kind=Check.Kind.VISUAL)
    failed = make_check(sieve, days_ago=0, passed=False, kind=Check.Kind.VISUAL)

    assert open_on(manager, sieve, failed_check=failed).last_good_check == look


def test_good_check_of_the_same_day_counts_only_when_made_before(manager, sieve):
    failed = make_check(sieve, days_ago=2, passed=False)
    make_check(sieve, days_ago=2)

    assert open_on(manager, sieve, failed_check=failed).last_good_check is None


def test_without_a_good_check_the_period_begins_before_first_use(manager):
    run = factories.make_run()
    item = run.places.first().sieve

    opened = impact.open_assessment(actor=manager, equipment=item, reason="Found torn.")

    assert opened.period_from < run.opened_at.date()
    assert touched(opened).run_count == 1


def test_item_that_was_never_used_and_never_checked_can_be_assessed(manager, sieve):
    opened = open_on(manager, sieve)

    assert opened.period_from == opened.period_to == NOW.date()


def test_keeper_opens_and_technician_does_not(laboratory, sieve, technician):
    assert open_on(factories.keeper(), sieve).state == ImpactAssessment.State.OPEN
    with pytest.raises(NotAllowed):
        open_on(technician, sieve)


def test_failed_check_is_assessed_once(manager, sieve):
    failed = make_check(sieve, days_ago=0, passed=False)
    open_on(manager, sieve, failed_check=failed)

    with pytest.raises(Conflict, match="assessed already"):
        open_on(manager, sieve, failed_check=failed)


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"found_error_pct": Decimal(1)}, "found_error_pct"),
        ({"found_aperture_um": Decimal(0)}, "found_aperture_um"),
        ({"period_to": NOW.date() + timedelta(days=1)}, "period_to"),
        (
            {"period_from": NOW.date(), "period_to": NOW.date() - timedelta(days=1)},
            "period_from",
        ),
        ({"reason": "  "}, "reason"),
    ],
)
def test_what_does_not_go_with_a_sieve_is_refused(manager, sieve, values, field):
    with pytest.raises(Invalid) as refused:
        open_on(manager, sieve, **values)

    assert refused.value.field == field
    assert not ImpactAssessment.objects.exists()


def test_item_and_person_need_an_assessment_each(manager, sieve, technician):
    with pytest.raises(Invalid, match="either"):
        open_on(manager, sieve, person=technician)
    with pytest.raises(Invalid, match="either"):
        open_on(manager, None)


def test_passed_check_or_another_items_check_is_refused(manager, sieve):
    passed = make_check(sieve, days_ago=0)
    others = make_check(factories.make_sieve(300), days_ago=0, passed=False)

    for check in (passed, others):
        with pytest.raises(Invalid) as refused:
            open_on(manager, sieve, failed_check=check)
        assert refused.value.field == "failed_check"


def chain_entries(chain):
    return list(
        LedgerEntry.objects.filter(chain=chain, subject_type__startswith="impact").values_list(
            "action", flat=True
        )
    )


def test_ledger_tells_it_in_the_items_chain_and_a_persons_in_its_own(manager, sieve, technician):
    open_on(manager, sieve)
    with clock.at(NOW):
        of_person = impact.open_assessment(
            actor=manager, person=technician, reason="Training had lapsed."
        )

    assert chain_entries(f"equipment/{sieve.serial}") == ["impact assessment opened"]
    assert chain_entries(f"impact/{of_person.pk}") == ["impact assessment opened"]


@pytest.fixture
def case(manager):
    """A certificate issued on a run, and an open assessment of one of its sieves."""
    certificate = factories.make_certificate()
    item = certificate.runs.get().places.first().sieve
    opened = impact.open_assessment(actor=manager, equipment=item, reason="Found torn.")
    return opened, certificate


def decide(actor, case, **values):
    opened, certificate = case
    filled = {"verdict": "stands", "reason": "The limit is far away.", **values}
    return impact.decide(actor=actor, assessment=opened, **{"certificate": certificate, **filled})


def test_close_waits_for_a_decision_on_every_certificate(manager, case):
    opened, certificate = case
    with pytest.raises(Conflict, match=certificate.number):
        impact.close_assessment(actor=manager, assessment=opened, conclusion="No effect.")

    decide(manager, case)
    closed = impact.close_assessment(actor=manager, assessment=opened, conclusion="No effect.")

    assert (closed.state, closed.closed_by) == (ImpactAssessment.State.CLOSED, manager)
    serial = opened.equipment.serial
    assert chain_entries(f"equipment/{serial}")[-2:] == [
        "certificate decided on",
        "impact assessment closed",
    ]


def test_only_the_quality_manager_decides_and_closes(manager, case):
    opened, _ = case
    keeper = factories.keeper()

    with pytest.raises(NotAllowed):
        decide(keeper, case)
    decide(manager, case)
    with pytest.raises(NotAllowed):
        impact.close_assessment(actor=keeper, assessment=opened, conclusion="No effect.")
    assert impact.close_assessment(actor=manager, assessment=opened, conclusion="No effect.")


def test_close_needs_a_conclusion(manager, case):
    opened, _ = case
    decide(manager, case)

    with pytest.raises(Invalid, match="no effect"):
        impact.close_assessment(actor=manager, assessment=opened, conclusion=" ")


def test_closed_assessment_takes_no_decision_and_is_not_closed_again(manager, case):
    opened, _ = case
    decide(manager, case)
    impact.close_assessment(actor=manager, assessment=opened, conclusion="No effect.")

    with pytest.raises(Conflict, match="closed"):
        decide(manager, case, verdict="withdraw")
    with pytest.raises(Conflict, match="closed"):
        impact.close_assessment(actor=manager, assessment=opened, conclusion="Again.")


def test_later_decision_counts_and_the_earlier_stays_on_record(manager, case):
    opened, _ = case
    decide(manager, case)
    decide(manager, case, verdict="retest", reason="The customer asked.")

    (row,) = touched_certificates(opened)

    assert row.decision.verdict == ImpactDecision.Verdict.RETEST
    assert opened.decisions.count() == 2


def test_certificate_without_a_touched_run_and_unknown_verdict_are_refused(manager, case):
    with pytest.raises(Invalid) as refused:
        decide(manager, case, certificate=factories.make_certificate())
    assert refused.value.field == "certificate"

    with pytest.raises(Invalid) as refused:
        decide(manager, case, verdict="fine")
    assert refused.value.field == "verdict"


def test_a_withdrawn_certificate_cannot_be_said_to_stand(manager, case):
    certify.withdraw_certificate(
        actor=factories.signatory(),
        certificate=case[1],
        reason="A sieve was torn.",
        password=factories.PASSWORD,
    )

    with pytest.raises(Invalid, match="is withdrawn, so it cannot stand"):
        decide(manager, case)
    assert decide(manager, case, verdict="withdraw").pk


def test_draft_needs_no_decision_and_takes_none(manager):
    run = factories.make_accepted_run()
    draft = certify.draft_certificate(
        actor=factories.signatory(),
        sample=run.portion.sample,
        drafting=certify.Drafting(runs=[run]),
    )
    item = run.places.first().sieve
    opened = impact.open_assessment(actor=manager, equipment=item, reason="Found torn.")

    with pytest.raises(Invalid, match="never issued"):
        decide(manager, (opened, draft))
    assert impact.close_assessment(actor=manager, assessment=opened, conclusion="Held back.")


def amend(certificate, runs):
    actor = factories.signatory()
    draft = certify.amend_certificate(
        actor=actor,
        certificate=certificate,
        drafting=certify.Drafting(runs=runs),
        reason="A sieve was out of tolerance.",
    )
    return certify.issue_certificate(actor=actor, certificate=draft, password=factories.PASSWORD)


def test_decision_shows_the_amendment_made_afterwards(manager, case):
    opened, certificate = case
    decide(manager, case, verdict="amend", reason="The point moves by 2 %.")
    again = factories.make_accepted_run(sample=certificate.sample)  # on other sieves

    amendment = amend(certificate, [again])

    (row,) = touched_certificates(opened)
    assert (row.decision.verdict, row.amended_by) == ("amend", amendment.number)
    assert row.state == Certificate.State.SUPERSEDED
    content = impact_content(touched(opened), manager)
    assert content.certificates[0].amended_by == amendment.number
    assert impact.close_assessment(actor=manager, assessment=opened, conclusion="Amended.")


def test_amending_without_deciding_does_not_open_a_way_round(manager, case):
    opened, certificate = case
    again = factories.make_accepted_run(sample=certificate.sample)
    amend(certificate, [again])

    with pytest.raises(Conflict, match=certificate.number):
        impact.close_assessment(actor=manager, assessment=opened, conclusion="Amended.")


def test_certificate_replaced_before_the_assessment_needs_no_decision(manager):
    certificate = factories.make_certificate()
    item = certificate.runs.get().places.first().sieve
    amend(certificate, [factories.make_accepted_run(sample=certificate.sample)])

    opened = impact.open_assessment(actor=manager, equipment=item, reason="Found torn.")

    (row,) = touched_certificates(opened)
    assert (row.state, row.needs_decision) == ("superseded", False)
    assert impact.close_assessment(actor=manager, assessment=opened, conclusion="Replaced.")
