"""Specifications on screen: limits typed row by row, faults beside them, files, the library."""

import html
import json
import re

import pytest
from django.urls import reverse

from gradation.models import SpecificationLine, SpecificationVersion
from gradation.policy import Role
from gradation.services import specifications
from tests import factories
from tests.counting import count_queries


@pytest.fixture
def manager(client, db):
    factories.make_laboratory()
    person = factories.make_person(Role.QUALITY_MANAGER)
    client.force_login(person)
    return person


@pytest.fixture
def specification(manager):
    return factories.make_specification().specification


def rows(*limits):
    """Lay out limits as the page sends them: kind, sieve or value, finer sieve, limits."""
    data = {"rows": str(len(limits) + 2)}
    for number in range(len(limits) + 2):
        data[f"line-{number}-kind"] = "passing"
    for number, limit in enumerate(limits):
        for name, value in limit.items():
            data[f"line-{number}-{name}"] = value
    return data


def told(*limits, **fields):
    return {
        "effective_from": "2030-01-01",
        "decision_rule": "plain_acceptance",
        "lot_rule": "single",
        "lot_size": "1",
        **rows(*limits),
        **fields,
    }


def send(client, name, data, *args, **more):
    return client.post(reverse(f"specifications:{name}", args=args), {**data, **more})


EVERY_KIND = (
    {"sieve": "4 mm", "minimum": "85", "maximum": "99", "target": "92"},
    {"kind": "retained", "sieve": "2 mm", "minimum": "0", "maximum": "45"},
    {"kind": "between", "sieve": "500 µm", "finer": "250 µm", "maximum": "45"},
    {"kind": "characteristic", "sieve": "fineness modulus", "minimum": "2,3", "maximum": "3.1"},
    {"sieve": "No. 200", "target": "3", "tolerance": "4", "decimals": "1", "is_strict": "on"},
)


def test_limits_of_every_kind_are_kept_as_they_were_typed(client, specification):
    answer = send(client, "version-draft", told(*EVERY_KIND, product="Sand"), specification.pk)

    version = SpecificationVersion.objects.get(version=2)
    assert answer.status_code == 302
    assert (version.product, version.state) == ("Sand", "draft")
    lines = version.lines.order_by("position")
    assert [(line.kind, line.aperture_um or line.characteristic) for line in lines] == [
        ("passing", 4000),
        ("retained", 2000),
        ("between", 500),
        ("characteristic", "fineness_modulus"),
        ("passing", 75),
    ]
    last = lines[4]
    assert (last.minimum, last.maximum, last.decimals, last.is_inclusive) == (0, 7, 1, False)


@pytest.mark.parametrize(
    ("limits", "fields", "said"),
    [
        (({"sieve": "4 mm", "minimum": "99", "maximum": "85"},), {}, "minimum 99 is above"),
        (({"sieve": "4 mm"}, {"sieve": "2 mm", "maximum": "9"}), {}, "neither minimum nor"),
        (({"sieve": "4", "maximum": "9"},), {}, "is not an aperture"),
        (({"sieve": "4 mm", "maximum": "many"},), {}, "not a number"),
        (({"sieve": "640 µm", "maximum": "9"},), {}, "is in no series"),
        (
            ({"sieve": "4 mm", "maximum": "50"}, {"sieve": "2 mm", "minimum": "60"}),
            {},
            "No curve can keep these limits",
        ),
        (({"sieve": "4 mm", "maximum": "9"},), {"lot_rule": "mean", "lot_size": "0"}, "at least"),
        ((), {}, "at least one limit"),
    ],
)
def test_wrong_limit_is_said_beside_it_and_nothing_is_kept(
    client, specification, limits, fields, said
):
    before = SpecificationLine.objects.count()

    answer = send(client, "version-draft", told(*limits, **fields), specification.pk)

    page = html.unescape(answer.content.decode())
    assert answer.status_code == 422
    assert said in page
    assert SpecificationVersion.objects.count() == 1
    assert SpecificationLine.objects.count() == before
    for limit in limits:
        assert all(f'value="{value}"' in page for name, value in limit.items() if name != "kind")


def test_odd_size_is_kept_with_its_tick(client, specification):
    limit = {"sieve": "640 µm", "maximum": "9", "odd_size": "on"}

    answer = send(client, "version-draft", told(limit), specification.pk)

    assert answer.status_code == 302


def test_more_rows_keep_what_was_typed_and_store_nothing(client, specification):
    data = told({"sieve": "4 mm", "maximum": "9"})

    answer = send(client, "version-draft", data, specification.pk, act="more")

    page = html.unescape(answer.content.decode())
    assert answer.status_code == 200
    assert 'value="4 mm"' in page
    assert f'name="rows" value="{int(data["rows"]) + 3}"' in page
    assert SpecificationVersion.objects.count() == 1


def test_draft_is_opened_as_it_was_kept_and_changed(client, specification):
    send(client, "version-draft", told(*EVERY_KIND), specification.pk)
    version = SpecificationVersion.objects.get(version=2)

    page = client.get(reverse("specifications:version-edit", args=[version.pk]))
    shown = html.unescape(page.content.decode())
    send(client, "version-edit", told({"sieve": "1 mm", "maximum": "30"}), version.pk)

    assert 'value="fineness modulus"' in shown
    assert 'value="4"' in shown  # the tolerance, from which the limits of No. 200 follow
    assert [line.aperture_um for line in version.lines.all()] == [1000]


def test_preview_draws_what_can_be_read_and_names_what_cannot_be_kept(client, manager):
    data = rows({"sieve": "4 mm", "maximum": "50"}, {"sieve": "2 mm", "minimum": "60"})

    answer = client.post(reverse("specifications:limits-preview"), data)

    page = html.unescape(answer.content.decode())
    figure = json.loads(re.search(r'<script id="figure"[^>]*>(.*?)</script>', page, re.S)[1])
    assert "No curve can keep these limits" in page
    assert any("limits at most 50 %" in str(trace.get("text")) for trace in figure["data"])
    assert not SpecificationVersion.objects.exists()


def test_preview_says_which_rules_hold_though_they_are_not_drawn(client, manager):
    data = rows({"sieve": "4 mm", "minimum": "90"}, {"sieve": "2 mm", "maximum": "30"})
    rules = {"lot_rule": "mean", "lot_size": "4", "neighbour_maximum_pct": "45"}

    alone = client.post(reverse("specifications:limits-preview"), data)
    ruled = client.post(reverse("specifications:limits-preview"), data | rules)

    page = html.unescape(ruled.content.decode())
    assert "not drawn" not in html.unescape(alone.content.decode())
    assert "at most 45 % between neighbouring sieves" in page
    assert "the lot rule, the mean of 4 results of a lot" in page
    # By hand: at least 90 - 30 = 60 % must lie between 4 mm and 2 mm, at most 45.
    assert "No curve can keep these limits" in page


def test_two_persons_stand_behind_a_version(client, manager, specification):
    send(client, "version-draft", told({"sieve": "4 mm", "maximum": "9"}), specification.pk)
    version = SpecificationVersion.objects.get(version=2)
    end = {"effective_to": "2029-12-31"}
    send(client, "version-end", end, specification.versions.get(version=1).pk)

    send(client, "version-propose", {}, version.pk)
    own = send(client, "version-approve", {"confirmation": ""}, version.pk)
    client.force_login(factories.make_person(Role.SIGNATORY))
    send(client, "version-approve", {"confirmation": ""}, version.pk)

    assert own.status_code == 422
    assert "Ask somebody else" in html.unescape(own.content.decode())
    version.refresh_from_db()
    assert version.state == "released"


def test_overlap_is_said_when_it_is_proposed(client, specification):
    send(client, "version-draft", told({"sieve": "4 mm", "maximum": "9"}), specification.pk)

    answer = send(client, "version-propose", {}, SpecificationVersion.objects.get(version=2).pk)

    assert answer.status_code == 422
    assert "the dates overlap" in answer.content.decode()


@pytest.mark.parametrize("kind", ["csv", "xlsx", "json"])
def test_what_is_exported_fills_the_rows_again_as_it_was(client, specification, kind):
    fields = {"product": "Sand", "decision_rule": "guard_band", "confidence_pct": "90"}
    send(client, "version-draft", told(*EVERY_KIND, **fields), specification.pk)
    first = SpecificationVersion.objects.get(version=2)
    file = client.get(reverse("specifications:version-export", args=[first.pk, kind]))
    upload = _file(file.content, f"limits.{kind}")

    filled = send(client, "version-draft", told(), specification.pk, act="import", file=upload)
    again = send(client, "version-draft", _as_shown(filled), specification.pk)

    second = SpecificationVersion.objects.get(version=3)
    assert again.status_code == 302
    assert _values(second) == _values(first)
    if kind == "json":
        named = ("product", "decision_rule", "confidence")
        assert [getattr(second, name) for name in named] == [getattr(first, name) for name in named]


def _file(content, name):
    from django.core.files.uploadedfile import SimpleUploadedFile

    return SimpleUploadedFile(name, content)


def _as_shown(answer):
    """Give back what a filled page shows, as a browser would send it."""
    assert answer.status_code == 200
    form, limits = answer.context["form"], answer.context["rows"]
    data = {field.html_name: field.value() or "" for field in form}
    data |= {"rows": str(len(limits.rows))}
    for row in limits.rows:
        for field in row:
            value = field.value()
            if value not in {None, False, ""}:
                data[field.html_name] = "on" if value is True else str(value)
    return {name: str(value) for name, value in data.items() if value is not False}


def _values(version):
    return [
        (line.kind, line.aperture_um, line.finer_aperture_um, line.characteristic, line.minimum,
         line.maximum, line.target, line.tolerance, line.is_inclusive, line.decimals)
        for line in version.lines.order_by("position")
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"kind,sieve,maximum\npassing,4 furlongs,9\n", "Limit 1, sieve"),
        (b"kind,sieve,maximum\nsomething,4 mm,9\n", "is not known here"),
        (b"sieve,most\n4 mm,9\n", "unknown"),
        (b'{"lines": [{"sieve": "4 mm", "maximum": "x"}]}', "Limit 1, maximum"),
        (b'{"colour": "red"}', "no such field"),
        (b"\xff\xfe", "UTF-8"),
        (b"{", "cannot be read as JSON"),
    ],
)
def test_file_that_cannot_be_read_names_what_is_wrong(client, specification, content, said):
    upload = _file(content, "limits.csv")

    answer = send(client, "version-draft", told(), specification.pk, act="import", file=upload)

    assert answer.status_code == 422
    assert said in html.unescape(answer.content.decode())
    assert SpecificationVersion.objects.count() == 1


def test_words_that_a_spreadsheet_would_run_are_exported_harmless(client, specification):
    version = specification.versions.get()
    version.lines.update(mark="=1+1")

    text = client.get(
        reverse("specifications:version-export", args=[version.pk, "csv"])
    ).content.decode()

    assert "'=1+1" in text
    assert ",=1+1" not in text


def test_library_marks_every_figure_and_makes_a_draft(client, manager):
    key = "EN 12620 GC85/20 4000 8000"
    place = reverse("specifications:library-show", args=[key])
    shown = client.get(place).content.decode()

    data = {"code": "NS-91", "title": "Stone 4/8", "effective_from": "2030-01-01"}
    answer = client.post(place, data)

    version = SpecificationVersion.objects.get(specification__code="NS-91")
    assert "confirm against your edition (from memory)" in shown
    assert answer["Location"] == reverse("specifications:version-edit", args=[version.pk])
    assert {line.mark for line in version.lines.all()} == {"from memory"}
    assert version.library_key == key


def test_draft_from_memory_is_not_approved_before_its_copy_is_named(client, manager):
    place = reverse("specifications:library-show", args=["EN 12620 GC85/20 4000 8000"])
    client.post(place, {"code": "NS-91", "title": "Stone", "effective_from": "2030-01-01"})
    version = SpecificationVersion.objects.get(specification__code="NS-91")
    specifications.propose_specification_version(actor=manager, version=version)
    client.force_login(factories.make_person(Role.SIGNATORY))

    refused = send(client, "version-approve", {"confirmation": ""}, version.pk)
    send(client, "version-approve", {"confirmation": "Edition 2013, our copy"}, version.pk)

    version.refresh_from_db()
    assert refused.status_code == 422
    assert "kept from memory" in refused.content.decode()
    assert (version.state, version.confirmation) == ("released", "Edition 2013, our copy")


def test_library_is_searched_and_a_category_worked_out(client, manager):
    listed = client.get(reverse("specifications:library-list"), {"q": "superpave"})
    asked = {"category": "EN 12620 GC85/20", "lower": "4 mm", "upper": "8 mm"}
    worked = client.get(reverse("specifications:library-list"), asked)
    refused = client.get(reverse("specifications:library-list"), asked | {"lower": "9 mm"})

    assert "Superpave" in listed.content.decode()
    assert "FEPA" not in listed.content.decode()
    assert worked["Location"].endswith("/library/EN%2012620%20GC85/20%204000%208000/")
    assert refused.status_code == 422


@pytest.mark.parametrize("page", ["specification-list", "library-list"])
def test_lists_cost_the_same_however_many_there_are(client, manager, page):
    def look():
        answer = client.get(reverse(f"specifications:{page}"))
        assert answer.status_code == 200

    factories.make_specification()
    few = count_queries(look)
    for _ in range(4):
        factories.make_specification()

    assert count_queries(look) == few
