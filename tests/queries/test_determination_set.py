"""Determinations of a sample: mean and range, whether they agree, and what follows."""

from decimal import Decimal

import pytest

from gradation.errors import Conflict, NotAllowed
from gradation.models import OnDisagreement, OutlierRule
from gradation.queries.determination_set import determinations_of
from gradation.services import determinations
from tests import factories

pytestmark = pytest.mark.django_db


def sample_with(pans_g, **values):
    """Test a sample on one sieve: of 100 g, what is in the pan passes, so grams are percent."""
    procedure = factories.make_procedure(apertures_um=(1000,), **values)
    actor = factories.technician()
    sample = factories.make_sample(actor, factories.make_material(procedure))
    for pan_g in pans_g:
        on_sieve = str(100 - Decimal(pan_g))
        factories.make_weighed_run(actor, sample, dry_mass_g="100", masses_g=(on_sieve, pan_g))
    return sample


def test_mean_and_range_of_two_determinations_that_agree():
    sample = sample_with(["40", "42"], determinations=2, repeatability_limit=Decimal(3))

    found = determinations_of(sample)

    compared = found.compared[0]
    assert (compared.mean, compared.spread, compared.limit) == (41, 2, 3)
    assert found.agree is True
    assert found.reports == "mean"
    assert not found.wants_further


def test_range_equal_to_the_limit_agrees():
    sample = sample_with(["40", "43"], determinations=2, repeatability_limit=Decimal(3))

    assert determinations_of(sample).agree is True


def test_too_few_determinations_ask_for_more():
    sample = sample_with(["40"], determinations=2, repeatability_limit=Decimal(3))

    found = determinations_of(sample)

    assert found.wants_further
    assert found.sentence == "1 of 2 determinations. Divide and test 1 more."


def test_disagreeing_determinations_ask_for_a_further_one_as_the_procedure_says():
    sample = sample_with(
        ["40", "46"], determinations=2, determinations_most=4, repeatability_limit=Decimal(3)
    )

    found = determinations_of(sample)

    assert found.agree is False
    assert found.wants_further
    assert "differ by 6.00 % at 1 mm, at most 3.00 %" in found.sentence
    assert "2 of at most 4" in found.sentence


def test_no_further_one_is_asked_for_beyond_the_most_and_the_median_is_reported():
    sample = sample_with(
        ["40", "46", "41"], determinations=2, determinations_most=3, repeatability_limit=Decimal(3)
    )

    found = determinations_of(sample)

    assert not found.wants_further
    assert (found.reports, found.compared[0].median) == ("median", 41)


def test_each_is_reported_where_the_procedure_says_so():
    sample = sample_with(
        ["40", "46"],
        determinations=2,
        repeatability_limit=Decimal(3),
        on_disagreement=OnDisagreement.REPORT_ALL.value,
    )

    assert determinations_of(sample).reports == "each"


def test_limit_from_the_repeatability_grows_with_the_number_of_determinations():
    # ISO 5725-6:1994, table 1: f(2) = 2.8, f(3) = 3.3 times the standard deviation.
    two = sample_with(["40", "42"], determinations=2, repeatability_sd=Decimal(1))
    three = sample_with(["40", "42", "41"], determinations=3, repeatability_sd=Decimal(1))

    limits = [determinations_of(sample).compared[0].limit for sample in (two, three)]

    assert [round(limit, 1) for limit in limits] == [2.8, 3.3]


def outlying():
    """Give four results of which Grubbs' test finds the last an outlier.

    Mean 43.25, s = sqrt((3 x 3.25^2 + 9.75^2) / 3) = 6.5; G = (53 - 43.25) / 6.5 = 1.5 is above
    1.496, the critical value at 1 % for n = 4 (ISO 5725-2:1994, table 5).
    """
    return sample_with(
        ["40", "40", "40", "53"],
        determinations=2,
        determinations_most=4,
        repeatability_limit=Decimal(3),
        outlier_rule=OutlierRule.GRUBBS.value,
    )


def test_outlier_is_named_and_a_reviewer_sets_it_aside_with_a_reason():
    sample = outlying()
    found = determinations_of(sample)
    run = found.determinations[-1].run

    determinations.set_determination_aside(
        actor=factories.reviewer(), run=run, reason="The riffle was not level."
    )

    after = determinations_of(sample)
    assert found.outliers[run.pk].verdict == "outlier"
    assert after.compared[0].mean == 40
    assert after.compared[0].values == (40, 40, 40, 53)
    assert after.agree is True


def test_what_is_no_outlier_counts_however_much_it_is_disliked():
    sample = sample_with(["40", "42"], determinations=2, repeatability_limit=Decimal(3))
    run = determinations_of(sample).determinations[0].run

    with pytest.raises(Conflict, match="is no outlier by the rule of"):
        determinations.set_determination_aside(
            actor=factories.reviewer(), run=run, reason="It spoils the mean."
        )


def test_determination_set_aside_can_count_again():
    sample = outlying()
    run, reviewer = determinations_of(sample).determinations[-1].run, factories.reviewer()
    run = determinations.set_determination_aside(actor=reviewer, run=run, reason="Not level.")

    determinations.count_determination(actor=reviewer, run=run, reason="It was level.")

    assert len(determinations_of(sample).counting) == 4


def test_technician_sets_no_determination_aside():
    run = determinations_of(outlying()).determinations[-1].run

    with pytest.raises(NotAllowed):
        determinations.set_determination_aside(actor=run.technician, run=run, reason="Mine.")
