"""The history report tells every entry, in the order of the ledger."""

import dataclasses

import pytest

from gradation.documents.content_json import ContentFault
from gradation.documents.history import (
    HistoryChange,
    HistoryContent,
    HistoryEntry,
    history_html,
    history_pdf,
)
from tests.charts.hostile_texts import HOSTILE_TEXTS
from tests.documents import reading


def make_history(count=3, **changes):
    entries = tuple(
        HistoryEntry(
            at=f"2026-11-{20 + i // 40:02d}T10:{i % 40:02d}:07",
            person="J. Aasheim",
            place="bench 2",
            what=f"Weighed fraction {i}",
            changes=(HistoryChange("mass", "398.4 g", "389.4 g"),) if i == 1 else (),
            reason="digits swapped" if i == 1 else "",
            equipment=("S-0142, 250 µm, in date",) if i == 2 else (),
            digest=f"{i:064x}",
        )
        for i in range(count)
    )
    content = HistoryContent(
        laboratory="Norrhaven Materials Laboratory",
        subject="26-0148",
        description="Crushed granite 0/32, Tarnholt quarry",
        printed_at="2026-11-25T09:00",
        printed_by="H. Vestergard",
        time_zone="Europe/Oslo",
        entries=entries,
        chain_head="ab" * 32,
        chain_verdict="The chain is unbroken.",
    )
    return dataclasses.replace(content, **changes)


def test_an_entry_shows_who_where_when_what_and_why():
    said = reading.text(history_pdf(make_history()))

    assert "20 Nov 2026 10:00:07 J. Aasheim bench 2 Weighed fraction 0" in said
    assert "mass: was 398.4 g, now 389.4 g Reason: digits swapped" in said
    assert "S-0142, 250 µm, in date" in said
    assert "All times in Europe/Oslo." in said


def test_what_was_new_is_told_without_a_former_value():
    entry = dataclasses.replace(
        make_history(1).entries[0],
        changes=(HistoryChange("grade", "", "compliance"), HistoryChange("place", "rack B", "")),
    )

    said = reading.text(history_pdf(make_history(entries=(entry,))))

    assert "grade: compliance place: was rack B, now nothing" in said
    assert "History of 26-0148, 1 entry" in said


@pytest.mark.parametrize("count", [1, 41, 120])
def test_no_entry_is_lost_and_none_is_out_of_order(count):
    said = reading.text(history_pdf(make_history(count)))

    places = [said.index(f"Weighed fraction {i} ") for i in range(count)]
    assert places == sorted(places)


def test_every_page_says_which_and_how_many_and_only_the_last_ends_it():
    pages = reading.pages(history_pdf(make_history(120)))

    assert len(pages) > 2
    assert all("History of 26-0148, 120 entries" in page for page in pages)
    assert [("End of history" in page) for page in pages] == [*[False] * (len(pages) - 1), True]


def test_a_history_without_entries_says_so():
    assert "Nothing has been recorded yet." in history_html(make_history(0))


def test_the_embedded_data_are_the_entries():
    content = make_history()

    data = reading.embedded(history_pdf(content), "history.json")

    assert HistoryContent.from_json(data) == content


def test_spoilt_data_are_refused():
    with pytest.raises(ContentFault, match="HistoryContent"):
        HistoryContent.from_json("{}")


def test_the_same_history_gives_the_same_bytes():
    assert history_pdf(make_history()) == history_pdf(make_history())


@pytest.mark.parametrize("text", HOSTILE_TEXTS)
def test_no_text_becomes_markup(text):
    entry = HistoryEntry(
        "2026-11-20T10:00", text, text, text, (HistoryChange(text, text, text),), text
    )
    hostile = make_history(entries=(entry,), description=text, subject=text, laboratory=text)
    plain = make_history(
        entries=(
            HistoryEntry("2026-11-20T10:00", "a", "a", "a", (HistoryChange("a", "a", "a"),), "a"),
        ),
        description="a",
        subject="a",
        laboratory="a",
    )

    assert history_html(hostile).count("<") == history_html(plain).count("<")
