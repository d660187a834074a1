"""Comparing curves: the choice in the address, the table, the files, what is refused."""

import csv
import io
import itertools

import openpyxl
import pytest
from django.urls import reverse

from gradation.policy import Role
from tests import factories
from tests.counting import count_queries
from tests.curve_runs import add_run, make_pile

pytestmark = pytest.mark.django_db
COMPARE = "compare:comparison-show"


@pytest.fixture
def sand():
    """Make a sand with two accepted runs: 90, 50, 10 and 94, 60, 14 % passing."""
    material = make_pile("Washed sand", (4750, 600, 75), (90, 50, 10))
    add_run(material, (94, 60, 14))
    return material


@pytest.fixture
def reader(client):
    factories.make_laboratory()
    client.force_login(factories.make_person(Role.AUDITOR))
    return client


def runs_of(material):
    samples = material.samples.order_by("pk")
    return [run for sample in samples for run in sample.portions.get().runs.all()]


def cells(answer, place=0):
    return {row.row.name: row.cells[place].text for row in answer.context["rows"]}


def test_two_runs_stand_side_by_side_as_reported(reader, sand):
    first, second = runs_of(sand)

    answer = reader.get(reverse(COMPARE), {"curve": [f"run:{first.pk}", f"run:{second.pk}"]})

    assert cells(answer) == {"4.75 mm": "90", "600 µm": "50", "75 µm": "10"}
    assert cells(answer, 1) == {"4.75 mm": "94", "600 µm": "60", "75 µm": "14"}


def test_the_mean_of_a_material_and_the_difference_from_it(reader, sand):
    # means 92, 55, 12; the first run lies 2, 5 and 2 points below
    first, _ = runs_of(sand)
    query = {
        "curve": [f"latest:{sand.pk}:10", f"run:{first.pk}"],
        "show": "difference",
        "reference": f"latest:{sand.pk}:10",
    }

    answer = reader.get(reverse(COMPARE), query)

    assert cells(answer, 1) == {"4.75 mm": "−2.0", "600 µm": "−5.0", "75 µm": "−2.0"}
    assert "mean of latest 2 runs" in answer.content.decode()


def test_other_sieves_are_interpolated_marked_and_left_open_outside(reader, sand):
    other = make_pile("Other sand", (2360, 600), (80, 40))

    answer = reader.get(
        reverse(COMPARE), {"curve": [f"latest:{sand.pk}:1", f"latest:{other.pk}:1"]}
    )

    rows = {row.row.name: row for row in answer.context["rows"]}
    assert rows["2.36 mm"].cells[0].known == "interpolated"
    assert [rows[name].cells[1].text for name in ("4.75 mm", "75 µm")] == ["n.d.", "n.d."]
    assert "different sieves" in answer.content.decode()


STRANGE = {
    "run:999999": "There is no run 999999",
    "sample:26-9999": "There is no sample 26-9999",
    "latest:999999:5": "There is no material 999999",
    "latest:1:0": "names no curve",
    "period:1:2026-05-01:2026-04-01": "names no curve",
    "<b>x</b>": "names no curve",
}


def test_what_cannot_be_shown_is_said_and_the_rest_is_shown(reader, sand):
    first, _ = runs_of(sand)

    for curve, words in STRANGE.items():
        answer = reader.get(reverse(COMPARE), {"curve": [f"run:{first.pk}", curve]})

        assert words in answer.content.decode(), curve
        assert "<b>x</b>" not in answer.content.decode()
        assert len(answer.context["comparison"].curves) == 1


def test_a_run_without_result_says_so(reader):
    run = factories.make_run()

    answer = reader.get(reverse(COMPARE), {"curve": f"run:{run.pk}"})

    assert "has no result yet" in answer.content.decode()


def test_a_period_without_runs_says_so(reader, sand):
    answer = reader.get(reverse(COMPARE), {"curve": f"period:{sand.pk}:2001-01-01:2001-12-31"})

    assert "Washed sand has no accepted run opened 1 Jan 2001 to 31 Dec 2001" in (
        answer.content.decode()
    )


def test_scanned_numbers_are_added_to_the_address(reader, sand):
    first, second = runs_of(sand)
    sample = second.portion.sample
    query = {"curve": f"run:{first.pk}", "add": "1", "numbers": f"{sample.number} {first}"}

    answer = reader.get(reverse(COMPARE), query)

    assert answer.status_code == 302
    assert answer["Location"].endswith(f"?curve=run:{first.pk}&curve=sample:{sample.number}")


def test_a_wrong_pick_is_told_beside_its_field(reader, sand):
    material = {"material": str(sand.pk)}
    wrong = [
        ({"numbers": "26-9999"}, "numbers"),
        ({}, "numbers"),
        ({"first": "2026-01-01"} | material, "last"),
        ({"first": "2026-02-01", "last": "2026-01-01"} | material, "first"),
        ({"count": "0"} | material, "count"),
    ]

    for sent, field in wrong:
        answer = reader.get(reverse(COMPARE), {"add": "1", **sent})

        assert answer.status_code == 422, sent
        assert field in answer.context["form"].errors, sent


def test_three_points_make_no_model_line_and_the_page_says_why(reader, sand):
    short = make_pile("Short", (600, 75), (50, 10))

    answer = reader.get(
        reverse(COMPARE),
        {"curve": [f"latest:{sand.pk}:1", f"latest:{short.pk}:1"], "scale": "rrsb", "lines": "1"},
    )

    fits = {line.curve.label: line for line in answer.context["lines"]}
    assert fits["Washed sand, mean of latest 1 run"].fit is not None
    assert "at least 3 sieves" in fits["Short, mean of latest 1 run"].sentence


def test_every_way_of_showing_answers(reader, sand):
    scales = ("log", "power45", "phi", "linear", "rrsb", "ggs", "probability", "nonsense")
    shows = ("passing", "difference", "retained", "density", "nonsense")

    for show, scale in itertools.product(shows, scales):
        query = {"curve": f"latest:{sand.pk}:2", "show": show, "scale": scale}
        assert reader.get(reverse(COMPARE), query).status_code == 200, query


def test_more_than_a_dozen_curves_are_cut_and_said(reader, sand):
    tokens = [f"latest:{sand.pk}:{n}" for n in range(1, 14)]

    answer = reader.get(reverse(COMPARE), {"curve": tokens})

    assert len(answer.context["comparison"].curves) == 12
    assert "at most 12 curves" in answer.content.decode()


def test_limits_of_a_specification_stand_in_the_table(reader, sand):
    band = factories.make_specification([(4750, "95", "100"), (300, "5", "30")])

    answer = reader.get(
        reverse(COMPARE), {"curve": f"latest:{sand.pk}:1", "specification": str(band.pk)}
    )

    rows = {row.row.name: row.row for row in answer.context["rows"]}
    assert (rows["4.75 mm"].minimum, rows["300 µm"].maximum) == (95, 30)


def saved(reader, sand, form):
    first, second = runs_of(sand)
    query = {"curve": [f"run:{first.pk}", f"run:{second.pk}"]}
    answer = reader.get(reverse("compare:comparison-file", args=[form]), query)
    assert answer.status_code == 200
    return answer


def test_the_csv_holds_every_sieve_with_how_it_is_known(reader, sand):
    rows = list(csv.DictReader(io.StringIO(saved(reader, sand, "csv").content.decode())))

    first, second = runs_of(sand)
    assert [row["aperture [mm]"] for row in rows] == ["4.75", "0.6", "0.075"]
    assert rows[1][f"Run {second}: difference [points]"] == "10.0"
    assert {row[f"Run {first}: how known"] for row in rows} == {"measured"}


def test_the_workbook_holds_numbers(reader, sand):
    book = openpyxl.load_workbook(io.BytesIO(saved(reader, sand, "xlsx").content))

    assert book.sheetnames == ["Passing", "Curves", "Density"]
    assert [cell.value for cell in book["Passing"]["C"]][1:] == [90, 50, 10]


def test_the_picture_is_ours_and_well_formed(reader, sand):
    from xml.etree import ElementTree

    answer = saved(reader, sand, "svg")

    assert answer["Content-Type"] == "image/svg+xml"
    assert ElementTree.fromstring(answer.content).tag.endswith("svg")


def test_an_unknown_form_of_file_is_not_found(reader):
    assert reader.get(reverse("compare:comparison-file", args=["exe"])).status_code == 404


def queries(reader, tokens):
    def look():
        assert reader.get(reverse(COMPARE), {"curve": tokens}).status_code == 200

    return count_queries(look)


def test_many_runs_and_samples_cost_no_more_queries_than_few(reader, sand):
    for share in (52, 54, 56):
        add_run(sand, (91, share, 11))
    runs = [f"run:{run.pk}" for run in runs_of(sand)]
    samples = [f"sample:{run.portion.sample.number}" for run in runs_of(sand)]
    queries(reader, [runs[0], samples[0]])

    few = queries(reader, [runs[0], samples[0]])

    assert queries(reader, [*runs, *samples]) == few
