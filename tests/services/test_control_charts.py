"""Control charts kept: opened, frozen, looked at, answered; and what is refused."""

from datetime import date, timedelta

import pytest
from django.core.management import call_command

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import ChartNote, ControlChart, FrozenLimits, LedgerEntry, Run
from gradation.policy import Role
from gradation.services import control_charts as service
from tests import factories
from tests.many_runs import FIRST, make_series, pattern_of

KEY = "passing_600"
DAY = FIRST.date()
LONG_AGO = date(2020, 1, 1)
#: By turns 40 and 41: mean 40.5, moving ranges 1, sigma 1 / 1.128379 = 0.8862.
QUIET = [40, 41] * 10
FAR = 50


@pytest.fixture
def manager(laboratory):
    return factories.quality_manager()


@pytest.fixture
def material(laboratory):
    return factories.make_material(factories.make_procedure())


@pytest.fixture
def pattern(material):
    run = pattern_of(material)
    run.figures.all().delete()
    return run


def chart_of(material, **more):
    filled = {
        "name": "Sand, 600 µm",
        "characteristic": KEY,
        "rules": ControlChart.Rules.THREE_SIGMA,
        "answers_from": LONG_AGO,
        **more,
    }
    return ControlChart(material=material, **filled)


def opened(manager, material, **more):
    return service.open_chart(actor=manager, chart=chart_of(material, **more))


def frozen(manager, chart, **more):
    period = service.BasePeriod(DAY, DAY + timedelta(days=1), **more)
    return service.freeze_limits(
        actor=manager, chart=chart, period=period, reason="A year without a fault."
    )


def actions(chart):
    chain = f"controlchart/{chart.pk}"
    return list(LedgerEntry.objects.filter(chain=chain).values_list("action", flat=True))


def test_chart_opened_over_a_past_notes_what_was_out_of_control(manager, material, pattern):
    runs = make_series(pattern, {KEY: [*QUIET, FAR]})

    chart = opened(manager, material)

    assert [note.run_id for note in chart.notes.all()] == [runs[-1].pk]
    assert set(actions(chart)) == {"control chart opened", "point to be answered"}


def test_points_before_the_day_named_open_no_note(manager, material, pattern):
    make_series(pattern, {KEY: [*QUIET, FAR]})

    chart = opened(manager, material, answers_from=DAY + timedelta(days=2))

    assert chart.notes.count() == 0


def test_chart_that_would_ask_too_many_answers_is_refused_whole(manager, material, pattern):
    make_series(pattern, {KEY: [*QUIET * 40, *[FAR, -FAR] * 60]})

    with pytest.raises(Invalid, match="Choose a later day") as refused:
        opened(manager, material)

    assert refused.value.field == "answers_from"
    assert not ControlChart.objects.exists()
    assert not ChartNote.objects.exists()


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"characteristic": "luck"}, "characteristic"),
        ({"material": None}, "material"),
        ({"subgroup_size": 26}, ""),
        ({"weight": "1.5"}, ""),
    ],
)
def test_chart_that_cannot_be_is_refused(manager, material, changes, field):
    chart = chart_of(material)
    for name, value in changes.items():
        setattr(chart, name, value)

    with pytest.raises(Invalid) as refused:
        service.open_chart(actor=manager, chart=chart)

    assert refused.value.field == field


def test_second_chart_of_a_name_is_refused(manager, material):
    opened(manager, material)

    with pytest.raises(Invalid):
        opened(manager, material)


def test_limits_frozen_are_those_of_the_base_period_alone(manager, material, pattern):
    """Mean 40.5 and sigma 1 / d2(2) from the base; the later level does not move them.

    d2 = 1.128379 (2 / sqrt(pi)), limits 40.5 -+ 2.6587 (NIST/SEMATECH e-Handbook 6.3.2.2).
    """
    make_series(pattern, {KEY: QUIET})
    make_series(pattern, {KEY: [60] * 20}, first=FIRST + timedelta(days=30))
    chart = opened(manager, material, answers_from=date(2100, 1, 1))

    limits = frozen(manager, chart)

    assert limits.centre == 40.5
    assert limits.sigma == pytest.approx(1 / 1.128379, abs=1e-6)
    assert (limits.lower, limits.upper) == pytest.approx((37.8413, 43.1587), abs=1e-4)
    assert (limits.base_points, limits.frozen_by) == (20, manager)
    assert actions(chart) == ["control chart opened", "limits frozen"]


def test_runs_not_accepted_make_no_limits(manager, material, pattern):
    runs = make_series(pattern, {KEY: [*QUIET, 90]})
    Run.objects.filter(pk=runs[-1].pk).update(state="weighed")
    chart = opened(manager, material, answers_from=date(2100, 1, 1))

    assert frozen(manager, chart).base_points == 20


def test_limits_frozen_anew_end_the_former(manager, material, pattern):
    make_series(pattern, {KEY: QUIET})
    chart = opened(manager, material)
    former = frozen(manager, chart)

    latter = frozen(manager, chart)

    former.refresh_from_db()
    assert former.ended_by == manager
    assert list(FrozenLimits.objects.filter(ended_at=None)) == [latter]
    assert actions(chart)[-2:] == ["limits ended", "limits frozen"]


def test_limits_that_end_leave_the_points_to_make_their_own(manager, material, pattern):
    make_series(pattern, {KEY: QUIET})
    chart = opened(manager, material)
    frozen(manager, chart)

    service.release_limits(actor=manager, chart=chart, reason="New box of sand.")

    assert not FrozenLimits.objects.filter(ended_at=None).exists()
    with pytest.raises(Conflict, match="no frozen limits"):
        service.release_limits(actor=manager, chart=chart, reason="Again.")


@pytest.mark.parametrize(
    ("values", "days", "field"),
    [
        (QUIET, (1, 0), "base_from"),
        (QUIET, (0, 4000), "base_to"),
        (QUIET, (-9, -8), "base_from"),
        ([40] * 20, (0, 1), "base_from"),
    ],
    ids=["ends before it begins", "ends in the future", "holds no run", "shows no scatter"],
)
def test_base_period_that_gives_no_limits_is_refused(
    manager, material, pattern, values, days, field
):
    make_series(pattern, {KEY: values})
    chart = opened(manager, material)
    period = service.BasePeriod(*(DAY + timedelta(days=each) for each in days))

    with pytest.raises(Invalid) as refused:
        service.freeze_limits(actor=manager, chart=chart, period=period, reason="Base.")

    assert refused.value.field == field
    assert not FrozenLimits.objects.exists()


def test_limits_of_means_need_whole_subgroups(manager, material, pattern):
    make_series(pattern, {KEY: QUIET}, per_sample=1)
    chart = opened(manager, material, kind=ControlChart.Kind.MEAN_RANGE)

    with pytest.raises(Invalid, match="subgroups of two values or more"):
        frozen(manager, chart)


def test_r82_accepting_a_run_out_of_control_opens_its_note(manager, material, pattern):
    """38 % pass the run that is accepted; the frozen limits of the base are 39.5 -+ 0.89 x 3."""
    make_series(pattern, {KEY: [44, 45] * 10})
    chart = opened(manager, material)
    frozen(manager, chart)

    run = factories.make_accepted_run(sample=factories.make_sample(material=material))

    note = chart.notes.get()
    assert (note.run, note.result) == (run, run.results.get())
    assert note.rules.split()[0] == "beyond_three_sigma"
    assert note.value == pytest.approx(38.0)
    assert note.is_frozen
    assert note.is_open


def test_run_within_its_limits_opens_none(manager, material, pattern):
    make_series(pattern, {KEY: [37.5, 38.5] * 10})
    chart = opened(manager, material)
    frozen(manager, chart)

    factories.make_accepted_run(sample=factories.make_sample(material=material))

    assert chart.notes.count() == 0


def test_run_only_weighed_opens_none_yet(manager, material, pattern):
    make_series(pattern, {KEY: [44, 45] * 10})
    chart = opened(manager, material)
    frozen(manager, chart)
    run = factories.make_weighed_run(sample=factories.make_sample(material=material))

    before = service.look_at_charts(actor=manager)
    factories.accept(run, factories.reviewer(), reason="Looked through.")

    assert before == []
    assert chart.notes.count() == 1


def test_runs_of_another_material_are_none_of_its_business(manager, material, pattern):
    make_series(pattern, {KEY: [44, 45] * 10})
    chart = opened(manager, material)
    frozen(manager, chart)

    factories.make_accepted_run()

    assert chart.notes.count() == 0


def test_second_look_notes_nothing_twice(manager, material, pattern):
    make_series(pattern, {KEY: [*QUIET, FAR]})
    opened(manager, material)

    assert service.look_at_charts(actor=manager) == []


def test_chart_given_up_opens_no_more_notes(manager, material, pattern):
    make_series(pattern, {KEY: QUIET})
    chart = opened(manager, material)

    service.give_up_chart(actor=manager, chart=chart, reason="The sand is used up.")
    make_series(pattern, {KEY: [FAR]}, first=FIRST + timedelta(days=9))

    assert service.look_at_charts(actor=manager) == []
    with pytest.raises(Conflict, match="given up"):
        frozen(manager, chart)


def test_each_bench_has_frozen_limits_of_its_own(manager, material, pattern):
    east, west = factories.make_bench(name="East"), factories.make_bench(name="West")
    make_series(pattern, {KEY: QUIET}, bench_id=east.pk)
    make_series(pattern, {KEY: [60, 61] * 10}, bench_id=west.pk)
    chart = opened(manager, material, group_by=ControlChart.Group.BENCH)

    limits = [frozen(manager, chart, group_key=bench.pk) for bench in (east, west)]

    assert [(each.group_name, each.centre) for each in limits] == [("East", 40.5), ("West", 60.5)]
    assert FrozenLimits.objects.filter(ended_at=None).count() == 2


def note_of(manager, material, pattern):
    make_series(pattern, {KEY: [*QUIET, FAR]})
    return opened(manager, material).notes.get()


@pytest.mark.parametrize("role", [Role.REVIEWER, Role.QUALITY_MANAGER])
def test_point_is_answered_once_with_cause_and_deed(manager, material, pattern, role):
    note, person = note_of(manager, material, pattern), factories.make_person(role)

    answered = service.answer_note(
        actor=person, note=note, cause="Divider mixed up.", done="Told at the bench."
    )

    assert (answered.answered_by, answered.is_open) == (person, False)
    assert actions(note.chart)[-1] == "point answered"
    with pytest.raises(Conflict, match="was answered by"):
        service.answer_note(actor=person, note=note, cause="Another.", done="Another.")


@pytest.mark.parametrize(
    ("cause", "done", "fields"),
    [
        (" ", "", ["cause", "done"]),
        ("Seen.", " ", ["done"]),
        ("x" * 401, "Nothing.", ["cause"]),
    ],
)
def test_answer_without_cause_or_deed_is_refused(manager, material, pattern, cause, done, fields):
    note = note_of(manager, material, pattern)

    with pytest.raises(Invalid) as refused:
        service.answer_note(actor=manager, note=note, cause=cause, done=done)

    assert [fault.field for fault in refused.value.faults] == fields
    assert ChartNote.objects.get().is_open


@pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.SIGNATORY, Role.AUDITOR])
def test_others_neither_answer_nor_freeze(manager, material, pattern, role):
    note, person = note_of(manager, material, pattern), factories.make_person(role)

    with pytest.raises(NotAllowed):
        service.answer_note(actor=person, note=note, cause="Seen.", done="Nothing.")
    with pytest.raises(NotAllowed):
        frozen(person, note.chart)
    with pytest.raises(NotAllowed):
        service.look_at_charts(actor=person)


def test_reviewer_does_not_freeze_limits(manager, material, pattern):
    chart = opened(manager, material)

    with pytest.raises(NotAllowed):
        frozen(factories.reviewer(), chart)


def test_command_lays_out_what_was_imported_and_notes_it(manager, material, pattern, capsys):
    """A run that came in without figures gets them; 38 % lies far from the quiet 44 and 45."""
    make_series(pattern, {KEY: [44, 45] * 10})
    chart = opened(manager, material)
    frozen(manager, chart)
    assert not pattern.figures.exists()

    call_command("look_at_charts")

    assert "1 runs were laid out" in capsys.readouterr().out
    assert chart.notes.get().run == pattern
