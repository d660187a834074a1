"""Runs recorded on paper: marked, scanned, typed, compared by a second person, then reviewed."""

import io
import json
import zipfile
from datetime import timedelta
from decimal import Decimal
from hashlib import sha256

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import ImpactAssessment, LedgerEntry, ReportForm, Run, Weighing
from gradation.policy import Role
from gradation.queries.impact_scope import touched_runs
from gradation.queries.paper import paper_of
from gradation.queries.review_risks import RiskKind, risks_of
from gradation.queries.run_checks import findings
from gradation.queries.trail import trail_of
from gradation.queries.verification import Scope, verify
from gradation.services import (
    audit_pack,
    balance_readings,
    bench,
    certify,
    clock,
    handling,
    review,
    transcribing,
)
from gradation.services.certificate_drafting import draft_content
from tests import factories, paper_runs, tampering
from tests.bench_steps import hand_over


@pytest.fixture
def second(laboratory):
    """Somebody who typed nothing."""
    return factories.make_person(Role.TECHNICIAN)


def marked(run, actor=None, content=paper_runs.PICTURE, name="sheet.png", **told):
    said = {"performed_on": clock.today(), "performed_by": run.technician, "reason": "Power cut."}
    return transcribing.mark_transcribed(
        actor=actor or run.technician,
        run=run,
        told=transcribing.OnPaper(**{**said, **told}),
        scan=transcribing.ScanGiven(name, content),
    )


def compared(run, actor, *, agrees=True, note=""):
    return transcribing.compare_with_paper(actor=actor, run=run, agrees=agrees, note=note)


def risks(run):
    read = Run.objects.select_related("portion__sample").get(pk=run.pk)
    return [risk.kind for risk in risks_of([read])[run.pk]]


def returned_and_corrected(run, reviewer, text="21"):
    review.return_run(actor=reviewer, run=run, reason="The pan reads otherwise on the paper.")
    one = factories.reading("pan", text)
    bench.correct_weighing(actor=run.technician, run=run, reading=one, reason="misread")
    return hand_over(Run.objects.get(pk=run.pk))


def test_r50_run_from_paper_is_marked_keeps_its_scan_and_every_reading_says_so(technician):
    run = paper_runs.make_typed_run(technician, reason="No network in the yard.")

    mark = run.transcription
    (scan,) = mark.scans.all()
    assert mark.reason == "No network in the yard."
    assert (scan.name, scan.media_type) == ("sheet.png", "image/png")
    assert scan.sha256 == sha256(paper_runs.PICTURE).hexdigest()
    assert bytes(scan.file) == paper_runs.PICTURE
    assert {row.source for row in run.weighings.all()} == {Weighing.Source.PAPER}


def test_r50_readings_of_other_runs_keep_their_source(technician):
    run = factories.make_weighed_run(technician)

    assert {row.source for row in run.weighings.all()} == {Weighing.Source.TYPED}
    assert paper_of(run) is None


def test_r50_no_run_is_marked_without_a_scan(technician):
    run = factories.make_run(technician)

    with pytest.raises(Invalid, match="empty") as refusal:
        marked(run, content=b"")
    assert refusal.value.faults[0].field == "file"
    with pytest.raises(Invalid, match="Only PDF, PNG, JPEG"):
        marked(run, content=b"\x00\x01")
    with pytest.raises(Invalid, match="Say why"):
        marked(run, reason=" ")
    assert paper_of(run) is None


def test_r50_a_run_is_marked_once_and_before_anything_is_weighed(technician):
    begun = factories.make_run(technician)
    factories.weigh(begun)
    once = paper_runs.make_paper_run(technician)

    with pytest.raises(Conflict) as weighed:
        marked(begun)
    with pytest.raises(Conflict) as twice:
        marked(once)

    assert (weighed.value.code, twice.value.code) == ("weighed-already", "on-paper-already")


def test_r50_only_technicians_mark_a_run(technician, reviewer):
    with pytest.raises(NotAllowed):
        marked(factories.make_run(technician), actor=reviewer)


def test_r50_day_of_the_work_lies_between_receipt_and_today(technician):
    with factories.at():
        run = factories.make_run(technician)  # its sample was received on 2 March 2026
    for day, code in (
        (factories.NOW.date() - timedelta(days=1), "before-receipt"),
        (factories.NOW.date() + timedelta(days=2), "in-future"),
    ):
        with factories.at(factories.NOW + timedelta(days=1)), pytest.raises(Invalid) as refusal:
            marked(run, performed_on=day)
        assert refusal.value.faults[0].code == code

    with factories.at(factories.NOW + timedelta(days=1)):
        assert marked(run, performed_on=factories.NOW.date()).performed_on == factories.NOW.date()


def test_r50_who_worked_belongs_to_the_laboratory(technician):
    run = factories.make_run(technician)
    stranger = factories.make_person(Role.CUSTOMER, customer=run.portion.sample.customer)

    with pytest.raises(Invalid) as refusal:
        marked(run, performed_by=stranger)

    assert refusal.value.faults[0].code == "not-of-the-laboratory"


def test_r50_further_page_is_kept_once(technician, reviewer, second):
    run = paper_runs.make_paper_run(technician)
    back = transcribing.ScanGiven("back.txt", b"pan 20.0 g")
    transcribing.add_scan(actor=technician, run=run, scan=back)

    with pytest.raises(Conflict, match=r"already, as back\.txt"):
        transcribing.add_scan(actor=technician, run=run, scan=back)
    with pytest.raises(Conflict) as other:
        transcribing.add_scan(actor=technician, run=factories.make_run(technician), scan=back)

    assert other.value.code == "not-on-paper"
    assert [scan.name for scan in paper_of(run).scans] == ["sheet.png", "back.txt"]


def test_r50_no_page_is_added_once_the_run_is_accepted(technician, reviewer, second):
    run = paper_runs.make_typed_run(technician)
    compared(run, second)
    factories.accept(run, reviewer)

    with pytest.raises(Conflict, match="its paper is complete"):
        transcribing.add_scan(
            actor=technician, run=run, scan=transcribing.ScanGiven("late.txt", b"more")
        )


def test_r50_reading_of_a_balance_is_no_reading_from_paper(technician, keeper):
    run = paper_runs.make_paper_run(technician)
    link = factories.make_balance_link(bench=run.bench)
    field = balance_readings.Field(run, Weighing.Slot.DRY_MASS)
    balance_readings.name_place(actor=technician, bench=run.bench, field=field)

    sent = factories.send_line(link, "500.0 g", actor=technician)

    assert (sent.outcome, sent.code) == ("waiting", "typed-from-paper")
    assert not run.weighings.exists()


def test_r50_r46_typing_from_paper_asks_for_no_reason_of_lateness_at_each_reading(technician):
    """Number 24 asks for one 12 h after the reading; here the mark has said it once for all."""
    run = paper_runs.make_paper_run(technician)
    factories.weigh(run)
    late = factories.reading("pan", "20.0", observed_at=clock.now() - timedelta(hours=13))
    bench.correct_weighing(actor=technician, run=run, reading=late, reason="a slip")

    found = findings(Run.objects.get(pk=run.pk), "hand over")

    assert "impossible-time" not in {each.code for each in found}


def test_r50_run_is_not_accepted_before_a_second_person_compared_it(technician, reviewer, second):
    run = paper_runs.make_typed_run(technician)

    with pytest.raises(Conflict, match="nobody has compared it") as refusal:
        factories.accept(run, reviewer)
    compared(run, second)
    accepted = factories.accept(run, reviewer)

    assert refusal.value.code == "paper-not-compared"
    assert accepted.state == Run.State.ACCEPTED


def test_r50_the_reviewer_may_be_the_second_person(technician, reviewer):
    run = paper_runs.make_typed_run(technician)

    compared(run, reviewer)

    assert factories.accept(run, reviewer).state == Run.State.ACCEPTED


def test_r50_who_typed_or_marked_compares_nothing(technician, second, laboratory):
    run = paper_runs.make_paper_run(technician)
    factories.weigh(run)
    one = factories.reading("pan", "20.0")
    bench.correct_weighing(actor=second, run=run, reading=one, reason="blot on the sheet")
    run = hand_over(run)

    for typist in (technician, second):
        with pytest.raises(NotAllowed) as refusal:
            compared(run, typist)
        assert refusal.value.code == "second-person"
    with pytest.raises(NotAllowed):
        compared(run, factories.make_person(Role.AUDITOR))


def test_r50_who_only_worked_on_paper_may_compare(technician, second):
    run = paper_runs.make_typed_run(technician, performed_by=second)

    assert compared(run, second).agrees


def test_r50_r45_who_worked_on_paper_does_not_review_it(technician):
    worker = factories.make_person(Role.TECHNICIAN, Role.REVIEWER)
    run = paper_runs.make_typed_run(technician, performed_by=worker)
    compared(run, worker)

    with pytest.raises(NotAllowed, match="Somebody else reviews it"):
        factories.accept(run, worker)


def test_r50_run_is_compared_once_it_is_handed_over(technician, second):
    run = paper_runs.make_paper_run(technician)

    with pytest.raises(Conflict, match="once it is handed over"):
        compared(run, second)
    with pytest.raises(Conflict) as refusal:
        compared(factories.make_weighed_run(technician), second)

    assert refusal.value.code == "not-on-paper"


def test_r50_difference_needs_a_note_and_keeps_the_run_from_acceptance(
    technician, reviewer, second
):
    run = paper_runs.make_typed_run(technician)

    with pytest.raises(Invalid, match="Say why"):
        compared(run, second, agrees=False)
    compared(run, second, agrees=False, note="The pan stands as 21.")

    with pytest.raises(Conflict, match=r"unlike the paper: The pan stands as 21\. Somebody"):
        factories.accept(run, reviewer)


def test_r50_correction_after_the_comparison_asks_for_another(technician, reviewer, second):
    run = paper_runs.make_typed_run(technician)
    compared(run, second)
    run = returned_and_corrected(run, reviewer, "20.0")  # even to the same mass

    with pytest.raises(Conflict, match="changed after"):
        factories.accept(run, reviewer)
    compared(run, second)

    assert [made.number for made in paper_of(run).comparisons] == [1, 2]
    assert factories.accept(run, reviewer, reason="Corrected, seen.").state == Run.State.ACCEPTED


def test_r50_run_returned_and_handed_over_unchanged_stays_compared(technician, reviewer, second):
    run = paper_runs.make_typed_run(technician)
    compared(run, second)
    review.return_run(actor=reviewer, run=run, reason="Is the nest the right one?")
    run = hand_over(Run.objects.get(pk=run.pk))

    assert paper_of(run).is_compared


@pytest.mark.parametrize("change", ["shaking", "handling", "page"])
def test_r50_whatever_else_stands_on_paper_is_compared_too(technician, reviewer, second, change):
    run = paper_runs.make_typed_run(technician)
    compared(run, second)
    review.return_run(actor=reviewer, run=run, reason="Look again.")
    run = Run.objects.get(pk=run.pk)

    if change == "shaking":
        factories.make_shaking(run, minutes=Decimal(12), note="As on the sheet.")
    elif change == "handling":
        handling.record_handling(actor=technician, run=run, handling=handling.Handling(aids="ball"))
    else:
        page = transcribing.ScanGiven("back.txt", b"pan 20.0 g")
        transcribing.add_scan(actor=technician, run=run, scan=page)

    assert not paper_of(run).is_current


def test_r50_run_not_compared_is_a_risk_and_is_not_accepted_with_others(
    technician, reviewer, second
):
    run = paper_runs.make_typed_run(technician)
    assert risks(run) == [RiskKind.PAPER]

    (answer,) = review.accept_runs(
        actor=reviewer, picked=[review.Picked(run, trail_of(run).newest)]
    )
    assert "Typed from paper" in answer.refusal
    compared(run, second)

    assert risks(run) == []
    picked = [review.Picked(Run.objects.get(pk=run.pk), trail_of(run).newest)]
    assert review.accept_runs(actor=reviewer, picked=picked)[0].refusal == ""


def test_r50_history_of_the_run_tells_of_mark_scan_and_comparison(technician, second):
    run = paper_runs.make_typed_run(technician)
    compared(run, second, agrees=False, note="The pan stands as 21.")

    told = {event.action: event for event in trail_of(run).events}

    mark = {change.name: change.after for change in told["readings come from paper"].changes}
    assert mark["worked by"] == str(technician)
    assert told["readings come from paper"].reason == "Power cut."
    kept = {change.name: change.after for change in told["scan of the paper kept"].changes}
    assert kept["digest of the file"] == sha256(paper_runs.PICTURE).hexdigest()
    assert told["differs from the paper"].reason == "The pan stands as 21."
    assert {told[act].kind for act in told if "paper" in act} == {"runs"}


def test_r50_risks_of_many_runs_from_paper_cost_as_many_queries_as_of_one(
    technician, django_assert_max_num_queries, django_assert_num_queries
):
    def read(keys):
        return list(Run.objects.filter(pk__in=keys).select_related("portion__sample"))

    keys = [paper_runs.make_typed_run(technician).pk for _ in range(3)]
    one, all_ = read(keys[:1]), read(keys)
    with django_assert_max_num_queries(40) as of_one:
        risks_of(one)
    with django_assert_num_queries(len(of_one)):
        risks_of(all_)


def test_r50_a_scan_that_was_exchanged_behind_the_ledger_is_found(technician):
    run = paper_runs.make_typed_run(technician)
    scan = run.transcription.scans.get()
    tampering.run("UPDATE gradation_scan SET file = %s WHERE id = %s", b"other", scan.pk)

    assert any(
        "sheet.png" in each.where and "not the file" in each.says
        for each in verify(Scope(sample=run.portion.sample), lambda *_: None)
    )


def test_r50_ledger_names_each_act_once(technician, second):
    run = paper_runs.make_typed_run(technician)
    compared(run, second)

    acts = LedgerEntry.objects.filter(
        subject_type__in=["transcription", "scan", "papercomparison"]
    ).order_by("id")

    assert list(acts.values_list("action", flat=True)) == [
        "readings come from paper",
        "scan of the paper kept",
        "agrees with the paper",
    ]


@pytest.fixture
def of_paper(technician, reviewer, second):
    """A run worked on paper by another person the day before it was typed, accepted."""
    worker = factories.make_person(Role.TECHNICIAN)
    with factories.at():
        sample = factories.make_sample(technician)
    with factories.at(factories.NOW + timedelta(days=1)):
        run = paper_runs.make_typed_run(
            technician, sample, performed_on=factories.NOW.date(), performed_by=worker
        )
        compared(run, second)
        return factories.accept(Run.objects.get(pk=run.pk), reviewer)


@pytest.mark.parametrize(
    ("language", "says"),
    [
        ("en", "typed from paper records of 2 Mar 2026 and compared with them by a second person"),
        ("de", "aus Papieraufzeichnungen vom 2. März 2026 übertragen"),
        ("fr", "saisies à partir d'enregistrements sur papier du 2 mars 2026"),
        ("es", "se transcribieron de registros en papel del 2 mar 2026"),
    ],
)
def test_r50_certificate_states_the_day_of_the_work_who_worked_and_the_paper(
    of_paper, signatory, language, says
):
    """ISO/IEC 17025:2017, 7.8.2.1 i: the day of performance, not that of typing, 3 March."""
    draft = certify.draft_certificate(
        actor=signatory,
        sample=of_paper.portion.sample,
        drafting=certify.Drafting(runs=[of_paper]),
    )
    form = ReportForm(name="Other", language=language)

    content = draft_content(draft, form)

    assert (content.tested_first, content.tested_last) == ("2026-03-02", "2026-03-02")
    (conditions,) = content.results[0].conditions
    assert (conditions.first_day, conditions.last_day) == ("2026-03-02", "2026-03-02")
    assert conditions.performed_by == of_paper.transcription.performed_by.full_name
    assert says in content.results[0].remarks[0]


def test_r50_certificate_of_a_run_not_from_paper_says_nothing_of_it(signatory):
    run = factories.make_accepted_run()
    draft = certify.draft_certificate(
        actor=signatory, sample=run.portion.sample, drafting=certify.Drafting(runs=[run])
    )

    assert draft_content(draft).results[0].remarks == ()


def test_r50_impact_counts_a_run_by_the_day_of_its_paper(of_paper, keeper):
    """Worked on 2 March, typed on 3 March: only what is looked into on the 2nd reaches it."""
    sieve = of_paper.places.first().sieve
    day = factories.NOW.date()

    def touched(first, last):
        found = ImpactAssessment(equipment=sieve, period_from=first, period_to=last)
        return list(touched_runs(found))

    assert touched(day, day) == [of_paper]
    assert touched(day + timedelta(days=1), day + timedelta(days=9)) == []


def test_r50_r93_audit_pack_holds_the_scan(of_paper, signatory):
    draft = certify.draft_certificate(
        actor=signatory,
        sample=of_paper.portion.sample,
        drafting=certify.Drafting(runs=[of_paper]),
    )
    issued = certify.issue_certificate(
        actor=signatory, certificate=draft, password=factories.PASSWORD
    )

    pack = audit_pack.pack_certificate(
        actor=factories.make_person(Role.AUDITOR), certificate=issued
    )

    with zipfile.ZipFile(io.BytesIO(pack.content)) as archive:
        record = json.loads(archive.read("record.json"))
        (row,) = record["scans"]
        assert archive.read(f"scans/{row['id']}.png") == paper_runs.PICTURE
    assert row["sha256"] == sha256(paper_runs.PICTURE).hexdigest()
    assert [each["agrees"] for each in record["comparisons_with_paper"]] == [True]
    assert record["transcriptions"][0]["performed_on"] == "2026-03-02"
