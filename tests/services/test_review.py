"""Review: somebody else answers for a run, and says why when something speaks against it."""

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import Run, Weighing
from gradation.policy import Role
from gradation.services import bench, laboratory, people, review
from tests import factories


def test_reviewer_accepts_a_clean_run_without_a_word(technician, reviewer):
    run = factories.make_weighed_run(technician)

    run = factories.accept(run, reviewer)

    assert run.state == Run.State.ACCEPTED
    assert run.reviewer == reviewer


def test_r45_technician_cannot_review_own_run(laboratory):
    both = factories.make_person(Role.TECHNICIAN, Role.REVIEWER)
    run = factories.make_weighed_run(both)

    with pytest.raises(NotAllowed, match="Somebody else reviews it"):
        factories.accept(run, both)


def test_who_made_a_single_reading_cannot_review_the_run(technician, laboratory):
    both = factories.make_person(Role.TECHNICIAN, Role.REVIEWER)
    run = factories.make_run(technician)
    factories.weigh(run)
    one = factories.reading(Weighing.Slot.PAN, "21")
    bench.correct_weighing(actor=both, run=run, reading=one, reason="weighed again")
    bench.submit_run(actor=technician, run=run)

    with pytest.raises(NotAllowed):
        factories.accept(run, both)


def test_r85_own_review_is_allowed_only_by_policy(laboratory):
    both = factories.make_person(Role.TECHNICIAN, Role.REVIEWER)
    run = factories.make_weighed_run(both)
    _change_policy(reviewer_must_differ=False)

    run = factories.accept(run, both)

    assert run.state == Run.State.ACCEPTED


def _change_policy(**changes):
    laboratory.change_laboratory(
        actor=people.system_account(), reason="one person on shift", **changes
    )


def test_r90_loss_above_tolerance_blocks_acceptance_without_a_reason(technician, reviewer):
    run = factories.make_weighed_run(technician, dry_mass_g="510")  # 500 g found: 2.0 % lost

    with pytest.raises(Invalid, match="Say why the run is accepted"):
        factories.accept(run, reviewer)
    run = factories.accept(run, reviewer, reason="spill seen and noted")

    assert run.state_reason == "spill seen and noted"


def test_r44_returned_run_is_corrected_and_computed_again(technician, reviewer):
    run = factories.make_weighed_run(technician, dry_mass_g="510")
    run = review.return_run(actor=reviewer, run=run, reason="dry mass looks misread")
    one = factories.reading(Weighing.Slot.DRY_MASS, "500")
    bench.correct_weighing(actor=technician, run=run, reading=one, reason="misread 510 for 500")

    run = bench.submit_run(actor=technician, run=run)

    assert list(run.results.order_by("version").values_list("version", flat=True)) == [1, 2]
    losses = [result.values["loss_pct"] for result in run.results.order_by("version")]
    assert losses == pytest.approx([100 * 10 / 510, 0.0], abs=1e-9)


def test_returning_needs_a_reason(technician, reviewer):
    run = factories.make_weighed_run(technician)

    with pytest.raises(Invalid, match="Say why"):
        review.return_run(actor=reviewer, run=run, reason="")


def test_open_run_cannot_be_accepted(technician, reviewer):
    run = factories.make_run(technician)

    with pytest.raises(Conflict, match="open"):
        factories.accept(run, reviewer)


def test_f04_stale_page_does_not_accept(technician, reviewer):
    run = factories.make_weighed_run(technician)

    with pytest.raises(Conflict, match="changed by somebody else"):
        factories.accept(run, reviewer, version=run.version - 1)


def test_invalid_run_frees_its_determination_and_its_sieves(technician, reviewer):
    run = factories.make_run(technician)
    sieves = [place.sieve for place in run.places.select_related("sieve")]

    review.invalidate_run(actor=reviewer, run=run, reason="sieve fell")
    again = factories.make_run(technician, portion=run.portion, sieves=sieves)

    assert again.determination == 1


def test_technician_may_not_accept(technician):
    run = factories.make_weighed_run(technician)

    with pytest.raises(NotAllowed):
        factories.accept(run, technician)
