"""Specifications: two persons, dates that do not overlap, limits that a curve can keep."""

from datetime import date
from decimal import Decimal

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import (
    Laboratory,
    LedgerEntry,
    Specification,
    SpecificationLine,
    SpecificationVersion,
)
from gradation.policy import Role
from gradation.services import laboratory as house
from gradation.services import specifications
from tests import factories


@pytest.fixture
def manager(laboratory):
    """Give a quality manager."""
    return factories.quality_manager()


@pytest.fixture
def signatory(laboratory):
    """Give a second person."""
    return factories.make_person(Role.SIGNATORY)


def line(size, low=None, high=None, **more):
    return SpecificationLine(
        aperture_um=None if size is None else Decimal(size),
        minimum=None if low is None else Decimal(low),
        maximum=None if high is None else Decimal(high),
        **more,
    )


def draft(manager, lines, specification=None, **values):
    specification = specification or Specification(code="NS-77", title="Bedding sand")
    version = SpecificationVersion(
        specification=specification, **{"effective_from": date(2026, 1, 1), **values}
    )
    return specifications.draft_specification_version(actor=manager, version=version, lines=lines)


def faults(refusal):
    return {fault.field: fault.message for fault in refusal.value.faults}


def refused(manager, lines, **values):
    with pytest.raises(Invalid) as refusal:
        draft(manager, lines, **values)
    assert not Specification.objects.exists()
    assert not SpecificationVersion.objects.exists()
    assert not SpecificationLine.objects.exists()
    return faults(refusal)


def approved(manager, signatory, version, **told):
    proposed = specifications.propose_specification_version(actor=manager, version=version)
    return specifications.approve_specification_version(actor=signatory, version=proposed, **told)


def test_minimum_above_maximum_is_refused_beside_its_line(manager):
    said = refused(manager, [line(4750, "90", "100"), line(600, "60", "40")])

    assert said == {"lines/1/maximum": "The minimum 60 is above the maximum 40."}


def test_line_without_any_limit_is_refused(manager):
    assert "neither minimum nor maximum" in refused(manager, [line(600)])["lines/0/maximum"]


def test_sieve_limited_twice_is_refused(manager):
    said = refused(manager, [line(600, None, "50"), line(600, "20")])

    assert "limited twice" in said["lines/1/aperture_um"]


def test_envelope_that_no_curve_can_keep_names_both_lines(manager):
    said = refused(manager, [line(600, None, "50"), line(300, "60", None)])

    assert set(said) == {"lines/0/maximum", "lines/1/maximum"}
    assert "300 µm passing at least 60 %" in said["lines/0/maximum"]
    assert "600 µm passing at most 50 %" in said["lines/0/maximum"]


def test_neighbours_that_leave_no_room_are_refused_beside_their_limit(manager):
    # 95 % through 4.75 mm and at most 30 % through the next: 65 % or more lies between.
    said = refused(
        manager,
        [line(4750, "95", "100"), line(2360, None, "30")],
        neighbour_maximum_pct=Decimal(45),
    )

    assert "No curve can keep" in said["neighbour_maximum_pct"]


def test_sieve_outside_the_series_needs_its_tick(manager):
    said = refused(manager, [line(640, None, "50")])
    kept = draft(manager, [line(640, None, "50", is_confirmed_size=True)])

    assert "640 µm is in no series" in said["lines/0/is_confirmed_size"]
    assert kept.lines.get().is_confirmed_size


@pytest.mark.parametrize(
    ("values", "field", "said"),
    [
        ({"lot_rule": "mean", "lot_size": 0}, "lot_size", "at least one result"),
        ({"lot_rule": "single", "lot_size": 0}, "lot_size", "at least one result"),
        ({"lot_rule": "mean", "lot_size": 1}, "lot_size", "at least 2 results"),
        ({"lot_rule": "percent_within_limits", "lot_size": 2}, "lot_size", "at least 3 results"),
        ({"lot_rule": "percent_within_limits", "lot_size": 4}, "lot_share_pct", "percentage"),
    ],
)
def test_lot_rule_that_no_lot_can_keep_is_refused(manager, values, field, said):
    assert said in refused(manager, [line(600, None, "50")], **values)[field]


def test_characteristic_that_is_never_worked_out_is_refused(manager):
    said = refused(manager, [line(None, "2", kind="characteristic", characteristic="fluffiness")])

    assert "fluffiness" in said["lines/0/characteristic"]


def test_target_and_tolerance_become_limits_capped_at_the_whole(manager):
    version = draft(
        manager,
        [
            line(2360, target=Decimal(97), tolerance=Decimal(5)),
            line(75, target=Decimal(2), tolerance=Decimal(4)),
        ],
    )

    limits = [(row.minimum, row.maximum) for row in version.lines.order_by("position")]
    assert limits == [(92, 100), (0, 6)]


def test_draft_changes_until_it_is_proposed(manager, signatory):
    version = draft(manager, [line(600, None, "50")])

    changed = specifications.change_specification_draft(
        actor=manager, version=version, lines=[line(600, None, "55")], product="Sand 0/2"
    )
    specifications.propose_specification_version(actor=manager, version=changed)

    assert changed.lines.get().maximum == 55
    assert LedgerEntry.objects.filter(action="specification draft changed").count() == 1
    with pytest.raises(Conflict, match="only what is draft can be changed"):
        specifications.change_specification_draft(
            actor=manager, version=version, lines=[line(600, None, "60")]
        )


def test_refused_change_leaves_the_draft_as_it_was(manager):
    version = draft(manager, [line(600, None, "50")], product="Sand 0/2")

    with pytest.raises(Invalid):
        specifications.change_specification_draft(
            actor=manager, version=version, lines=[line(600, "70", "50")], product="Gravel"
        )

    version.refresh_from_db()
    assert (version.product, version.lines.get().maximum) == ("Sand 0/2", 50)


def test_who_proposed_a_version_does_not_approve_it(manager, signatory):
    version = draft(manager, [line(600, None, "50")])
    specifications.propose_specification_version(actor=manager, version=version)

    with pytest.raises(NotAllowed, match="Ask somebody else"):
        specifications.approve_specification_version(actor=manager, version=version)
    done = specifications.approve_specification_version(actor=signatory, version=version)

    assert (done.state, done.approved_by) == ("released", signatory)


def test_policy_lets_one_person_do_both_and_the_ledger_says_so(manager):
    house.change_laboratory(
        actor=manager, reason="Two people in the house.", approver_must_differ=False
    )
    version = draft(manager, [line(600, None, "50")])

    approved(manager, manager, version)

    entry = LedgerEntry.objects.get(action="specification version approved")
    assert "one person" in entry.reason
    assert not Laboratory.objects.get().approver_must_differ


def test_two_persons_leave_no_such_remark(manager, signatory):
    approved(manager, signatory, draft(manager, [line(600, None, "50")]))

    assert LedgerEntry.objects.get(action="specification version approved").reason == ""


def test_technician_may_neither_draft_nor_approve(manager, signatory):
    technician = factories.make_person(Role.TECHNICIAN)
    version = draft(manager, [line(600, None, "50")])
    specifications.propose_specification_version(actor=manager, version=version)

    with pytest.raises(NotAllowed):
        specifications.approve_specification_version(actor=technician, version=version)
    with pytest.raises(NotAllowed):
        draft(technician, [line(600, None, "50")])
    with pytest.raises(NotAllowed):  # a signatory approves, but does not write specifications
        draft(signatory, [line(600, None, "50")])


def test_draft_is_not_approved_without_being_proposed(manager, signatory):
    version = draft(manager, [line(600, None, "50")])

    with pytest.raises(Conflict, match="only what is proposed"):
        specifications.approve_specification_version(actor=signatory, version=version)


def test_figures_from_memory_are_confirmed_before_they_judge(manager, signatory):
    version = draft(manager, [line(600, None, "50", mark="from memory")])
    specifications.propose_specification_version(actor=manager, version=version)

    with pytest.raises(Invalid, match="kept from memory: 600 µm passing") as refusal:
        specifications.approve_specification_version(actor=signatory, version=version)
    version.refresh_from_db()
    assert (refusal.value.field, version.state) == ("confirmation", "proposed")

    done = specifications.approve_specification_version(
        actor=signatory, version=version, confirmation="Edition 2019, copy 2 on the shelf"
    )

    assert done.confirmation == "Edition 2019, copy 2 on the shelf"


def test_returned_version_is_a_draft_again_with_the_reason_kept(manager, signatory):
    version = draft(manager, [line(600, None, "50")])
    specifications.propose_specification_version(actor=manager, version=version)

    back = specifications.return_specification_version(
        actor=signatory, version=version, reason="The clause is missing."
    )

    assert (back.state, back.proposed_by) == ("draft", None)
    entry = LedgerEntry.objects.get(action="specification version returned")
    assert entry.reason == "The clause is missing."


def test_overlapping_dates_are_refused_until_the_former_ends(manager, signatory):
    first = approved(manager, signatory, draft(manager, [line(600, None, "50")]))
    second = draft(
        manager,
        [line(600, None, "70")],
        first.specification,
        effective_from=date(2026, 7, 1),
    )
    with pytest.raises(Invalid, match="overlap") as refusal:
        specifications.propose_specification_version(actor=manager, version=second)
    assert refusal.value.field == "effective_from"

    specifications.end_specification_version(
        actor=manager, version=first, effective_to=date(2026, 6, 30)
    )

    assert approved(manager, signatory, second).state == "released"


def test_approval_ends_the_version_that_is_replaced_on_the_day_before(manager, signatory):
    first = approved(manager, signatory, draft(manager, [line(600, None, "50")]))
    second = draft(
        manager,
        [line(600, None, "70")],
        first.specification,
        effective_from=date(2026, 7, 1),
        replaces=first,
    )

    approved(manager, signatory, second)

    first.refresh_from_db()
    assert (first.state, first.effective_to) == ("released", date(2026, 6, 30))


def test_version_is_not_ended_later_than_its_successor_begins(manager, signatory):
    first = approved(
        manager,
        signatory,
        draft(manager, [line(600, None, "50")], effective_to=date(2026, 6, 30)),
    )
    second = draft(
        manager, [line(600, None, "70")], first.specification, effective_from=date(2026, 7, 1)
    )
    approved(manager, signatory, second)

    with pytest.raises(Invalid, match="would overlap"):
        specifications.end_specification_version(
            actor=manager, version=first, effective_to=date(2026, 8, 1)
        )


def test_version_of_another_specification_is_not_replaced(manager, signatory):
    other = factories.make_specification()

    with pytest.raises(Invalid, match="belongs to another specification"):
        draft(manager, [line(600, None, "50")], replaces=other)
