"""Every figure of every example is asserted by a test, or stands in a list with the reason."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from tests.published.agreement import Agreement, agrees
from tests.published.examples import Example, of_topic, topics
from tests.published.left_out import LEFT_OUT
from tests.published.table import README, readme, recorded

# The published tests are run once for all of these, so they stay on one worker.
pytestmark = pytest.mark.xdist_group("published")

Figure = tuple[str, str, str]


@pytest.fixture(scope="module")
def agreements() -> list[Agreement]:
    """Everything the published tests assert, from a run of their own."""
    return recorded()


def all_examples() -> Iterator[Example]:
    for topic in topics():
        yield from of_topic(topic).values()


def figures_without_a_test(examples: list[Example], asserted: set[Figure]) -> set[Figure]:
    """Give the printed figures that were not asserted, the parts of a list or table together."""
    return {
        (case.topic, case.name, figure)
        for case in examples
        for figure, value in case.outputs.items()
        if not is_asserted((case.topic, case.name, figure), value, asserted)
    }


def is_asserted(figure: Figure, value: object, asserted: set[Figure]) -> bool:
    """Say whether a figure, or every part of it, was asserted."""
    if figure in asserted:
        return True
    if isinstance(value, dict):
        parts = value.items()
    elif isinstance(value, list):
        parts = enumerate(value)
    else:
        return False
    topic, name, path = figure
    return bool(value) and all(
        is_asserted((topic, name, f"{path}/{key}"), part, asserted) for key, part in parts
    )


def test_every_printed_figure_is_asserted_or_listed_with_a_reason(agreements):
    asserted = {(each.topic, each.name, each.figure) for each in agreements}

    missing = figures_without_a_test(list(all_examples()), asserted)

    assert missing - set(LEFT_OUT) == set(), "no test asserts these"
    assert set(LEFT_OUT) - missing == set(), "these are listed, but asserted or unknown"


def test_every_figure_left_out_has_a_reason_in_words():
    assert [figure for figure, reason in LEFT_OUT.items() if len(reason.split()) < 3] == []


def test_the_table_is_up_to_date(agreements):
    written = README.read_text(encoding="utf-8")

    assert written == readme(agreements), "run: python -m tests.published.table"


def test_a_forgotten_figure_is_found():
    case = next(all_examples())
    case = replace(case, outputs={"a": 1.0, "list": [1.0, 2.0], "table": {"x": 1.0}})
    key = (case.topic, case.name)
    asserted = {(*key, "a"), (*key, "list/0"), (*key, "table/x")}

    missing = figures_without_a_test([case], asserted)

    assert missing == {(*key, "list")}


@pytest.mark.parametrize(
    ("ours", "tolerance"), [(1.06, 0.05), (float("nan"), 0.05), (1.0000001, None)]
)
def test_a_figure_that_does_not_agree_fails(ours, tolerance):
    case = replace(next(all_examples()), outputs={"a": 1.0})

    with pytest.raises(AssertionError):
        agrees(case, "a", ours, tolerance)


def test_a_list_of_another_length_fails():
    case = replace(next(all_examples()), outputs={"a": [1.0, 2.0]})

    with pytest.raises(ValueError, match="zip"):
        agrees(case, "a", [1.0], 0.05)
