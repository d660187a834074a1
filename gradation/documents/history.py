"""The history report: what happened to one sample or one piece of equipment, as a story."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from django.template.loader import render_to_string

from gradation.documents.content_json import from_json, to_json
from gradation.documents.figures import shown_date
from gradation.documents.pdf import EmbeddedFile, render_pdf


@dataclass(frozen=True)
class HistoryChange:
    """One field that an entry changed; '' where there was or is nothing."""

    field: str
    was: str
    now: str


@dataclass(frozen=True)
class HistoryEntry:
    """One entry of the ledger: when (ISO, in the laboratory's zone), who, where, what and why."""

    at: str
    person: str
    place: str
    what: str
    changes: tuple[HistoryChange, ...] = ()
    reason: str = ""
    equipment: tuple[str, ...] = ()
    digest: str = ""


@dataclass(frozen=True)
class HistoryContent:
    """A whole history, oldest entry first, with the head of its chain at the time of printing."""

    laboratory: str
    subject: str
    description: str
    printed_at: str
    printed_by: str
    time_zone: str
    entries: tuple[HistoryEntry, ...]
    chain_head: str = ""
    chain_verdict: str = ""
    language: str = "en"

    def to_json(self) -> str:
        """Return the content as JSON; equal content gives equal text."""
        return to_json(self)

    @classmethod
    def from_json(cls, text: str) -> "HistoryContent":
        """Return the content that `to_json` wrote; raises ContentFault on anything else."""
        return from_json(cls, text)


def history_html(content: HistoryContent) -> str:
    """Return the history as one HTML page, its entries grouped by day."""
    context = {
        "content": content,
        "days": list(_days(content.entries)),
        "printed": shown_date(content.printed_at),
        "identity": f"History of {content.subject}, {_counted(len(content.entries))}",
    }
    return render_to_string("documents/history.html", context)


def _counted(entries: int) -> str:
    return "1 entry" if entries == 1 else f"{entries} entries"


def history_pdf(content: HistoryContent) -> bytes:
    """Return the history as PDF with its entries as an embedded data file."""
    data = EmbeddedFile("history.json", content.to_json(), "The entries of this history")
    return render_pdf(history_html(content), embedded=data)


def _days(
    entries: tuple[HistoryEntry, ...],
) -> Iterator[tuple[str, list[tuple[str, HistoryEntry]]]]:
    """Yield (day, [(time, entry)]); entries keep the order of the ledger within a day."""
    for day, group in groupby(entries, key=lambda entry: entry.at[:10]):
        yield shown_date(day), [(entry.at[11:19], entry) for entry in group]
