"""Procedures on screen: the steps of the work, sizes row by row, motion, compare, library."""

import html
import re
from decimal import Decimal

import pytest
from django.urls import reverse

from gradation.models import ProcedureVersion
from gradation.policy import Role
from gradation.services import methods
from gradation.services.procedure_reading import nest_of
from gradation.web.forms.methods import ProcedureVersionForm
from tests import factories
from tests.counting import count_queries

FIELDS = {
    "standard_reference": "EN 933-1",
    "edition": "2012",
    "basis": "initial_dry",
    "entry": "individual",
    "loss_limit_pct": "1",
    "passing_decimals": "0",
    "rounding_mode": "half_even",
    "interpolation": "log_linear",
    "determinations": "1",
    "outlier_rule": "no test",
    "on_disagreement": "a further determination",
    "end_point_form": "not asked for",
    "end_point_of": "total",
}
EVERYTHING = {
    "unconfirmed_note": "All of it",
    "portion_rule": "astm_c136_fine",
    "minimum_portion_g": "300",
    "maximum_portion_g": "900,5",
    "divider_passes": "2",
    "drying": "to constant mass",
    "drying_temperature_c": "110",
    "constant_mass_pct": "0.1",
    "drying_interval_minutes": "60",
    "wash": "on",
    "guard_aperture_um": "1.18 mm",
    "wet_sieving": "on",
    "aids": "rubber balls",
    "material_classes": "Natural sand up to 4 mm, not light aggregate",
    "authorisation": "Scope N-17, line 4",
    "conventions": "Modulus from 4 mm to 125 µm",
    "precision_statement": "r 1.2 %, R 2.4 % at 50 % passing",
    "loading_rule": "astm_c136",
    "shaking_motion": "Vertical",
    "shaking_minutes": "10",
    "shaking_amplitude_mm": "1",
    "shaking_frequency_hz": "50",
    "shaking_acceleration_g": "5.03",
    "shaking_interval_s": "10",
    "shaking_tolerance_pct": "3",
    "end_point_form": "an extra minute by hand",
    "end_point_limit_pct": "0.5",
    "end_point_of": "sieve",
    "end_point": "less than half a per cent",
    "entry": "cumulative",
    "balance_readability_g": "0.1",
    "basis": "sum_of_fractions",
    "passing_decimals": "1",
    "rounding_mode": "half_up",
    "interpolation": "linear",
    "fine_aperture_um": "300 µm",
    "fine_below_pct": "10",
    "fine_decimals": "2",
    "determinations": "2",
    "determinations_most": "4",
    "repeatability_of": "fineness_modulus",
    "repeatability_sd": "0.05",
    "repeatability_limit": "0.14",
    "outlier_rule": "grubbs",
    "on_disagreement": "report the median",
    "cautions": "Hot pans.",
}


def sizes(*rows):
    """Lay out sizes as the page sends them: the size, then the ticks that are set."""
    data = {"rows": str(len(rows) + 2)}
    for number, (size, *ticks) in enumerate(rows):
        data[f"size-{number}-size"] = size
        data |= {f"size-{number}-{tick}": "on" for tick in ticks}
    return data


NEST = sizes(("8 mm", "is_optional"), ("4.75 mm", "is_split"), ("No. 30",), ("300 µm",))


@pytest.fixture
def manager(client, db):
    factories.make_laboratory()
    person = factories.make_person(Role.QUALITY_MANAGER)
    client.force_login(person)
    return person


@pytest.fixture
def procedure(manager):
    return factories.make_procedure().procedure


def send(client, name, data, *args):
    return client.post(reverse(f"procedures:{name}", args=args), data)


def show(client, name, *args, **asked):
    return html.unescape(client.get(reverse(f"procedures:{name}", args=args), asked).text)


def told(page):
    """Give the text of a page in one line, without its marks."""
    return " ".join(re.sub(r"<[^>]+>", " ", html.unescape(page)).split())


def test_everything_that_is_typed_is_kept(client, procedure):
    answer = send(client, "version-draft", {**FIELDS, **EVERYTHING, **NEST}, procedure.pk)

    assert answer.status_code == 302
    version = ProcedureVersion.objects.get(version=2)
    for name, typed in {**FIELDS, **EVERYTHING}.items():
        value = getattr(version, name)
        if isinstance(value, bool):
            assert value is True, name
        elif isinstance(value, Decimal) and "aperture" not in name:
            assert value == Decimal(typed.replace(",", ".")), name
        elif "aperture" not in name:
            assert str(value) == typed, name
    assert (version.guard_aperture_um, version.fine_aperture_um) == (1180, 300)
    places = [(place.aperture_um, place.is_optional, place.is_split)
              for place in version.apertures.all()]  # fmt: skip
    assert places == [
        (8000, True, False),
        (4750, False, True),
        (600, False, False),
        (300, False, False),
    ]


def test_the_form_asks_for_every_column_of_a_version(db):
    asked = {name for _, names in ProcedureVersionForm.groups for name in names}

    assert asked == set(methods.CHANGEABLE)
    assert asked == set(ProcedureVersionForm.base_fields)


def test_the_page_of_a_version_says_all_of_it(client, procedure):
    send(client, "version-draft", {**FIELDS, **EVERYTHING, **NEST}, procedure.pk)
    version = ProcedureVersion.objects.get(version=2)

    page = told(show(client, "version-show", version.pk))

    for words in (
        "8 mm · 4.75 mm · 600 µm · 300 µm · pan",
        "The nest may do without 8 mm",
        "What passes is reduced at 4.75 mm",
        "Guard sieve 1.18 mm",
        "Oven 110 °C",
        "Passes of the divider 2 or more",
        "Portion at most 900.5 g",
        "Pause every 10 s",
        "0.5 % of what lies on that sieve",
        "300 µm: 2, when below 10 %",
        "Compared by fineness modulus",
        "Outlier test Grubbs",
        "report the median",
        "Throw number 5.03",
        "Hot pans.",
    ):
        assert words in page


def test_a_fault_stands_beside_its_field_and_nothing_is_kept(client, procedure):
    wrong = {**FIELDS, "end_point_form": "successive shakings", "maximum_portion_g": "a bag"}

    answer = send(client, "version-draft", {**wrong, **sizes(("4 mm",), ("wide",))}, procedure.pk)
    page = answer.text

    assert answer.status_code == 422
    assert 'id="id_maximum_portion_g_error"' in page
    assert "wide" in page
    assert ProcedureVersion.objects.filter(version=2).count() == 0


def test_a_fault_of_the_service_stands_beside_its_row(client, procedure):
    nest = sizes(("4 mm",), ("2 mm", "is_split"), ("333 µm",))

    answer = send(client, "version-draft", {**FIELDS, **nest}, procedure.pk)

    assert answer.status_code == 422
    assert "is in no standard series" in answer.text


def test_several_sizes_at_once_become_rows_and_lose_nothing_typed(client, procedure):
    data = {**FIELDS, **sizes(("4 mm",)), "sizes": "8 mm; No. 30", "act": "several"}

    page = send(client, "version-draft", data, procedure.pk).text

    values = re.findall(r'name="size-\d+-size" value="([^"]+)"', page)
    assert [html.unescape(value) for value in values] == ["8 mm", "4 mm", "600 µm"]
    assert 'value="EN 933-1"' in page


def test_the_next_draft_begins_with_what_the_newest_version_says(client, procedure):
    page = show(client, "version-draft", procedure.pk)

    assert 'value="ASTM C136/C136M"' in page
    assert re.findall(r'name="size-0-size" value="([^"]+)"', page) == ["4.75 mm"]


def test_what_is_released_cannot_be_edited(client, procedure):
    version = procedure.versions.get()

    assert client.get(reverse("procedures:version-edit", args=[version.pk])).status_code == 302
    answer = send(client, "version-edit", {**FIELDS, **NEST}, version.pk)
    assert answer.status_code == 302
    version.refresh_from_db()
    assert version.standard_reference == "ASTM C136/C136M"


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        # 1 mm at 50 Hz: 49.35 m/s2; by the square of the frequency 0.69 mm at 60 Hz (1/1.44).
        (
            {"amplitude_mm": "1", "frequency_hz": "50"},
            ("5.03 g (49.3 m/s²)", "The same at 60 Hz 0.69 mm"),
        ),
        ({"acceleration_g": "5.032", "frequency_hz": "50"}, ("peak to peak 1.00 mm",)),
        ({"amplitude_mm": "0,1", "frequency_hz": "50"}, ("grains stay down", "not thrown")),
        ({"amplitude_mm": "1"}, ("says nothing without its frequency",)),
        ({"motion": "Circular with taps", "frequency_hz": "50"}, ("compared by its time",)),
        ({"amplitude_mm": "x", "frequency_hz": "50"}, ()),
        ({"amplitude_mm": "1", "frequency_hz": "0"}, ("above zero",)),
    ],
)
def test_the_motion_is_worked_out_as_it_is_typed(client, manager, typed, words):
    sent = {f"shaking_{name}": value for name, value in typed.items()}

    answer = send(client, "motion-preview", sent)

    assert answer.status_code == 200
    for word in words:
        assert word in told(answer.text)


def test_two_versions_stand_side_by_side_with_what_differs_marked(client, manager, procedure):
    first = procedure.versions.get()
    draft = methods.draft_procedure_version(
        actor=manager,
        version=ProcedureVersion(
            procedure=procedure,
            standard_reference=first.standard_reference,
            edition="2019",
            basis=first.basis,
            loss_limit_pct=Decimal("0.2"),
        ),
        places=nest_of(*factories.APERTURES_UM),
    )

    page = show(client, "version-compare", draft.pk)
    only = show(client, "version-compare", draft.pk, only="on", other=first.pk)

    rows = re.findall(r"<tr>(?:(?!</tr>).)*?differs__word.*?</tr>", page)
    assert [told(row) for row in rows] == [
        "Edition differs 2014 2019",
        "Loss at most differs 0.3 % 0.2 %",
    ]
    assert "2 differences" in page
    assert "Rounding" not in only
    assert "0.2 %" in only


def test_a_version_is_never_compared_with_another_procedure(client, procedure):
    stranger = factories.make_procedure()
    version = procedure.versions.get()

    page = show(client, "version-compare", version.pk, other=stranger.pk)

    assert "nothing to set beside it" in page


def test_proposed_by_one_released_by_another(client, manager, procedure):
    send(client, "version-draft", {**FIELDS, **NEST}, procedure.pk)
    version = ProcedureVersion.objects.get(version=2)
    send(client, "version-propose", {}, version.pk)

    own = told(show(client, "version-show", version.pk))
    refused = send(client, "version-approve", {}, version.pk)
    client.force_login(factories.signatory())
    released = send(client, "version-approve", {}, version.pk)

    version.refresh_from_db()
    assert "another person releases it" in own
    assert refused.status_code in {403, 422}
    assert (released.status_code, version.state) == (302, "released")


def test_a_sample_in_work_is_decided_on_from_the_page(client, manager):
    sample = factories.make_sample()
    former = sample.procedure_version
    send(client, "version-draft", {**FIELDS, **NEST}, former.procedure_id)
    newer = factories.release_procedure(ProcedureVersion.objects.get(version=2))

    assert "1 sample in work" in told(show(client, "version-show", newer.pk))
    assert sample.number in show(client, "order-list", newer.pk)
    send(client, "order-decide", {"decision": "move", "reason": "Agreed."}, newer.pk, sample.number)

    sample.refresh_from_db()
    assert sample.procedure_version == newer
    assert f"moved to {newer}" in told(show(client, "order-list", newer.pk))


def test_the_library_shows_each_figure_with_mark_and_source(client, manager):
    listed = told(show(client, "library-list"))
    page = told(show(client, "library-show", "en_933_1_washed"))

    assert "Fertiliser" in listed
    assert "Loss at most 1 % confirm against your edition (from memory)" in page
    assert "EN 933-1 cl. 8, from memory" in page


def test_a_draft_from_the_library_opens_in_the_editor(client, manager):
    answer = send(client, "library-show", {"code": "P-9", "title": "Soil"}, "astm_d6913_composite")

    version = ProcedureVersion.objects.get()
    assert answer.url == reverse("procedures:version-edit", args=[version.pk])
    assert (version.library_key, version.procedure.code) == ("astm_d6913_composite", "P-9")
    assert "to be confirmed against your edition" in told(client.get(answer.url).text)
    page = told(show(client, "version-show", version.pk))
    assert "confirm against your edition (from memory)" in page


def test_a_code_is_asked_for_where_no_procedure_is_chosen(client, manager):
    answer = send(client, "library-show", {"title": "Soil"}, "astm_d6913_composite")

    assert answer.status_code == 422
    assert ProcedureVersion.objects.count() == 0


@pytest.mark.parametrize("name", ["version-show", "version-edit", "version-compare"])
def test_a_page_of_one_version_asks_the_same_few_questions_whatever_its_nest(
    client, manager, procedure, name
):
    counts = []
    for nest in (sizes(("4 mm",)), NEST):
        send(client, "version-draft", {**FIELDS, **nest}, procedure.pk)
        version = ProcedureVersion.objects.latest("version")
        address = reverse(f"procedures:{name}", args=[version.pk])
        counts.append(count_queries(lambda address=address: client.get(address)))

    assert counts[0] == counts[1]
    assert counts[1] <= 20
