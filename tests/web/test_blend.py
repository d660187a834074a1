"""Working a blend out on screen: shares, faults beside their fields, keeping, printing."""

import pytest
from django.urls import reverse
from django.utils.html import strip_tags

from gradation.models import BlendRecord
from gradation.policy import Role
from tests import factories
from tests.counting import count_queries
from tests.curve_runs import make_pile

pytestmark = pytest.mark.django_db
WORK = "blend:record-work"
APERTURES_UM = (4750, 600, 75)


@pytest.fixture
def person(client):
    factories.make_laboratory()
    client.force_login(factories.make_person(Role.QUALITY_MANAGER))
    return client


@pytest.fixture
def asked():
    """Ask for the largest margin of a coarse and a fine stockpile: half of each."""
    coarse = make_pile("Coarse", APERTURES_UM, (30, 10, 0))
    fine = make_pile("Fine", APERTURES_UM, (100, 60, 10))
    band = factories.make_specification([(4750, "55", "75"), (75, "2", "8")])
    return {
        "work": "1",
        "specification": str(band.pk),
        "pile1-material": str(coarse.pk),
        "pile2-material": str(fine.pk),
    }


def test_the_page_shows_shares_and_margins(person, asked):
    # 4.75 mm: 30 a + 100 (1 - a) = 65 and 75 µm: 10 (1 - a) = 5 lie in the middle of both bands
    answer = person.get(reverse(WORK), asked)

    content = answer.context["content"]
    assert [pile.share_pct for pile in content.piles] == ["50.0", "50.0"]
    assert [(s.blend_pct, s.margin_pct) for s in content.sieves] == [
        ("65.0", "10.0"),
        ("5.0", "3.0"),
    ]
    assert not BlendRecord.objects.exists()


def test_an_empty_page_asks_for_stockpiles(person):
    answer = person.get(reverse(WORK))

    assert answer.status_code == 200
    assert len(answer.context["form"].shown_piles) == 3


def test_wrong_lines_are_told_beside_their_fields_and_all_that_was_typed_stays(person, asked):
    wrong = [
        ({"pile1-least": "60", "pile2-least": "50"}, None, "add to 110 %"),
        ({"pile1-least": "60", "pile1-most": "40"}, "pile1-least", "must not exceed"),
        ({"pile1-fixed": "60", "pile1-most": "40"}, "pile1-fixed", "has no bounds"),
        ({"pile1-least": "a third"}, "pile1-least", "is not a number"),
        ({"pile1-number": "26-9999", "pile1-material": ""}, "pile1-number", "There is no run"),
        ({"pile1-number": "26-0001"}, "pile1-material", "not both"),
        ({"pile1-first": "2026-01-01"}, "pile1-first", "needs both its days"),
        ({"pile3-least": "10"}, "pile3-material", "Choose a material"),
        ({"specification": ""}, "specification", "Choose the specification"),
        ({"goal": "least_squares"}, "target", "states no target"),
        ({"goal": "least_squares", "target": "26-9999"}, "target", "There is no run"),
        ({"pile2-material": asked["pile1-material"]}, "pile2-material", "is a stockpile already"),
    ]

    for change, field, words in wrong:
        answer = person.get(reverse(WORK), asked | change)

        assert answer.status_code == 422, change
        page = answer.content.decode()
        assert words in page, change
        if field:
            assert f'id="id_{field}_error"' in page, change
        assert "content" not in answer.context, change


def test_a_blend_that_cannot_be_says_so_and_names_the_lines(person, asked):
    tight = factories.make_specification([(4750, "90", "100"), (75, "0", "3")])

    page = person.get(reverse(WORK), asked | {"specification": str(tight.pk)}).content.decode()
    page = strip_tags(page)  # sizes are kept together with their units

    assert "No blend exists." in page
    assert "at least 90 % passing 4.75 mm; at most 3 % passing 75 µm" in page


def test_a_title_keeps_it_and_the_record_can_be_read_and_printed(person, asked):
    sent = person.post(
        f"{reverse(WORK)}?{'&'.join(f'{k}={v}' for k, v in asked.items())}",
        {"title": "Half and half", "note": "For the trial mix."},
    )

    record = BlendRecord.objects.get()
    assert sent["Location"] == reverse("blend:record-show", args=[record.number])
    page = person.get(sent["Location"]).content.decode()
    assert "Half and half" in page
    assert "For the trial mix." in page
    printed = person.get(reverse("blend:record-pdf", args=[record.number]))
    assert printed.content.startswith(b"%PDF")
    table = person.get(reverse("blend:record-csv", args=[record.number]))
    assert b"4.75,30.0,100.0,65.0,55,75,,10.0" in table.content


def test_without_a_title_nothing_is_kept(person, asked):
    address = f"{reverse(WORK)}?{'&'.join(f'{k}={v}' for k, v in asked.items())}"

    answer = person.post(address, {"title": " "})

    assert answer.status_code == 422
    assert "title" in answer.context["keep"].errors
    assert not BlendRecord.objects.exists()


def test_who_may_not_keep_sees_the_blend_without_the_button(client, asked):
    factories.make_laboratory()
    client.force_login(factories.make_person(Role.AUDITOR))

    page = client.get(reverse(WORK), asked).content.decode()

    assert "Shares by mass" in page
    assert "Keep this blend" not in page


def test_a_blend_that_is_not_there_is_not_found(person):
    assert person.get(reverse("blend:record-show", args=["B26-9999"])).status_code == 404


def test_a_long_list_of_blends_costs_no_more_queries_than_a_short_one(person, asked):
    address = f"{reverse(WORK)}?{'&'.join(f'{k}={v}' for k, v in asked.items())}"

    def look():
        assert person.get(reverse("blend:record-list")).status_code == 200

    person.post(address, {"title": "First"})
    count_queries(look)
    few = count_queries(look)
    for n in range(4):
        person.post(address, {"title": f"Blend {n}"})

    assert count_queries(look) == few
