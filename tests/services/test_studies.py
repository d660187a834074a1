"""Studies: worked out from what is entered or recorded, kept, answered; nothing by halves."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import Check, LedgerEntry, Study, StudyFollowUp
from gradation.policy import Role
from gradation.queries.studies.asked import (
    BenchesAsked,
    BenchGroup,
    Cell,
    Estimate,
    Head,
    MethodsAsked,
    Pair,
    PrecisionAsked,
    RoundAsked,
    RoundResult,
    TypedGradation,
)
from gradation.queries.studies.own_figures import cells_of_runs, pairs_of_runs
from gradation.queries.studies.records import work_out
from gradation.queries.studies.tables import read_cells, read_gradation, read_pairs
from gradation.science.computing import compute
from gradation.services import studies
from tests import factories, tampering
from tests.curve_runs import masses_of

pytestmark = pytest.mark.django_db

HEAD = Head("Sand at 600 µm", "passing_600")
SIZES_UM = (Decimal(400), Decimal(200), Decimal(100))
ROUND = RoundAsked(own=Decimal("52.0"), assigned=Decimal("50.0"), deviation=Decimal("0.8"))


@pytest.fixture
def person():
    factories.make_laboratory()
    return factories.make_person(Role.QUALITY_MANAGER)


def cells(*rows, level="sand"):
    return tuple(
        Cell(name, level, tuple(Decimal(text) for text in results.split()))
        for name, results in zip("ABCDEFGH", rows, strict=False)
    )


TABLE = cells("41.2 41.6", "42.0 42.4", "41.8 41.4", "47.0 47.4")


def refused(person, asked, head=HEAD):
    with pytest.raises(Invalid) as refusal:
        studies.begin_study(actor=person, head=head, asked=asked)
    assert not Study.objects.exists()
    return {fault.field: fault.message for fault in refusal.value.faults}


def test_faulty_precision_tables_are_refused_beside_their_field_and_nothing_is_kept(person):
    few = refused(person, PrecisionAsked(TABLE[:2]))
    assert "2 participants; precision is judged among 3 or more" in few["table"]
    single = refused(person, PrecisionAsked((*TABLE[:3], *cells("47.0")[:0], Cell("D", "sand",
                     (Decimal(47),)))))  # fmt: skip
    assert "D has 1 result at sand" in single["table"]
    unequal = refused(person, PrecisionAsked(cells("1 2", "1 3", "2 3 4")))
    assert "Replicates are unequal at sand: 2 to 3" in unequal["allows_unequal"]
    flat = refused(person, PrecisionAsked(cells("5 5", "5 5", "5 5")))
    assert "without any spread" in flat["table"]
    assert "stands twice" in refused(person, PrecisionAsked((*TABLE, TABLE[0])))["table"]
    assert "title" in refused(person, PrecisionAsked(TABLE), Head(" ", "passing_600"))
    assert "which figure" in refused(person, PrecisionAsked(TABLE), Head("x", "colour"))["figure"]


def test_text_in_a_cell_is_told_with_line_and_cell():
    with pytest.raises(Invalid) as refusal:
        read_cells("participant;level;1;2\nA; sand; 41.2; about 41\nB; sand")
    messages = [fault.message for fault in refusal.value.faults]
    assert "Line 2: cell 4: “about 41” is not a number" in messages[0]
    assert "Line 3: 2 cells; write participant" in messages[1]
    assert read_cells("A\tsand\t41,2\t41,6")[0].results == (Decimal("41.2"), Decimal("41.6"))


def test_heading_line_is_passed_over_but_no_line_of_figures():
    text = "sample; first; second\n26-0001; 1.0; 2.0"
    assert [pair.sample for pair in read_pairs(text)] == ["26-0001"]
    assert len(read_pairs("sample 1; 1.0; 2.0")) == 1


def test_outlier_is_left_out_by_a_person_with_a_reason_and_comes_back(person):
    study = studies.begin_study(actor=person, head=HEAD, asked=PrecisionAsked(TABLE))
    before = study.figures["used"]["levels"][0]["precision"]["reproducibility_sd"]

    with pytest.raises(Invalid):
        studies.leave_out(actor=person, study=study, participant="D", level="sand", reason=" ")
    study = studies.leave_out(
        actor=person, study=study, participant="D", level="sand", reason="Sieve was torn."
    )

    used = study.figures["used"]["levels"][0]["precision"]
    assert used["laboratories"] == 3
    assert used["reproducibility_sd"] < before
    assert study.figures["entered"]["levels"][0]["precision"]["laboratories"] == 4
    assert study.inputs["left_out"][0]["reason"] == "Sieve was torn."
    assert compute(study.inputs["requests"]["used"]) == study.figures["used"]
    with pytest.raises(Invalid) as refusal:
        studies.leave_out(actor=person, study=study, participant="A", level="sand", reason="No.")
    assert refusal.value.field == "reason"
    study = studies.take_back(
        actor=person, study=study, participant="D", level="sand", reason="Sieve was whole."
    )
    assert study.inputs["left_out"] == []
    actions = list(LedgerEntry.objects.order_by("id").values_list("action", flat=True))
    assert actions[-3:] == ["study begun", "results left out", "results taken in again"]


def test_kept_study_is_never_changed(person):
    study = studies.begin_study(actor=person, head=HEAD, asked=PrecisionAsked(TABLE))
    study = studies.keep_study(actor=person, study=study)
    acts = (
        lambda: studies.keep_study(actor=person, study=study),
        lambda: studies.change_study(
            actor=person, study=study, head=HEAD, asked=PrecisionAsked(TABLE)
        ),
        lambda: studies.give_up_study(actor=person, study=study, reason="Wrong."),
        lambda: studies.leave_out(
            actor=person, study=study, participant="D", level="sand", reason="Late."
        ),
    )

    for act in acts:
        with pytest.raises(Conflict):
            act()

    assert not StudyFollowUp.objects.exists()
    assert study.number.endswith("-0001")


def test_draft_is_changed_and_given_up(person):
    study = studies.begin_study(actor=person, head=HEAD, asked=PrecisionAsked(TABLE))
    digest = study.inputs_digest

    study = studies.change_study(
        actor=person, study=study, head=replace(HEAD, title="Again"),
        asked=PrecisionAsked(TABLE[:3]),
    )  # fmt: skip
    assert (study.title, study.inputs_digest == digest) == ("Again", False)
    study = studies.give_up_study(actor=person, study=study, reason="Wrong material.")
    assert study.state == Study.State.GIVEN_UP


def test_technician_may_not_keep_studies(person):
    with pytest.raises(NotAllowed):
        studies.begin_study(actor=factories.technician(), head=HEAD, asked=PrecisionAsked(TABLE))


# z = (52.0 - 50.0) / 0.8 = 2.5; zeta = 2 / sqrt(0.4^2 + 0.1^2) = 4.851; En = zeta / 2 = 2.425
def test_bad_score_opens_a_follow_up_that_is_answered_once(person):
    study = factories.make_study()

    row = study.follow_up
    assert study.figures["own"]["zeta"]["score"] == pytest.approx(4.851, abs=0.001)
    assert study.figures["own"]["en"]["score"] == pytest.approx(2.425, abs=0.001)
    assert row.reasons.startswith("z is +2.50 (questionable)")
    assert "En is +2.43 (unsatisfactory)" in row.reasons
    with pytest.raises(Invalid) as refusal:
        studies.answer_follow_up(actor=person, follow_up=row, cause="", done=" ")
    assert {fault.field for fault in refusal.value.faults} == {"cause", "done"}
    row = studies.answer_follow_up(
        actor=person, follow_up=row, cause="Worn sieve.", done="Replaced it."
    )
    assert not row.is_open
    with pytest.raises(Conflict):
        studies.answer_follow_up(actor=person, follow_up=row, cause="Again.", done="Again.")


def test_z_of_exactly_two_is_satisfactory_and_still_answered(person):
    asked = replace(ROUND, own=Decimal("51.6"))

    study = studies.begin_study(actor=person, head=HEAD, asked=asked)

    assert study.figures["own"]["z"] == {"score": pytest.approx(2.0), "verdict": "satisfactory"}
    assert len(study.figures["signals"]) == 1
    good = work_out(person, HEAD, replace(ROUND, own=Decimal("51.5")))
    assert good.signals == ()


def test_uncertain_assigned_value_gives_z_prime(person):
    # u = 0.6 > 0.3 x 0.8, so z' = 2 / sqrt(0.8^2 + 0.6^2) = 2.0
    outcome = work_out(person, HEAD, replace(ROUND, u_assigned=Decimal("0.6")))

    assert outcome.figures["own"]["z_prime"]["score"] == pytest.approx(2.0)
    assert outcome.signals[0].startswith("z' is +2.00")


def test_faulty_rounds_are_refused_beside_their_field(person):
    results = tuple(RoundResult(f"L{i}", Decimal(50 + i)) for i in range(7))
    robust = replace(ROUND, assigned=None, deviation=None, estimate=Estimate.ALGORITHM_A)

    assert set(refused(person, RoundAsked(own=Decimal(5)))) == {"assigned", "deviation"}
    assert "too few" in refused(person, replace(robust, results=results[:3]))["results"]
    assert (
        "is not among"
        in refused(person, replace(robust, own=Decimal("9"), results=results))["results"]
    )
    assert "above 0" in refused(person, replace(ROUND, deviation=Decimal(0)))["deviation"]
    assert "above 0" in refused(person, replace(ROUND, u_own=Decimal(0)))["u_own"]


def pairs(*rows):
    return tuple(Pair(str(i), Decimal(a), Decimal(b)) for i, (a, b) in enumerate(rows))


def test_two_methods_three_points_and_no_spread_are_refused(person):
    valid = replace(HEAD, valid_for="Sand, 30 to 60 %")
    three = MethodsAsked(pairs((1, 2), (2, 3), (3, 5)), "dry", "wet")
    flat = MethodsAsked(pairs((1, 2), (1, 3), (1, 5), (1, 6), (1, 7)), "dry", "wet")

    assert "3 pairs are too few" in refused(person, three, valid)["pairs"]
    assert "All values of dry are equal" in refused(person, flat, valid)["pairs"]
    assert "never universal" in refused(person, flat)["valid_for"]
    exact = MethodsAsked(pairs((1, 3), (2, 5), (3, 7), (4, 9), (5, 11)), "dry", "wet")
    study = studies.begin_study(actor=person, head=valid, asked=exact)
    assert study.sentence.startswith("wet = 2.000 × dry + 1.00")


# -- benches ---------------------------------------------------------------------------------


@pytest.fixture
def sample():
    factories.make_laboratory()
    procedure = factories.make_procedure(SIZES_UM, passing_decimals=1)
    return factories.make_sample(material=factories.make_material(procedure=procedure))


def bench_run(sample, bench, sieves, passing_pct):
    run = factories.make_run(
        portion=factories.make_portion(sample=sample), bench=bench, sieves=sieves
    )
    factories.weigh(run, dry_mass_g="1000", masses_g=masses_of(passing_pct))
    return factories.hand_over(run)


def measured(sieves, sizes_um):
    """Let each sieve's aperture be measured a year ago."""
    for sieve, found_um in zip(sieves, sizes_um, strict=True):
        Check.objects.create(
            equipment=sieve, kind=Check.Kind.APERTURE, performed_on=date(2025, 1, 2),
            performed_by=factories.keeper(), passed=True, sentence="Measured.",
            found_aperture_um=found_um, recorded_at=factories.NOW,
        )  # fmt: skip


@pytest.fixture
def benches(sample):
    """Make two runs at each of two benches; the second's 200 µm sieve really opens to 210 µm."""
    groups = []
    for name, real, curves in (
        ("North", (400, 200, 100), ((90, 47.3, 10), (90, 47.5, 10))),
        ("South", (400, 210, 100), ((90, 49.9, 10), (90, 50.1, 10))),
    ):
        bench, sieves = factories.make_bench(name=name), factories.make_sieves(SIZES_UM)
        measured(sieves, real)
        runs = [bench_run(sample, bench, sieves, curve) for curve in curves]
        groups.append(BenchGroup("", tuple(run.pk for run in runs)))
    return BenchesAsked(*groups)


def test_difference_of_two_benches_is_taken_apart(person, benches):
    # 200 µm read at 210: (50 - 10) ln(210/200) / ln(210/100) = 2.63 points too much; the
    # difference of the means is 50.0 - 47.4 = 2.6; pooled s = 0.1414, t(2; 97.5 %) = 4.303:
    # division 4.303 x 0.1414 x sqrt(1/2 + 1/2) = 0.609
    study = studies.begin_study(actor=person, head=Head("North and South"), asked=benches)

    at_200 = study.figures["points"][1]
    assert at_200["difference_pct"] == pytest.approx(2.6)
    assert at_200["sieve_pct"] == pytest.approx(2.63, abs=0.005)
    assert at_200["rounding_pct"] == pytest.approx(0.0, abs=0.001)
    assert at_200["rest_pct"] == pytest.approx(-0.03, abs=0.005)
    assert at_200["division_pct"] == pytest.approx(0.609, abs=0.001)
    assert at_200["rest"] == "within division"
    assert study.inputs["first"]["name"] == "North"
    assert "South passes 2.60 points more than North at 200 µm" in study.sentence
    assert study.figures["shaking"]["comparable"] is None
    assert "and 1 more" in study.figures["shaking"]["reasons"][0]


def test_unmeasured_sieves_leave_the_difference_not_explained(person, benches):
    with tampering.guards_lifted():
        Check.objects.all().delete()

    at_200 = work_out(person, Head("x"), benches).figures["points"][1]

    assert at_200["sieve_pct"] is None
    assert at_200["rest"] == "not explained"


def test_other_laboratorys_report_is_compared_with_our_runs(person, benches):
    typed = tuple(
        TypedGradation(um, (Decimal(text),))
        for um, text in zip(SIZES_UM, ("90", "50", "10"), strict=True)
    )

    outcome = work_out(
        person, Head("x"), replace(benches, second=BenchGroup("Skerry", typed=typed))
    )

    assert outcome.figures["points"][1]["difference_pct"] == pytest.approx(50 - 47.4)
    assert outcome.figures["shaking"]["comparable"] is None


def test_measured_apertures_of_another_laboratory_explain_its_difference(person, benches):
    # As the two benches above: 200 µm read at 210 is (50 - 10) ln(210/200) / ln(210/100) = 2.63.
    typed = read_gradation("400 (400); 90; 90\n200 (210); 49,9; 50,1\n100 (100); 10; 10")

    outcome = work_out(
        person, Head("x"), replace(benches, second=BenchGroup("Skerry", typed=typed))
    )

    at_200 = outcome.figures["points"][1]
    assert at_200["sieve_pct"] == pytest.approx(2.63, abs=0.005)
    assert outcome.inputs["second"]["measured_um"] == [[400, 210, 100], [400, 210, 100]]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("200 (20,5); 50", "no measured aperture of a 200 µm sieve"),
        ("200 (wide); 50", "“wide” is not a number"),
        ("0 (1); 50", "an aperture lies above 0 µm"),
        ("200 (203); 101", "between 0 and 100 %"),
    ],
)
def test_measured_apertures_that_cannot_be_are_named_by_their_line(line, said):
    with pytest.raises(Invalid, match=said):
        read_gradation(line)


def test_faulty_benches_are_refused_beside_their_side(person, benches, sample):
    other = bench_run(
        factories.make_sample(material=sample.material), factories.make_bench(),
        factories.make_sieves(SIZES_UM), (90, 50, 10),
    )  # fmt: skip
    head = Head("x")

    same = refused(person, replace(benches, second=benches.first), head)
    assert "On both sides" in same["second_runs"]
    assert (
        "of one sample"
        in refused(person, replace(benches, second=BenchGroup("", (other.pk,))), head)[
            "second_runs"
        ]
    )
    assert (
        "There is no run"
        in refused(person, replace(benches, second=BenchGroup("", (999_999,))), head)["second_runs"]
    )
    assert "first_runs" in refused(person, replace(benches, first=BenchGroup("")), head)


def test_own_runs_become_cells_by_bench(person, benches, sample):
    found = cells_of_runs(person, [sample.number], "passing_200", "benches")

    by_name = {cell.participant: [float(v) for v in cell.results] for cell in found}
    assert by_name == {"North": [47.3, 47.5], "South": [49.9, 50.1]}
    assert all(len(cell.runs) == 2 for cell in found)
    with pytest.raises(Invalid):
        cells_of_runs(person, ["26-9999"], "passing_200", "benches")
    procedure = sample.procedure_version.procedure
    same = pairs_of_runs(person, sample.material_id, "passing_200", (procedure, procedure))
    assert [(float(p.first), float(p.second)) for p in same] == [(48.7, 48.7)]
