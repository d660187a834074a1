"""Which test shows which item of the OWASP Application Security Verification Standard 5.0.0.

`asvs.csv` has one row for each of the 253 items of levels 1 and 2: the tests that show it, or one
sentence why it does not apply, where else it is shown, or that it is open. Its subjects are in our
own words; the standard's text rules. `python -m tests.security.asvs` writes the page `ASVS.md`.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass

from tests.traceability import TESTS, names_of_tests

TABLE = TESTS / "security/asvs.csv"
PAGE = TESTS / "security/ASVS.md"
#: How many items there are of each level.
LEVELS = {1: 70, 2: 183}
CHAPTERS = {
    1: "encoding and cleaning",
    2: "validation and the order of work",
    3: "web front end",
    4: "interface and web service",
    5: "files",
    6: "signing in",
    7: "sessions",
    8: "rights",
    9: "signed values",
    10: "OAuth and OpenID Connect",
    11: "cryptography",
    12: "connections",
    13: "configuration",
    14: "data",
    15: "code and libraries",
    16: "logs and faults",
    17: "WebRTC",
}
SHOWN, ELSEWHERE, NOT_APPLICABLE, OPEN = "by test", "elsewhere", "not applicable", "open"
_HEAD = """# Application security: each item, and what shows it

Written by `python -m tests.security.asvs` from `asvs.csv`; a test says when it is stale. Numbers
and levels are those of the OWASP Application Security Verification Standard 5.0.0 (CC BY-SA 4.0),
levels 1 and 2; the subjects are in our own words. "Elsewhere" is a configuration, a design or a
page that the row names; "open" is neither shown nor reasoned away.
"""
_TABLE_HEAD = "| item | level | subject | shown |\n|---|---|---|---|"


@dataclass(frozen=True)
class Item:
    """One item of the standard: its tests, or a reason."""

    number: str
    level: int
    subject: str
    tests: tuple[str, ...]
    reason: str

    @property
    def chapter(self) -> int:
        """Give the chapter the item stands in."""
        return int(self.number.partition(".")[0])

    @property
    def state(self) -> str:
        """Say how the item is shown."""
        if self.tests:
            return SHOWN
        if self.reason.startswith("open: "):
            return OPEN
        return NOT_APPLICABLE if self.reason.startswith("Not applicable: ") else ELSEWHERE


def items() -> list[Item]:
    """Read the table."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        return [
            Item(
                row["id"],
                int(row["level"]),
                row["subject"],
                tuple(row["shown_by"].split()),
                row["reason"],
            )
            for row in csv.DictReader(file)
        ]


def existing_tests() -> set[str]:
    """Name every test there is, by its file relative to tests/."""
    return {
        f"{file.relative_to(TESTS).as_posix()}::{name}"
        for file in TESTS.rglob("test_*.py")
        for name in names_of_tests(file)
    }


def page() -> str:
    """Return the whole page as text."""
    found = items()
    parts = [_HEAD, *_counts(found)]
    for chapter, words in CHAPTERS.items():
        parts.append(
            f"\n## {chapter}: {words}\n\n| item | level | subject | shown |\n|---|---|---|---|"
        )
        parts += [_row(item) for item in found if item.chapter == chapter]
    return "\n".join(parts) + "\n"


def _counts(found: list[Item]) -> Iterator[str]:
    states = (SHOWN, ELSEWHERE, NOT_APPLICABLE, OPEN)
    yield f"| chapter | items | {' | '.join(states)} |\n|---|---|---|---|---|---|"
    for chapter, words in CHAPTERS.items():
        of_chapter = [item for item in found if item.chapter == chapter]
        yield f"| {chapter} {words} | {_counted(of_chapter, states)} |"
    yield f"| all | {_counted(found, states)} |"


def _counted(found: list[Item], states: tuple[str, ...]) -> str:
    told = [item.state for item in found]
    return " | ".join(str(count) for count in (len(found), *(told.count(each) for each in states)))


def _row(item: Item) -> str:
    shown = "<br>".join(item.tests) or item.reason
    return f"| {item.number} | {item.level} | {item.subject} | {shown} |"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
