"""What a certificate says of its runs: every run's values, the laboratory's remarks, one stop."""

from decimal import Decimal
from uuid import uuid4

import pytest

from gradation.models import ProcedureVersion, TestPortion
from gradation.services import certify, dryings
from gradation.services.certificate_drafting import draft_content
from gradation.services.dryings import MassReading
from tests import factories

#: D50 by hand, straight line on the logarithm of the aperture: 63 % pass 1180 µm and 38 % 600 µm,
#: so lg d50 = lg 600 + (50 - 38)/(63 - 38) · (lg 1180 - lg 600), 830.2 µm.
MASSES_G = factories.MASSES_G
COARSER_G = ("10", "75", "110", "115", "110", "60", "20")
#: 61 % pass 1180 and 38 % 600 µm: lg d50 = lg 600 + 12/23 · (lg 1180 - lg 600), 853.9 µm.


@pytest.fixture
def two_runs(db):
    sample = factories.make_sample()
    first = factories.make_accepted_run(sample=sample, masses_g=MASSES_G)
    second = factories.make_accepted_run(sample=sample, masses_g=COARSER_G)
    return first, second


def draft_on(*runs, **values):
    return certify.draft_certificate(
        actor=factories.signatory(),
        sample=runs[0].portion.sample,
        drafting=certify.Drafting(runs=runs, **values),
    )


def test_each_run_of_a_certificate_has_its_characteristic_values(two_runs):
    content = draft_content(draft_on(*two_runs))

    found = {(it.run, it.name): (it.value, it.unit) for it in content.characteristics}
    first, second = map(str, two_runs)
    assert found[first, "d50"] == ("830", "µm")
    assert found[second, "d50"] == ("854", "µm")


def test_the_only_run_of_a_certificate_is_not_named_at_its_values(two_runs):
    content = draft_content(draft_on(two_runs[0]))

    assert {it.run for it in content.characteristics} == {""}


def test_remarks_are_part_of_the_content(two_runs):
    remarks = "The customer asked for both runs.\n\nThe bag was wet on one side."

    content = draft_content(draft_on(two_runs[0], remarks=remarks))

    assert content.remarks == (
        "The customer asked for both runs.",
        "The bag was wet on one side.",
    )


def test_masses_have_the_digits_of_their_readings(db):
    run = factories.make_accepted_run(masses_g=("0.0", "75.0", "110", "115", "120.0", "60", "20"))

    rows = draft_content(draft_on(run)).results[0].rows

    assert [row.retained_g for row in rows[:3]] == ["0.0", "75.0", "110"]


def test_drying_that_was_asked_for_and_not_recorded_is_not_claimed(db):
    run = factories.make_accepted_run()
    ProcedureVersion.objects.update(
        constant_mass_pct=Decimal("0.1"), drying="110 °C to constant mass"
    )

    drying = draft_content(draft_on(run)).results[0].conditions[0].drying

    assert drying.startswith("no weighing of the drying was recorded; ")
    assert drying.endswith("asks for 110 °C to constant mass")


def test_drying_is_told_by_its_weighings(db):
    run = factories.make_accepted_run()
    ProcedureVersion.objects.update(constant_mass_pct=Decimal("0.1"), drying="110 °C")
    drying = factories.make_drying(TestPortion.objects.get(pk=run.portion_id))
    for number, text in ((1, "500.4"), (2, "500.0")):
        dryings.record_drying_mass(
            actor=run.technician, drying=drying, reading=MassReading(number, text, uuid4())
        )

    said = draft_content(draft_on(run)).results[0].conditions[0].drying

    # By hand: 0.4 g of 500.4 g is 0.08 %.
    assert said == "110 °C. Constant at weighing 2: change 0.08 %, at most 0.1 %."
