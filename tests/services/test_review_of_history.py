"""Review: the history is gone through first, risks are listed, only clean runs go together."""

from datetime import timedelta

import pytest

from gradation.errors import Conflict, NotAllowed
from gradation.models import LedgerEntry, Run, TrailReview
from gradation.policy import Role
from gradation.queries.review_risks import RiskKind, refused_signatures, risks_of
from gradation.queries.trail import trail_of
from gradation.services import bench, certify, clock, identity, intake, review
from tests import factories
from tests.bench_steps import hand_over
from tests.factories import PASSWORD


def kinds(run):
    run = Run.objects.select_related("portion__sample").get(pk=run.pk)
    return [risk.kind for risk in risks_of([run])[run.pk]]


def corrected(run, technician, reviewer):
    """Return a weighed run, correct its pan and hand it over again."""
    review.return_run(actor=reviewer, run=run, reason="pan looks misread")
    one = factories.reading("pan", "20.0")
    bench.correct_weighing(actor=technician, run=run, reading=one, reason="weighed again")
    return hand_over(Run.objects.get(pk=run.pk))


def change_sample(run, **values):
    sample = run.portion.sample
    delivery = intake.Delivery(
        customer=sample.customer,
        material=sample.material,
        condition=sample.condition,
        received_at=sample.received_at,
        **values,
    )
    intake.change_sample(
        actor=factories.technician(), sample=sample, delivery=delivery, reason="lot was missing"
    )


def test_r57_a_run_is_not_accepted_before_its_history_was_gone_through(technician, reviewer):
    run = factories.make_weighed_run(technician)

    with pytest.raises(Conflict, match="Go through the history") as refusal:
        review.accept_run(actor=reviewer, run=run)
    assert refusal.value.code == "trail-not-seen"

    accepted = review.accept_run(actor=reviewer, run=run, seen=trail_of(run).newest)

    assert accepted.state == Run.State.ACCEPTED
    look = TrailReview.objects.get(run=run)
    assert (look.reviewer, look.entries) == (reviewer, len(trail_of(run).entries) - 1)
    actions = LedgerEntry.objects.order_by("-id").values_list("action", flat=True)[:2]
    assert list(actions) == ["run accepted", "history looked through"]


def test_r57_what_was_written_after_the_page_was_opened_is_not_accepted_unseen(
    technician, reviewer
):
    run = factories.make_weighed_run(technician)
    shown = trail_of(run).newest
    change_sample(run, lot="7")

    with pytest.raises(Conflict, match="sample changed") as refusal:
        review.accept_run(actor=reviewer, run=run, seen=shown)

    assert refusal.value.code == "trail-moved"


def test_r57_somebody_elses_look_does_not_count_for_the_one_who_accepts(technician, reviewer):
    run = factories.make_weighed_run(technician)
    review.look_through_trail(actor=factories.reviewer(), run=run)

    with pytest.raises(Conflict, match="Go through the history"):
        review.accept_run(actor=reviewer, run=run)


def test_r57_an_event_after_review_holds_the_certificate_until_somebody_looked_again(
    technician, reviewer, signatory
):
    run = factories.make_accepted_run(technician)
    draft = certify.draft_certificate(
        actor=signatory, sample=run.portion.sample, drafting=certify.Drafting(runs=[run])
    )
    change_sample(run, lot="7")

    with pytest.raises(Conflict, match="since its review") as refusal:
        certify.issue_certificate(actor=signatory, certificate=draft, password=PASSWORD)
    assert refusal.value.code == "review-stale"
    review.look_through_trail(actor=reviewer, run=run, note="Only the lot was added.")

    issued = certify.issue_certificate(actor=signatory, certificate=draft, password=PASSWORD)

    assert issued.state == "issued"


def test_technician_does_not_go_through_the_history_of_an_own_run(laboratory):
    both = factories.make_person(Role.TECHNICIAN, Role.REVIEWER)
    run = factories.make_weighed_run(both)

    with pytest.raises(NotAllowed, match="Somebody else"):
        review.look_through_trail(actor=both, run=run)


def test_r58_clean_run_has_no_risks(technician):
    assert kinds(factories.make_weighed_run(technician)) == []


def test_r58_correction_after_the_result_was_known_and_the_return_are_listed(technician, reviewer):
    run = corrected(factories.make_weighed_run(technician), technician, reviewer)

    assert kinds(run) == [RiskKind.AFTER_RESULT, RiskKind.RETURNED]


def test_r58_correction_at_the_bench_is_listed_as_such(technician):
    run = factories.make_run(technician)
    factories.weigh(run)
    one = factories.reading("pan", "20.0")
    bench.correct_weighing(actor=technician, run=run, reading=one, reason="weighed again")

    assert kinds(hand_over(run)) == [RiskKind.CORRECTION]


def test_r46_r58_late_entry_is_listed(technician):
    run = factories.make_run(technician)
    factories.weigh(run)
    one = factories.reading("pan", "20.0", observed_at=clock.now() - timedelta(hours=13))
    bench.correct_weighing(actor=technician, run=run, reading=one, reason="from the paper sheet")

    assert RiskKind.LATE in kinds(hand_over(run))


def test_r58_repeat_and_deviation_are_listed(technician, reviewer):
    first = factories.make_run(technician)
    sieves = [place.sieve for place in first.places.select_related("sieve")]
    review.invalidate_run(actor=reviewer, run=first, reason="sieve fell")
    run = factories.make_run(technician, portion=first.portion, sieves=sieves)
    factories.weigh(run)

    run = hand_over(run, hand_over=bench.HandOver(deviations="Lid was missing."))

    assert kinds(run) == [RiskKind.DEVIATION, RiskKind.REPEAT]


def test_r58_lost_mass_is_listed_with_what_the_bench_said(technician):
    run = factories.make_weighed_run(technician, dry_mass_g="510")  # 10 of 510 g missing

    found = risks_of([Run.objects.select_related("portion__sample").get(pk=run.pk)])[run.pk]

    (loss,) = [risk for risk in found if risk.kind == RiskKind.FLAG]
    assert "1.96" in loss.sentence  # 100 * 10 / 510 = 1.96
    assert loss.said


def test_several_runs_are_accepted_at_once_only_where_each_is_clean(technician, reviewer):
    clean = factories.make_weighed_run(technician)
    lossy = factories.make_weighed_run(technician, dry_mass_g="510")
    moved = factories.make_weighed_run(technician)
    picked = [review.Picked(run, trail_of(run).newest) for run in (clean, lossy, moved)]
    change_sample(moved, lot="7")

    answers = review.accept_runs(actor=reviewer, picked=picked)

    said = {answer.run.pk: answer.refusal for answer in answers}
    assert said[clean.pk] == ""
    assert "1.96" in said[lossy.pk]  # 100 * 10 / 510: the loss, in words
    assert "sample changed" in said[moved.pk]
    states = Run.objects.order_by("id").values_list("state", flat=True)
    assert list(states) == ["accepted", "weighed", "weighed"]


def test_risks_of_many_runs_cost_no_more_queries(technician, django_assert_max_num_queries):
    for _ in range(3):
        factories.make_weighed_run(technician)
    runs = list(Run.objects.select_related("portion__sample"))

    with django_assert_max_num_queries(7):
        risks_of(runs)


def test_returned_run_stands_on_the_work_queue_of_its_bench(technician, reviewer):
    from gradation.queries.work_queue import work_queue

    run = factories.make_weighed_run(technician)
    review.return_run(actor=reviewer, run=run, reason="dry mass looks misread")

    queue = work_queue(technician, run.bench, clock.now(), clock.today())

    assert [task.run.state_reason for task in queue.returned] == ["dry mass looks misread"]


def test_r58_refused_signature_is_listed_a_clean_record_lists_none(signatory):
    assert refused_signatures(clock.now()) == []
    with pytest.raises(NotAllowed):
        identity.confirm_identity(actor=signatory, password="not mine")

    (entry,) = refused_signatures(clock.now())

    assert entry.actor == signatory
