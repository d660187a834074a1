"""Dividing: the divider, the passes, the half that chance chooses, the mass taken."""

from datetime import timedelta
from decimal import Decimal

import pytest

from gradation.errors import Conflict, Invalid, NotAllowed
from gradation.models import Division as Way
from gradation.models import LedgerEntry
from gradation.queries.halves import halves_drawn, halves_in
from gradation.queries.portion_mass import portion_band, top_size_of
from gradation.services import clock, preparation, upkeep
from gradation.services.preparation import Division
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def sample(technician):
    """Log a sample whose procedure wants two passes and 300 to 900 g."""
    procedure = factories.make_procedure(
        divider_passes=2, minimum_portion_g=Decimal(300), maximum_portion_g=Decimal(900)
    )
    return factories.make_sample(technician, factories.make_material(procedure))


def riffle(**values):
    return factories.make_instrument("divider", chute_width_mm=Decimal(25), **values)


def divided(technician, sample, count=1, **values):
    division = Division(**{"way": Way.RIFFLE, "passes": 3, **values})
    if division.way == Way.RIFFLE and "divider" not in values:
        division = Division(**{"way": Way.RIFFLE, "passes": 3, "divider": riffle(), **values})
    return preparation.prepare_portions(
        actor=technician, sample=sample, division=division, count=count
    )


def test_halves_are_drawn_about_even_at_every_pass():
    """5 standard deviations of a fair coin over 4,000 samples: 158 of 2,000."""
    draws = [halves_drawn(f"26-{number:04d}", 0, 3) for number in range(4_000)]

    for turn in range(3):
        assert abs(sum(each[turn] == "L" for each in draws) - 2_000) < 158
    both = sum(each[0] == each[1] for each in draws)
    assert abs(both - 2_000) < 158


def test_the_draw_cannot_be_repeated_until_it_suits():
    first = halves_drawn("26-0148", 1, 5)

    assert halves_drawn("26-0148", 1, 5) == first
    assert halves_drawn("26-0148", 1, 3) == first[:3]
    others = {halves_drawn("26-0148", nth, 16) for nth in range(8)}
    assert len(others) == 8


def test_the_draw_cannot_be_foreseen_without_the_servers_key(settings):
    numbers = [f"26-{number:04d}" for number in range(64)]
    settings.SECRET_KEY = "one key of the server"
    before = [halves_drawn(number, 0, 1) for number in numbers]
    settings.SECRET_KEY = "another key of the server"

    assert [halves_drawn(number, 0, 1) for number in numbers] != before


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("L R L", ("L", "R", "L")),
        ("lrl", ("L", "R", "L")),
        ("left, Right", ("L", "R")),
        ("", ()),
        ("top", None),
        ("L1", None),
    ],
)
def test_halves_are_read_as_people_type_them(typed, read):
    assert halves_in(typed) == read


def test_portions_of_one_go_have_each_its_label_and_its_own_halves(technician, sample):
    made = divided(technician, sample, count=3, masses_g=[Decimal(512), None, Decimal("498.5")])

    assert [portion.label[-1] for portion in made] == ["A", "B", "C"]
    assert [portion.moist_mass_g for portion in made] == [512, None, Decimal("498.5")]
    for nth, portion in enumerate(made):
        assert portion.halves_drawn == " ".join(halves_drawn(sample.number, nth, 3))
        assert portion.halves_taken == portion.halves_drawn
    assert LedgerEntry.objects.filter(action="portion prepared").count() == 3
    assert made[0].divided_how.startswith(f"riffle divider {made[0].divider.serial}, 3 passes")


def opposite(halves):
    return " ".join("L" if half == "R" else "R" for half in halves)


def test_another_half_than_drawn_needs_a_reason_and_is_kept_beside_it(technician, sample):
    other = opposite(halves_drawn(sample.number, 0, 3))

    with pytest.raises(Invalid) as refused:
        divided(technician, sample, taken=[other])
    assert refused.value.field == "reason"

    portion = divided(technician, sample, taken=[other], reason="The tray fell.")[0]
    assert portion.halves_taken == other != portion.halves_drawn
    assert portion.halves_reason == "The tray fell."
    assert "not as drawn" in portion.divided_how


def test_halves_for_another_number_of_passes_are_refused(technician, sample):
    with pytest.raises(Invalid) as refused:
        divided(technician, sample, taken=["L R"], reason="Spilled.")

    assert refused.value.field == "taken_0"


def test_fewer_passes_than_the_procedure_asks_for_are_refused(technician, sample):
    with pytest.raises(Invalid, match="asks for 2 passes or more, not 1"):
        divided(technician, sample, passes=1)

    assert not sample.portions.exists()


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"way": "by hand"}, "way"),
        ({"way": Way.OTHER}, "words"),
        ({"way": Way.ROTARY}, "divider"),
        ({"way": Way.QUARTERING, "passes": None}, "passes"),
        ({"way": Way.QUARTERING, "masses_g": [Decimal(0)]}, "mass_0"),
        ({"way": Way.WHOLE, "top_size_um": Decimal(0)}, "top_size_um"),
    ],
)
def test_what_is_no_division_is_refused_beside_its_field(technician, sample, values, field):
    with pytest.raises(Invalid) as refused:
        divided(technician, sample, **values)

    assert refused.value.field == field


def test_the_whole_sample_is_one_portion(technician, sample):
    with pytest.raises(Invalid, match="one portion, not 2"):
        divided(technician, sample, count=2, way=Way.WHOLE)

    assert divided(technician, sample, way=Way.WHOLE)[0].halves_drawn == ""


def test_a_divider_out_of_service_or_overdue_or_of_another_kind_is_refused(technician, sample):
    out = riffle()
    upkeep.take_out_of_service(actor=factories.keeper(), item=out, reason="Chute bent.")
    overdue = riffle(next_check_on=clock.today() - timedelta(days=1))

    for divider, said in ((out, "Chute bent"), (overdue, "was due on")):
        with pytest.raises(Invalid, match=said):
            divided(technician, sample, divider=divider)
    with pytest.raises(Invalid, match="is no divider"):
        divided(technician, sample, divider=factories.make_instrument("oven"))


def test_narrow_chutes_are_noted_with_the_portion(technician, sample):
    """ASTM C702 (from memory): half as wide again as the largest grains, 31.5 -> 47.25 mm."""
    narrow = divided(technician, sample, top_size_um=Decimal(31_500))[0]
    wide = divided(technician, sample, top_size_um=Decimal(16_000))[0]

    assert "47.25 mm or wider" in narrow.division_notes
    assert wide.division_notes == ""


@pytest.mark.parametrize(
    ("mass", "said"),
    [
        ("299.9", "below the band from 300 g to 900 g. Divide again"),
        ("300", "inside the band"),
        ("900", "inside the band"),
        ("900.1", "above the band from 300 g to 900 g. Divide again, never trim"),
    ],
)
def test_the_mass_taken_is_judged_by_the_band_in_words(technician, sample, mass, said):
    band = portion_band(sample.procedure_version, None)

    assert said in band.judged(Decimal(mass))
    portion = divided(technician, sample, masses_g=[Decimal(mass)])[0]
    assert (said in portion.division_notes) == ("inside" not in said)


def test_the_table_of_smallest_portions_goes_by_the_size_of_the_material():
    """ASTM C136, table of coarse aggregate: 19.0 mm nominal maximum size, 5 kg."""
    procedure = factories.make_procedure(portion_rule="astm_c136_coarse")

    assert portion_band(procedure, Decimal(19_000)).band.least_g == 5000
    unknown = portion_band(procedure, None)
    assert unknown.band.least_g is None
    assert "needs the nominal maximum size" in unknown.judged(Decimal(800))


def test_a_table_with_one_mass_for_all_sizes_asks_for_no_size():
    """ASTM C136, fine aggregate: 300 g."""
    procedure = factories.make_procedure(portion_rule="astm_c136_fine")

    assert portion_band(procedure, None).band.least_g == 300


def test_the_size_of_the_material_is_remembered_from_its_last_portion(technician, sample):
    assert top_size_of(sample) is None

    divided(technician, sample, top_size_um=Decimal(16_000))

    again = factories.make_sample(technician, sample.material)
    assert top_size_of(again).size_um == 16_000


def test_a_portion_of_a_portion_keeps_its_parent(technician, sample):
    parent = divided(technician, sample)[0]
    child = divided(technician, sample, parent=parent)[0]

    assert (child.parent, child.label[-1]) == (parent, "B")
    with pytest.raises(Invalid, match="another sample"):
        divided(technician, factories.make_sample(technician), parent=parent)


def test_halves_shown_for_a_portion_made_meanwhile_are_not_taken_for_the_next(technician, sample):
    divided(technician, sample, first_label=f"{sample.number}-A")

    with pytest.raises(Conflict, match=f"The next is {sample.number}-B"):
        divided(technician, sample, first_label=f"{sample.number}-A")


def test_as_received_needs_a_word_and_is_not_said_of_a_portion_handed_over(technician, sample):
    portion = divided(technician, sample)[0]

    with pytest.raises(Invalid, match="Say why"):
        preparation.declare_as_received(actor=technician, portion=portion, reason=" ")
    kept = preparation.declare_as_received(
        actor=technician, portion=portion, reason="Natural basis asked for."
    )
    assert (kept.is_as_received, kept.drying) == (True, "Natural basis asked for.")

    run = factories.make_weighed_run(technician)
    with pytest.raises(Conflict, match="is weighed"):
        preparation.declare_as_received(actor=technician, portion=run.portion, reason="Late.")


def test_only_technicians_divide(sample):
    with pytest.raises(NotAllowed):
        divided(factories.reviewer(), sample)
