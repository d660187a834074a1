"""Blends through the service: published examples, what is kept, what is refused."""

from decimal import Decimal

import pytest

from gradation.errors import Invalid, NotAllowed
from gradation.models import BlendRecord, LedgerEntry
from gradation.policy import Role
from gradation.queries.blends import BlendAsked, PileAsked, work_out
from gradation.queries.curve_picks import Pick, PickKind
from gradation.science.computing import compute
from gradation.services import blends
from gradation.services.results import digest_of_inputs
from tests import factories
from tests.curve_runs import make_pile
from tests.published.examples import example

pytestmark = pytest.mark.django_db

APERTURES_UM = (4750, 600, 75)


def pile(material, **bounds):
    return PileAsked(Pick(PickKind.LATEST, str(material.pk), 10), **bounds)


def percent(low, high):
    return {"share_min_pct": Decimal(low), "share_max_pct": Decimal(high)}


@pytest.fixture
def person():
    return factories.make_person(Role.QUALITY_MANAGER)


def two_aggregates(limits_key):
    """Give the stockpiles of the textbook problem as tested materials, and its limits."""
    given = example("blend", "feasible_shares_and_misprint").inputs
    apertures = [1000 * size for size in given["sieve_mm"]]
    lower, upper = given[limits_key]
    limits = [
        (Decimal(str(um)), str(low), str(high))
        for um, low, high in zip(apertures, lower, upper, strict=True)
    ]
    specification = factories.make_specification(limits)
    piles = [make_pile(name, apertures, given[name]) for name in ("A", "B")]
    return BlendAsked(tuple(pile(each) for each in piles), specification.pk)


def test_textbook_blend_runs_from_weighings_to_the_published_range(person):
    # 0.4314 = (51 - 29) / 51 at 600 µm; 0.5556 = (9 - 4) / 9 at 75 µm
    case = example("blend", "feasible_shares_and_misprint")
    asked = two_aggregates("limits_original")

    record = blends.save_blend(actor=person, asked=asked, title="Textbook")

    first = record.values["ranges"]["ranges"][0]
    found = [first["smallest_pct"] / 100, first["largest_pct"] / 100]
    assert found == pytest.approx(case.outputs["share_A_range_original"], abs=case.tolerance["abs"])
    assert record.exists
    # 55.6 % of A leaves 4 % at 75 µm, 43.1 % leaves 29 % at 600 µm: the margin is largest where
    # both are equal, 9 - 9 a - 4 = 29 - 51 (1 - a), so a = 27 / 60
    share = record.values["outcome"]["shares_pct"][0]["share_pct"]
    assert share == pytest.approx(45.0, abs=1e-6)


def test_misprinted_specification_is_kept_with_the_lines_that_clash(person):
    asked = two_aggregates("limits_as_reposted")

    record = blends.save_blend(actor=person, asked=asked, title="Misprint")

    assert not record.exists
    assert "No blend of these stockpiles meets the envelope" in record.values["outcome"]["sentence"]
    assert {each["sentence"] for each in record.values["outcome"]["binding"]} == {
        "at most 90 % passing 12.5 mm",
        "at least 50 % passing 4.75 mm",
    }
    assert record.values["curve"] == record.values["shown_shares_pct"] == []


def test_three_aggregates_with_fixed_shares_give_the_printed_blend(person):
    case = example("blend", "three_aggregates_15_25_60")
    given = case.inputs
    apertures = [1000 * size for size in given["sieve_mm"]]
    piles = tuple(
        pile(make_pile(name, apertures, given[name]), **percent(share, share))
        for name, share in zip("ABC", ("15", "25", "60"), strict=True)
    )
    specification = factories.make_specification([(25000, "90", "100"), (150, "0", "10")])

    found = work_out(person, BlendAsked(piles, specification.pk))

    curve = [passing for _, passing in found.values["curve"]]
    assert curve == pytest.approx(case.outputs["blend"], abs=case.tolerance["percent"])


@pytest.fixture
def simple():
    """Make a coarse and a fine stockpile and an envelope that half of each meets."""
    coarse = make_pile("Coarse", APERTURES_UM, (30, 10, 0))
    fine = make_pile("Fine", APERTURES_UM, (100, 60, 10))
    band = factories.make_specification([(4750, "55", "75"), (75, "2", "8")])
    return coarse, fine, band


def ask(simple, *bounds, **changes):
    coarse, fine, band = simple
    first, second = bounds or ({}, {})
    values = {"specification": band.pk, **changes}
    return BlendAsked((pile(coarse, **first), pile(fine, **second)), **values)


def test_a_kept_blend_can_be_computed_again_from_its_inputs(person, simple):
    record = blends.save_blend(actor=person, asked=ask(simple), title="Half and half")

    again = BlendRecord.objects.get(number=record.number)
    assert compute(again.inputs) == again.values["outcome"]
    assert again.inputs_digest == digest_of_inputs(again.inputs)
    assert again.sources[0]["runs"]
    assert again.sources[0]["inputs_digests"]


def test_numbers_run_on_and_the_ledger_tells_shares_and_digest(person, simple):
    first, second = (
        blends.save_blend(actor=person, asked=ask(simple), title=title) for title in ("One", "Two")
    )

    assert int(second.number[-4:]) == int(first.number[-4:]) + 1
    entry = LedgerEntry.objects.get(action="blend kept", subject=first.number)
    assert entry.after["inputs_digest"] == first.inputs_digest
    assert len(entry.after["shares"]) == 2


def refused(person, asked, title="Trial"):
    with pytest.raises(Invalid) as caught:
        blends.save_blend(actor=person, asked=asked, title=title)
    assert not BlendRecord.objects.exists()
    return {fault.field: fault.message for fault in caught.value.faults}


@pytest.mark.parametrize(
    ("bounds", "field", "words"),
    [
        (({"share_min_pct": Decimal(70)}, {"share_min_pct": Decimal(50)}), "stockpiles", "120 %"),
        (({"share_max_pct": Decimal(30)}, {"share_max_pct": Decimal(60)}), "stockpiles", "90 %"),
        ((percent(60, 40), {}), "stockpiles/0/share_min_pct", "must not exceed"),
        ((percent(0, 101), {}), "stockpiles/0/share_min_pct", "from 0 to 100"),
    ],
)
def test_shares_that_cannot_add_to_a_hundred_are_refused(person, simple, bounds, field, words):
    assert words in refused(person, ask(simple, *bounds))[field]


def test_a_stockpile_without_results_is_named_beside_its_line(person, simple):
    untested = factories.make_material(name="Untested stone")
    coarse, fine, band = simple
    asked = BlendAsked((pile(coarse), pile(untested), pile(fine)), band.pk)

    faults = refused(person, asked)

    assert faults == {
        "stockpiles/1/curve": "Untested stone has no accepted run. Choose a material that was "
        "tested."
    }


def test_a_stockpile_of_other_sieves_is_refused_with_the_sizes_it_lacks(person, simple):
    _, fine, band = simple
    short = make_pile("Short", (4750, 600), (90, 20))

    faults = refused(person, BlendAsked((pile(short), pile(fine)), band.pk))

    assert (
        "no passing at 75 µm: it was sieved from 4.75 mm to 600 µm"
        in (faults["stockpiles/0/curve"])
    )


def test_lines_a_stockpile_was_not_sieved_for_can_be_left_out_and_are_named(person, simple):
    _, fine, band = simple
    short = make_pile("Short", (4750, 600), (30, 20))
    asked = BlendAsked((pile(short), pile(fine)), band.pk, leaves_out=True)

    found = work_out(person, asked)

    assert found.request["apertures_um"] == [4750]
    assert found.values["left_out"] == ["75 µm: Short, mean of latest 1 run was not sieved for it"]


def test_one_stockpile_makes_no_blend(person, simple):
    coarse, _, band = simple

    faults = refused(person, BlendAsked((pile(coarse),), band.pk))

    assert faults["stockpiles"] == "A blend needs at least two stockpiles."


def test_the_same_stockpile_twice_is_refused(person, simple):
    coarse, _, band = simple

    faults = refused(person, BlendAsked((pile(coarse), pile(coarse)), band.pk))

    assert "is a stockpile already" in faults["stockpiles/1/curve"]


def test_a_target_that_the_specification_does_not_state_is_asked_for(person, simple):
    assert "states no target" in refused(person, ask(simple, aims_at_target=True))["target"]


def test_a_run_can_be_the_target(person, simple):
    # (1 - a) 30 + a 100 = 65 at a = 0.5; the same at 600 µm (35) and 75 µm (5)
    goal = make_pile("Goal", APERTURES_UM, (65, 35, 5))
    sample = goal.samples.get()
    asked = ask(simple, aims_at_target=True, target=Pick(PickKind.SAMPLE, sample.number))

    found = work_out(person, asked)

    shares = [each["share_pct"] for each in found.values["outcome"]["shares_pct"]]
    assert shares == pytest.approx([50, 50], abs=1e-3)


def test_a_specification_of_characteristic_values_alone_gives_no_share(person, simple):
    coarse, fine, _ = simple

    faults = refused(person, BlendAsked((pile(coarse), pile(fine)), None))

    assert faults["specification"] == "Choose the specification that the blend is to meet."


def test_a_blend_needs_a_title(person, simple):
    assert "title" in refused(person, ask(simple), title="  ")


@pytest.mark.parametrize("role", [Role.AUDITOR, Role.SIGNATORY, Role.CUSTOMER])
def test_others_may_not_keep_a_blend(simple, role):
    with pytest.raises(NotAllowed):
        blends.save_blend(actor=factories.make_person(role), asked=ask(simple), title="Trial")
