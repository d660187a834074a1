"""Which test shows which requirement, told by the tests' own names.

A test that shows requirement R18 has `_r18_` in its name; S, F and G numbers likewise.
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
    "S": ("attacks that are tried", 51),
    "F": ("faults that hurt users elsewhere", 30),
    "G": ("goals, measured", 12),
}
_ID = re.compile(r"(?<=_)([rsfg])(\d{2})(?=_)")
#: Letters with two digits that name something else in this trade: a word before excludes them.
_HEAD = """# Requirements and the tests that show them

Written by `python -m tests.traceability` from the names of the tests; a test says when it is
stale. A requirement without a test stands in the last line of its kind.
"""


def shown() -> dict[str, list[str]]:
    """Return the tests of each requirement, by its number such as R18."""
    found: dict[str, list[str]] = defaultdict(list)
    for file in sorted(TESTS.rglob("test_*.py")):
        where = file.relative_to(TESTS).as_posix()
        for name in _tests(file):
            for letter, number in _ID.findall(name):
                found[f"{letter.upper()}{int(number)}"].append(f"{where}::{name}")
    return found


def _tests(file: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            yield node.name


def table() -> str:
    """Return the whole table as text."""
    found = shown()
    parts = [_HEAD]
    for letter, (words, count) in KINDS.items():
        ids = [f"{letter}{number}" for number in range(1, count + 1)]
        parts.append(f"## {letter}: {words}\n\n| requirement | tests |\n|---|---|")
        parts += [f"| {each} | {'<br>'.join(found[each])} |" for each in ids if each in found]
        missing = [each for each in ids if each not in found]
        parts.append(f"\nWithout a test of that name: {', '.join(missing) or 'none'}.\n")
    return "\n".join(parts)


if __name__ == "__main__":
    TABLE.write_text(table(), encoding="utf-8")
