"""Which test shows which requirement, told by the tests' own names.

A test that shows requirement R18 has `_r18_` in its name; P, S, F and G numbers likewise. What no
test is named after has its reason in `REASONS`: where it is shown otherwise, or why it is not here.
`python -m tests.traceability` writes the table to `tests/TRACEABILITY.md`.
"""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

TESTS = Path(__file__).resolve().parent
TABLE = TESTS / "TRACEABILITY.md"
#: How many requirements of each kind there are.
KINDS = {
    "R": ("records and certificates", 99),
    "P": ("mechanisms of proof", 15),
    "S": ("attacks that are tried", 51),
    "F": ("faults that hurt users elsewhere", 30),
    "G": ("goals, measured", 12),
}
_ID = re.compile(r"(?<=_)([rpsfg])(\d{1,2})(?=_)")
#: Requirements that no test is named after: where they are shown otherwise, or why they are not.
REASONS = {
    "R67": "Shown by S14 (weak and common words refused) and R94 (the review sheet of people).",
    "R81": (
        "The budget is computed by the version of the calculations that each result names (R72); "
        "when it is stated is shown by R22."
    ),
    "R83": "Not applicable: no sample is marked as blind here, so there is nothing to hide.",
    "R86": "The sections S, P and F of this table.",
    "R88": "tests/published/README.md: every figure against a publication or a second calculation.",
    "P02": "Shown by R37, G06, F10 and F11: faults between the steps of acts, upgrades and issues.",
    "P04": "Shown by F01 and F02: locks and constraints under racing acts, on both databases.",
    "P06": "tests/services/test_issue_batches.py, test_run_import.py: the second is refused.",
    "P07": "tests/services/test_races.py and test_equipment_races.py: one sieve, one open run.",
    "F20": "Not applicable so far: no migration moves rows one by one (tests/migrations).",
    "F24": (
        "Not simulated: commits wait for the disk (F05, P03), a failed sync ends the transaction; "
        "PostgreSQL stops by itself (data_sync_retry is off)."
    ),
    "G08": "Shown by F10 and F11 in their short form; the large size is not measured yet.",
}
_HEAD = """# Requirements and the tests that show them

Written by `python -m tests.traceability` from the names of the tests; a test says when it is
stale. A requirement without a test of its name says where it is shown, why it does not apply, or
that it is open; a test fails when one says nothing.
"""


def shown() -> dict[str, list[str]]:
    """Return the tests of each requirement, by its number such as R18."""
    found: dict[str, list[str]] = defaultdict(list)
    for file in sorted(TESTS.rglob("test_*.py")):
        where = file.relative_to(TESTS).as_posix()
        for name in names_of_tests(file):
            for letter, number in _ID.findall(name):
                found[f"{letter.upper()}{int(number):02d}"].append(f"{where}::{name}")
    return found


def names_of_tests(file: Path) -> Iterator[str]:
    """Name the tests of a file."""
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            yield node.name


def table() -> str:
    """Return the whole table as text."""
    found = shown()
    parts = [_HEAD]
    for letter, (words, count) in KINDS.items():
        parts.append(f"## {letter}: {words}\n\n| requirement | tests, or a reason |\n|---|---|")
        parts += [f"| {each} | {_told(each, found)} |" for each in ids_of(letter, count)]
        parts.append("")
    return "\n".join(parts)


def ids_of(letter: str, count: int) -> list[str]:
    """Return the numbers of a kind, such as R01."""
    return [f"{letter}{number:02d}" for number in range(1, count + 1)]


def untold() -> list[str]:
    """Return the requirements that have neither a test of their name nor a reason."""
    found = shown()
    every = [each for letter, (_, count) in KINDS.items() for each in ids_of(letter, count)]
    return [each for each in every if not _told(each, found)]


def _told(each: str, found: dict[str, list[str]]) -> str:
    return "<br>".join(found.get(each, [])) or REASONS.get(each, "")


if __name__ == "__main__":
    TABLE.write_text(table(), encoding="utf-8")
