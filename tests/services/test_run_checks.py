"""The laboratory's choice for each check, and the answers: severity by stage by role."""

from datetime import timedelta
from decimal import Decimal

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import (
    Competence,
    Laboratory,
    LedgerEntry,
    Run,
    RunCheckAnswer,
    RunCheckFinding,
    RunCheckPolicy,
    Severity,
    Stage,
)
from gradation.policy import Role
from gradation.queries.run_checks import RULES, findings, rule_of
from gradation.services import (
    bench,
    clock,
    competence,
    laboratory,
    people,
    run_checks,
)
from tests import factories

NOTE, REASON, STOP = Severity.NOTE, Severity.REASON, Severity.STOP


def choose(code, severity, override=Role.QUALITY_MANAGER, **limits):
    rule = rule_of(code)
    usual = {limit.name: limit.usual for limit in rule.limits}
    return run_checks.set_check_policy(
        actor=factories.quality_manager(),
        code=code,
        choice=run_checks.Choice(severity, override, usual | limits),
        reason="Agreed in the yearly review.",
    )


@pytest.fixture
def lossy(technician):
    """Give a run all weighed, 2 % of it lost."""
    run = factories.make_run(technician)
    factories.weigh(run, dry_mass_g="510")
    return run


def loss_of(run):
    found = findings(Run.objects.get(pk=run.pk), Stage.HAND_OVER)
    return next(each for each in found if each.code == "loss-over-limit")


def test_there_are_25_checks_with_their_numbers_and_names_of_their_own(laboratory):
    assert [rule.number for rule in RULES] == list(range(1, 26))
    assert len({rule.code for rule in RULES}) == 25
    assert all(rule.title and rule.looks_at and rule.stages for rule in RULES)


@pytest.mark.parametrize(("severity", "passes"), [(NOTE, True), (REASON, False), (STOP, False)])
def test_hand_over_by_severity(lossy, severity, passes):
    choose("loss-over-limit", severity)

    if passes:
        assert bench.submit_run(actor=lossy.technician, run=lossy).state == "weighed"
        return
    with pytest.raises(Invalid) as refusal:
        bench.submit_run(actor=lossy.technician, run=lossy)
    (fault,) = refusal.value.faults
    assert (fault.field, fault.code) == ("pan-0", "loss-over-limit")


@pytest.mark.parametrize("role", [role for role in Role if role is not Role.CUSTOMER])
@pytest.mark.parametrize(
    ("severity", "answers"), [(REASON, Role.TECHNICIAN), (STOP, Role.SIGNATORY)]
)
def test_answer_by_severity_and_role(lossy, severity, answers, role):
    choose("loss-over-limit", severity, override=Role.SIGNATORY)
    actor, key = factories.make_person(role), loss_of(lossy).key

    def act():
        return run_checks.answer_finding(actor=actor, run=lossy, key=key, reason="Spill seen.")

    if role == answers:
        assert act().is_override == (severity == STOP)
        assert bench.submit_run(actor=lossy.technician, run=lossy).state == "weighed"
    else:
        with pytest.raises(NotAllowed) as refusal:
            act()
        assert refusal.value.code == "not-yours"
        assert not RunCheckAnswer.objects.exists()


def test_customer_answers_nothing(lossy):
    customer = factories.make_person(Role.CUSTOMER, customer=lossy.portion.sample.customer)

    with pytest.raises(NotAllowed):
        run_checks.answer_finding(
            actor=customer, run=lossy, key=loss_of(lossy).key, reason="Spill seen."
        )


def test_reason_stays_with_the_run_on_the_samples_chain(lossy):
    finding = loss_of(lossy)

    answer = run_checks.answer_finding(
        actor=lossy.technician, run=lossy, key=finding.key, reason="Spill seen."
    )

    entry = LedgerEntry.objects.get(action="finding answered")
    assert entry.chain == f"sample/{lossy.portion.sample.number}"
    assert entry.reason == "Spill seen."
    assert answer.sentence == finding.sentence
    assert not loss_of(lossy).is_open


def test_same_reason_again_is_the_answer_already_kept(lossy):
    told = {"actor": lossy.technician, "run": lossy, "key": loss_of(lossy).key}

    first = run_checks.answer_finding(**told, reason="Spill seen.")
    again = run_checks.answer_finding(**told, reason="Spill seen. ")
    other = run_checks.answer_finding(**told, reason="Spill seen at the brush.")

    assert first == again != other
    assert loss_of(lossy).answer == other


def test_a_changed_mass_asks_anew(lossy):
    factories.answer_findings(lossy, "Spill seen.")
    one = factories.reading("dry mass", "512")
    bench.correct_weighing(actor=lossy.technician, run=lossy, reading=one, reason="misread")

    with pytest.raises(Invalid, match="12 g are missing"):
        bench.submit_run(actor=lossy.technician, run=lossy)


def test_what_is_no_longer_found_is_not_answered(lossy):
    key = loss_of(lossy).key
    one = factories.reading("dry mass", "500")
    bench.correct_weighing(actor=lossy.technician, run=lossy, reading=one, reason="misread")

    with pytest.raises(Conflict, match="no longer found"):
        run_checks.answer_finding(actor=lossy.technician, run=lossy, key=key, reason="Spill.")


def test_an_answer_needs_its_words_and_an_open_run(lossy):
    key = loss_of(lossy).key
    with pytest.raises(Invalid, match="Say why"):
        run_checks.answer_finding(actor=lossy.technician, run=lossy, key=key, reason=" ")
    handed = factories.hand_over(lossy)

    with pytest.raises(Conflict, match="weighed"):
        run_checks.answer_finding(actor=lossy.technician, run=handed, key=key, reason="Late.")


def test_a_note_asks_for_nothing(lossy):
    choose("loss-over-limit", NOTE)

    with pytest.raises(Conflict, match="note"):
        run_checks.answer_finding(
            actor=lossy.technician, run=lossy, key=loss_of(lossy).key, reason="Spill."
        )


def test_a_reason_given_before_does_not_lift_a_stop(lossy):
    factories.answer_findings(lossy, "Spill seen.")
    choose("loss-over-limit", STOP)

    with pytest.raises(Invalid, match="Only the quality manager can lift"):
        bench.submit_run(actor=lossy.technician, run=lossy)


def test_everything_found_is_written_down_with_the_run(lossy):
    handed = factories.hand_over(lossy)

    rows = RunCheckFinding.objects.filter(run=handed, code="loss-over-limit")
    entry = LedgerEntry.objects.get(action="run handed over")
    assert [(row.stage, row.severity, row.place) for row in rows] == [
        ("hand-over", "reason", "pan-0")
    ]
    assert "14 loss-over-limit: reason" in entry.after["findings"]


def overdue_nest():
    overdue = factories.make_sieve(150, next_check_on=clock.today() - timedelta(days=1))
    return [*factories.make_sieves()[:-1], overdue]


def open_on(sieves, actor, portion=None, **told):
    setup = bench.Setup(factories.make_bench(), sieves, **told)
    return bench.open_run(
        actor=actor, portion=portion or factories.make_portion(factories.technician()), setup=setup
    )


@pytest.mark.parametrize(
    ("severity", "roles", "opens"),
    [
        (NOTE, [Role.TECHNICIAN], "at once"),
        (REASON, [Role.TECHNICIAN], "with a reason"),
        (STOP, [Role.TECHNICIAN], "never"),
        (STOP, [Role.TECHNICIAN, Role.REVIEWER], "never"),
        (STOP, [Role.TECHNICIAN, Role.EQUIPMENT_KEEPER], "with a reason"),
    ],
)
def test_opening_by_severity_and_role(laboratory, severity, roles, opens):
    choose("equipment-unfit", severity, override=Role.EQUIPMENT_KEEPER)
    actor, sieves = factories.make_person(*roles), overdue_nest()
    portion = factories.make_portion(factories.technician())
    if opens == "at once":
        run = open_on(sieves, actor, portion)
        assert sieves[-1].serial in run.deviations
        return
    with pytest.raises(Invalid) as refusal:
        open_on(sieves, actor, portion)
    (fault,) = refusal.value.faults
    assert fault.code == "equipment-unfit"
    assert fault.field.startswith("reason-") == (opens == "with a reason")

    key = fault.field.removeprefix("reason-")
    reasons = {key: "Checked by eye; the keeper is away."}
    if opens == "never":
        with pytest.raises(Invalid):
            open_on(sieves, actor, portion, reasons=reasons)
        return
    run = open_on(sieves, actor, portion, reasons=reasons)
    answer = run.check_answers.get()
    assert answer.is_override == (severity == STOP)
    assert "Checked by eye" in run.deviations


def test_opening_names_all_that_is_wrong_at_once(technician):
    sieves = overdue_nest()[::-1]

    with pytest.raises(Invalid) as refusal:
        open_on(sieves, technician, has_pan=False)

    codes = {fault.code for fault in refusal.value.faults}
    assert codes == {"equipment-unfit", "order-not-descending", "pan-missing"}
    assert not Run.objects.exists()


def test_a_portion_being_sieved_is_not_opened_again(technician):
    run = factories.make_run(technician)

    with pytest.raises(Conflict) as refusal:
        open_on(factories.make_sieves(), technician, run.portion)

    assert refusal.value.code == "claimed-twice"
    assert str(run) in refusal.value.message


def test_policy_of_old_follows_its_check_and_is_no_longer_set_elsewhere(laboratory):
    choose("equipment-unfit", NOTE, override=Role.EQUIPMENT_KEEPER)
    choose("own-run", REASON, override=None)

    kept = Laboratory.objects.get()
    assert (kept.overdue_sieve, kept.reviewer_must_differ) == ("warn", False)
    with pytest.raises(Conflict, match="among the checks"):
        _change(overdue_sieve="block")
    _change(balance_not_checked="block")


def _change(**changes):
    laboratory.change_laboratory(
        actor=people.system_account(), reason="one person on shift", **changes
    )


def test_a_choice_is_kept_with_what_was_before_and_why(laboratory):
    choose("tare-drift", STOP, override=Role.REVIEWER, drift_g=Decimal("0.2"))

    row = RunCheckPolicy.objects.get()
    entry = LedgerEntry.objects.get(action="check set")
    assert (row.severity, row.override_role, row.limits) == ("stop", "reviewer", {"drift_g": "0.2"})
    assert entry.before["severity"] == "reason"
    assert entry.before["limits"] == {"drift_g": "0.5"}
    assert entry.reason == "Agreed in the yearly review."


@pytest.mark.parametrize(
    ("code", "severity", "override", "limits", "field"),
    [
        ("claimed-twice", NOTE, None, {}, "severity"),
        ("claimed-twice", STOP, Role.REVIEWER, {}, "override"),
        ("loss-over-limit", STOP, Role.AUDITOR, {}, "override"),
        ("tare-drift", NOTE, None, {"drift_g": Decimal(0)}, "drift_g"),
    ],
)
def test_a_choice_that_the_check_does_not_leave_is_refused(
    laboratory, code, severity, override, limits, field
):
    with pytest.raises(Invalid) as refusal:
        choose(code, severity, override, **limits)

    assert refusal.value.field == field
    assert not RunCheckPolicy.objects.exists()


def test_a_choice_of_ones_own_figure_is_what_the_check_goes_by(technician):
    run = factories.make_run(technician)
    for increment in (1, 2, 3):
        one = factories.reading("fraction", "5", 1, increment=increment)
        with clock.at(clock.now().replace(second=1)):
            bench.record_weighing(actor=technician, run=run, reading=one)
    assert "impossible-time" not in {each.code for each in findings(run, Stage.HAND_OVER)}

    choose("impossible-time", REASON, readings_a_minute=Decimal(2))

    run = Run.objects.get(pk=run.pk)
    assert "impossible-time" in {each.code for each in findings(run, Stage.HAND_OVER)}


@pytest.mark.parametrize("role", [role for role in Role if role is not Role.QUALITY_MANAGER])
def test_only_quality_managers_set_checks_and_competence(laboratory, role):
    actor = factories.make_person(role)
    procedure = factories.make_procedure().procedure
    entry = Competence(
        person=factories.technician(), procedure=procedure, valid_from=clock.today(), evidence="x"
    )

    with pytest.raises(NotAllowed):
        run_checks.set_check_policy(
            actor=actor,
            code="loss-over-limit",
            choice=run_checks.Choice(NOTE, None),
            reason="easier",
        )
    with pytest.raises(NotAllowed):
        competence.grant_competence(actor=actor, competence=entry)


def granted(person, **values):
    filled = {
        "procedure": factories.make_procedure().procedure,
        "valid_from": clock.today(),
        "evidence": "Three observed runs.",
        **values,
    }
    return competence.grant_competence(
        actor=factories.quality_manager(), competence=Competence(person=person, **filled)
    )


def test_competence_is_withdrawn_once_and_stays_readable(technician):
    row = granted(technician)

    competence.withdraw_competence(
        actor=factories.quality_manager(), competence=row, reason="Round failed."
    )

    with pytest.raises(Conflict):
        competence.withdraw_competence(
            actor=factories.quality_manager(), competence=row, reason="Again."
        )
    actions = LedgerEntry.objects.filter(chain=f"user/{technician.pk}").values_list(
        "action", flat=True
    )
    assert list(actions)[-2:] == ["competence granted", "competence withdrawn"]


def test_competence_is_granted_to_who_tests_or_reviews_between_days_in_order(technician, reviewer):
    assert granted(reviewer).pk
    with pytest.raises(Invalid, match="neither technician nor reviewer"):
        granted(factories.keeper())
    with pytest.raises(Invalid, match="ends before"):
        granted(technician, valid_until=clock.today() - timedelta(days=1))


def test_r97_run_by_somebody_whose_competence_lapsed_is_stopped_or_lifted(technician):
    portion = factories.make_portion(technician)
    procedure = portion.sample.procedure_version.procedure
    granted(
        technician,
        procedure=procedure,
        valid_from=clock.today() - timedelta(days=400),
        valid_until=clock.today() - timedelta(days=35),
    )

    with pytest.raises(Invalid, match="lapsed after") as refusal:
        open_on(factories.make_sieves(), technician, portion)

    assert refusal.value.faults[0].code == "not-competent"


@pytest.mark.parametrize("severity", [NOTE, REASON, STOP])
def test_r97_review_without_competence_is_noted_reasoned_or_refused_by_policy(
    technician, reviewer, severity
):
    run = factories.make_weighed_run(technician)
    choose("reviewer-not-competent", severity, override=None)

    if severity == NOTE:
        assert factories.accept(run, reviewer).state == "accepted"
        return
    refusal = NotAllowed if severity == STOP else Invalid
    with pytest.raises(refusal, match="no competence for"):
        factories.accept(run, reviewer)
    run.refresh_from_db()
    assert run.state == "weighed"


def test_r97_review_with_competence_on_the_day_of_the_run_is_accepted(technician, reviewer):
    run = factories.make_weighed_run(technician)
    choose("reviewer-not-competent", STOP, override=None)
    for person in (technician, reviewer):
        granted(person, procedure=run.procedure_version.procedure)

    accepted = factories.accept(run, reviewer)

    assert accepted.state == "accepted"
    assert Competence.objects.filter(person=reviewer).get().valid_from <= accepted.opened_at.date()


@pytest.mark.parametrize(("severity", "accepts"), [(NOTE, True), (STOP, False)])
def test_own_review_by_its_check(laboratory, severity, accepts):
    both = factories.make_person(Role.TECHNICIAN, Role.REVIEWER)
    choose("own-run", severity, override=None)
    run = factories.make_weighed_run(both)

    if accepts:
        assert factories.accept(run, both, reason="Alone on shift.").state == "accepted"
    else:
        with pytest.raises(NotAllowed, match="Somebody else"):
            factories.accept(run, both)


def test_stop_that_came_in_another_way_is_returned_not_accepted(technician, reviewer):
    run = factories.make_weighed_run(technician)
    gained = factories.reading("dry mass after washing", "501")
    run.weighings.create(
        slot=gained.slot,
        mass_g=Decimal(501),
        entered_text="501",
        decimals=0,
        source="import",
        key=gained.key,
        made_at=clock.now(),
        made_by=technician,
    )

    with pytest.raises(Invalid, match="Return the run"):
        factories.accept(run, reviewer, reason="Looked through.")
