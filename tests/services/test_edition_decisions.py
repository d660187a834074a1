"""Samples in work when a newer version is released: each is decided on, once, with a reason."""

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import LedgerEntry, ProcedureVersion, Sample
from gradation.queries.methods import open_orders
from gradation.services import methods
from gradation.services.edition_decisions import decide_edition
from gradation.services.procedure_reading import nest_of
from tests import factories


@pytest.fixture
def manager(laboratory):
    return factories.quality_manager()


@pytest.fixture
def sample(manager):
    return factories.make_sample()


@pytest.fixture
def newer(sample, manager):
    """Release a newer version of the sample's procedure."""
    former = sample.procedure_version
    draft = methods.draft_procedure_version(
        actor=manager,
        version=ProcedureVersion(
            procedure=former.procedure,
            standard_reference=former.standard_reference,
            edition="2019",
            basis=former.basis,
            loss_limit_pct=former.loss_limit_pct,
        ),
        places=nest_of(*factories.APERTURES_UM),
    )
    return factories.release_procedure(draft)


def decide(manager, sample, version, **told):
    filled = {"is_moved": True, "reason": "The customer asks for the 2019 edition.", **told}
    return decide_edition(actor=manager, sample=sample, version=version, **filled)


def test_samples_in_work_are_listed_and_finished_ones_are_not(sample, newer):
    closed = factories.make_sample(material=sample.material)
    Sample.objects.filter(pk=closed.pk).update(
        procedure_version=sample.procedure_version, state=Sample.State.REPORTED
    )

    assert list(open_orders(newer)) == [sample]
    assert list(open_orders(sample.procedure_version)) == []


def test_r77_a_moved_sample_is_tested_by_the_newer_version(manager, sample, newer):
    former = sample.procedure_version

    decision = decide(manager, sample, newer)

    sample.refresh_from_db()
    assert sample.procedure_version == newer
    assert (decision.former, decision.version) == (former, newer)
    assert list(open_orders(newer)) == []
    entries = LedgerEntry.objects.filter(chain=f"sample/{sample.number}")
    actions = [entry.action for entry in entries.order_by("sequence")]
    assert actions[-2:] == ["edition decided", "sample moved to another edition"]
    assert entries.last().reason == "The customer asks for the 2019 edition."


def test_a_kept_sample_stays_and_is_asked_about_no_more(manager, sample, newer):
    former = sample.procedure_version

    decide(manager, sample, newer, is_moved=False, reason="Ordered by the 2014 edition.")

    sample.refresh_from_db()
    assert sample.procedure_version == former
    assert list(open_orders(newer)) == []
    with pytest.raises(Conflict, match="decided already"):
        decide(manager, sample, newer)


def test_no_decision_without_a_reason(manager, sample, newer):
    with pytest.raises(Invalid, match="reason"):
        decide(manager, sample, newer, reason=" ")


def test_a_sample_with_an_unfinished_run_is_not_moved(manager, sample, request):
    run = factories.make_run(sample=sample)
    newer = request.getfixturevalue("newer")

    with pytest.raises(Conflict, match="Finish it"):
        decide(manager, sample, newer)
    decide(manager, sample, newer, is_moved=False, reason="Its run is under way.")

    run.refresh_from_db()
    assert run.procedure_version == sample.procedure_version


def test_technicians_do_not_decide(sample, newer):
    with pytest.raises(NotAllowed):
        decide(factories.technician(), sample, newer)


def test_r77_a_new_sample_gets_the_valid_edition_only_and_a_deviation_needs_who_and_why(
    manager, sample, newer
):
    """ISO/IEC 17025:2017, 7.2.1.3 and 7.2.1.7: whoever may, and the customer's word as reason."""
    former = sample.procedure_version
    former.refresh_from_db()
    ordered = factories.make_sample(material=sample.material)
    assert ordered.procedure_version == newer

    with pytest.raises(Invalid, match="no released procedure"):
        factories.make_sample(material=sample.material, procedure_version=former)
    with pytest.raises(NotAllowed):
        decide(factories.technician(), sample, newer, is_moved=False)
    with pytest.raises(Invalid, match="reason"):
        decide(manager, sample, newer, is_moved=False, reason="")
    assert list(open_orders(newer)) == [sample]

    decide(manager, sample, newer, is_moved=False, reason="The customer keeps the 2014 edition.")
    with pytest.raises(Invalid, match="Say why the run is opened all the same"):
        factories.make_run(sample=sample)
