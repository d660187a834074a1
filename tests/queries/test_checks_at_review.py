"""Checks that only a review asks: each finds what it is for, and is quiet about its twin."""

import pytest

from gradation.models import Laboratory, Severity, Stage
from gradation.queries.run_checks import findings
from gradation.queries.runs import find_run
from tests import factories

pytestmark = pytest.mark.django_db


def own_run_found(run, reviewer):
    found = findings(find_run(reviewer, run.pk), Stage.REVIEW, reviewer=reviewer)
    return [one for one in found if one.rule.code == "own-run"]


def test_21_finds_who_reviews_their_own_readings_and_not_somebody_else():
    run = factories.make_weighed_run()

    (found,) = own_run_found(run, run.technician)

    assert found.severity == Severity.STOP
    assert own_run_found(run, factories.reviewer()) == []


def test_21_only_notes_it_where_one_person_may_do_both():
    run = factories.make_weighed_run()
    Laboratory.objects.update(reviewer_must_differ=False)

    (found,) = own_run_found(run, run.technician)

    assert found.severity == Severity.NOTE
