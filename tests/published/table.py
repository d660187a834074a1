"""The table of our figures beside the published ones.

    python -m tests.published.table

runs the published tests and writes what they asserted to tests/published/README.md.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from collections import defaultdict
from pathlib import Path

from tests.published.agreement import Agreement
from tests.published.examples import Example, example
from tests.published.left_out import LEFT_OUT

ROOT = Path(__file__).resolve().parents[2]
README = Path(__file__).with_name("README.md")
CHECKS_THE_TABLE = "test_nothing_left_out.py"

HEAD = """\
# Published figures and ours

Generated from the tests of this folder by `python -m tests.published.table`; a test fails when it
is out of date. Do not edit it by hand.

Each example stands in `examples/<topic>.json` with its inputs, its source and how far the source
was seen: *seen* on a page, *from memory*, *partly from memory*, or *computed* (the source gives
data or formula, the answer is exact working). Our figures are shown to one digit more than the
tolerance needs; lists run in the order of the source. Example and source stand in the first row of
an example and hold for the rows below it.
"""


class PublishedTestsFailed(RuntimeError):
    """A published test fails, so there is no table; the text is what pytest printed."""


def recorded() -> list[Agreement]:
    """Run the published tests that need no database and give everything they asserted."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "agreements.json"
        command = [
            sys.executable, "-m", "pytest", "-q", "-n", "0", "-p", "no:cacheprovider",
            "-p", "tests.published.recording", f"--agreements={file}", "-m", "not database",
            f"--ignore={README.with_name(CHECKS_THE_TABLE)}", str(README.parent),
        ]  # fmt: skip
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
        if done.returncode:
            raise PublishedTestsFailed(done.stdout + done.stderr)
        return [Agreement(**row) for row in json.loads(file.read_text(encoding="utf-8"))]


def readme(agreements: list[Agreement]) -> str:
    """Give the text of README.md."""
    by_example: dict[tuple[str, str], list[Agreement]] = defaultdict(list)
    for each in agreements:
        by_example[each.topic, each.name].append(each)
    rows = [
        row
        for topic, name in sorted(by_example)
        for row in _rows(example(topic, name), by_example[topic, name])
    ]
    return "\n".join([HEAD, *_counts(by_example), "", *_table(rows), "", *_left_out()]) + "\n"


def _counts(by_example: dict[tuple[str, str], list[Agreement]]) -> list[str]:
    """Say how much was compared."""
    figures = {(key, each.figure) for key, many in by_example.items() for each in many}
    return [f"{len(by_example)} examples, {len(figures)} figures or lists of figures."]


def _rows(case: Example, agreements: list[Agreement]) -> list[list[str]]:
    """Give one row for each figure; tests that found the same share it."""
    tests: dict[tuple[str, ...], list[str]] = defaultdict(list)
    for each in agreements:
        key = (each.figure, each.ours, each.published, each.tolerance)
        if each.test not in tests[key]:
            tests[key].append(each.test)
    head = [f"{case.title} (`{case.topic}/{case.name}`)", f"{case.source} [{case.confidence}]"]
    rows = [
        ["", "", *key, "; ".join(f"`{test}`" for test in sorted(where))]
        for key, where in sorted(tests.items(), key=lambda item: _place(case, item[0][0]))
    ]
    rows[0][:2] = head
    return rows


def _place(case: Example, figure: str) -> int:
    """Order figures as their source lists them."""
    return list(case.outputs).index(figure.partition("/")[0])


def _table(rows: list[list[str]]) -> list[str]:
    """Give the rows as Markdown."""
    heads = ["example", "source", "figure", "ours", "published", "tolerance", "where tested"]
    lines = [heads, ["---"] * len(heads), *rows]
    return ["| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in lines]


def _left_out() -> list[str]:
    """Give the list of what is printed in a source and not asserted."""
    lines = ["## Printed in the source and not compared", "", "| example | figure | reason |"]
    lines.append("| --- | --- | --- |")
    for (topic, name, figure), reason in sorted(LEFT_OUT.items()):
        lines.append(f"| `{topic}/{name}` | {figure} | {reason} |")
    return lines


def main() -> None:
    """Write README.md."""
    README.write_text(readme(recorded()), encoding="utf-8")
    print(f"Wrote {README.relative_to(ROOT)}.")


if __name__ == "__main__":
    main()
