"""Published studies followed from what is typed to what stands on the page.

From `examples/precision.json`: ISO 5725-2, annex B example 1 (sulfur in coal, from memory), ASTM
E2489 one-sample data (NIST public collection; robust z of 30 laboratories), Bland and Altman
(1986, from memory). The sources of further figures stand beside them.
"""

import re

import pytest
from django.urls import reverse

from gradation.models import Study, StudyFollowUp
from gradation.policy import Role
from gradation.services import studies
from tests import factories
from tests.published.examples import example

pytestmark = pytest.mark.django_db


@pytest.fixture
def person(client):
    factories.make_laboratory()
    client.person = factories.make_person(Role.QUALITY_MANAGER)
    client.force_login(client.person)
    return client


def begin(person, kind, **values):
    sent = {"title": "As published", "figure": "loss", **values}
    answer = person.post(reverse("studies:study-begin", args=[kind]), sent)
    assert answer.status_code == 302, answer.context["form"].errors
    return Study.objects.get()


def rows_of(person, study, heading):
    """Read a table of the page: its cells, row by row."""
    page = person.get(reverse("studies:study-show", args=[study.number])).content.decode()
    table = page.split(f"<h2>{heading}</h2>")[1].split("<tbody>")[1].split("</tbody>")[0]
    rows = [re.findall(r"<td[^>]*>(.*?)</td>", row) for row in table.split("</tr>") if "<td" in row]
    return [[re.sub(r"<[^>]+>", "", cell) for cell in row] for row in rows]


def test_precision_of_the_standard_from_the_pasted_table_to_the_page(person):
    case = example("precision", "unequal_replicates")
    lines = [
        f"{name}; {level + 1}; " + "; ".join(str(value) for value in cell)
        for name, levels in case.inputs["results_by_lab_then_level"].items()
        for level, cell in enumerate(levels)
    ]

    study = begin(
        person,
        "precision",
        table="\n".join(lines),
        participants_are="laboratories",
        allows_unequal="on",
    )

    printed, within = case.outputs, case.tolerance["abs"]
    found = {level["name"]: level["precision"] for level in study.figures["used"]["levels"]}
    for place in range(4):
        level = found[str(place + 1)]
        assert level["mean"] == pytest.approx(printed["mean"][place], abs=within)
        assert level["repeatability_sd"] == pytest.approx(printed["s_r"][place], abs=within)
        assert level["reproducibility_sd"] == pytest.approx(printed["s_R"][place], abs=within)
    rows = rows_of(person, study, "Repeatability and reproducibility")
    shown = {row[0]: (float(row[4]), float(row[6])) for row in rows}
    for place in range(4):
        assert shown[str(place + 1)] == pytest.approx(
            (printed["s_r"][place], printed["s_R"][place]), abs=within
        )


def test_reliability_as_the_standard_tabulates_it():
    # ISO 5725-1:1994, tables 1 and 2 (memory): A_r 0.62 for p = 5, n = 2 and 0.18 for p = 20,
    # n = 4; A_R 0.46 for p = 5, n = 2, gamma 1; 0.61 for gamma 2; 0.45 for p = 10, n = 4, gamma 5
    from gradation.science.quality.precision import Precision
    from gradation.science.quality.reliability import reliability

    def found(p, n, gamma):
        return reliability(Precision(1, 1, 0, gamma, 2.8, 2.8 * gamma, p, p * n, n))

    assert found(5, 2, 1).repeatability == pytest.approx(0.62, abs=0.005)
    assert found(20, 4, 1).repeatability == pytest.approx(0.18, abs=0.005)
    assert found(5, 2, 1).reproducibility == pytest.approx(0.46, abs=0.005)
    assert found(5, 2, 2).reproducibility == pytest.approx(0.61, abs=0.005)
    assert found(10, 4, 5).reproducibility == pytest.approx(0.45, abs=0.005)


def test_robust_z_from_the_pasted_round_to_the_page_and_its_follow_up(person):
    case = example("precision", "robust_z_scores_30_laboratories")
    values = case.inputs["values"]
    table = "\n".join(f"L{i};{value}" for i, value in enumerate(values, start=1))

    study = begin(person, "round", own=str(values[4]), results=table, estimate="quartiles")

    z, printed = study.figures["z"], case.outputs
    assert z["assigned"] == pytest.approx(printed["median"], abs=case.tolerance["abs"])
    assert z["sd"] == pytest.approx(printed["nIQR"], abs=case.tolerance["abs"])
    rows = rows_of(person, study, "All results")
    by_name = {row[0]: (float(row[2].replace("−", "-")), row[3]) for row in rows}
    for name, laboratory in (("z_lab27", "L27"), ("z_lab5", "L5 (ours)"), ("z_lab4", "L4")):
        assert by_name[laboratory][0] == pytest.approx(printed[name], abs=case.tolerance["z"])
    far = [name for name, (_, verdict) in by_name.items() if verdict == "unsatisfactory"]
    assert far == ["L5 (ours)", "L27"]
    assert not StudyFollowUp.objects.exists()
    studies.keep_study(actor=person.person, study=study)
    assert "z is +3.06 (unsatisfactory)" in StudyFollowUp.objects.get().reasons


def test_two_flow_meters_from_the_pasted_pairs_to_the_page(person):
    case = example("precision", "agreement_of_two_flow_meters")
    given, printed, within = case.inputs, case.outputs, case.tolerance
    pairs = zip(given["small_meter"], given["large_meter"], strict=True)
    table = "\n".join(f"{i}\t{small}\t{large}" for i, (small, large) in enumerate(pairs))

    study = begin(
        person,
        "methods",
        pairs=table,
        first_method="small meter",
        second_method="large meter",
        variance_ratio="1",
        valid_for="17 subjects, 178 to 656 l/min",
    )

    rows = {row[0]: row for row in rows_of(person, study, "Line and limits of agreement")}

    def shown(name):
        return float(rows[name][1].replace("−", "-"))

    assert shown("Mean difference") == pytest.approx(printed["mean_difference"], abs=within["abs"])
    # the paper takes 2 s, the limits here 1.96 s: 0.04 x 38.8 = 1.55 nearer to the mean
    nearer = 0.04 * printed["s"]
    assert shown("Lower limit of agreement") == pytest.approx(
        printed["lower_limit"] + nearer, abs=within["limits"]
    )
    assert shown("Upper limit of agreement") == pytest.approx(
        printed["upper_limit"] - nearer, abs=within["limits"]
    )
    assert (
        "Local, never universal"
        in person.get(reverse("studies:study-show", args=[study.number])).content.decode()
    )
