"""Our figure against the published one: asserted, and noted for the table in README.md.

`agrees` is the only way in which a published test compares a figure of an example, so the table
and the check that nothing was left out come from what was really asserted.
"""

from __future__ import annotations

import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tests.published.examples import Example

#: What double precision leaves of decimals: it may not decide a printed half.
BINARY = 1e-9
_LOOK_UP = object()


@dataclass(frozen=True, slots=True)
class Agreement:
    """One figure of one example that a test has held against ours."""

    topic: str
    name: str
    figure: str
    ours: str
    published: str
    tolerance: str
    test: str


AGREEMENTS: list[Agreement] = []
"""Everything asserted so far in this process."""


def agrees(
    case: Example,
    figure: str,
    ours: Any,
    tolerance: Any = None,
    *,
    relative: float | None = None,
    published: Any = _LOOK_UP,
) -> None:
    """Assert that our figure is the published one, and note both for the table.

    `figure` names an output of the example; a place within it follows after slashes
    (`max_kg/203 mm round/9.5`, `mean/2`). Without a tolerance the two must be equal. A
    tolerance may be one number or one for each value; with `relative` as well, the wider of
    the two counts. `published` replaces the output where the source leaves a choice.
    """
    printed = output_of(case, figure) if published is _LOOK_UP else published
    found = plain(ours)
    if tolerance is None and relative is None:
        assert found == printed, f"{figure}: {found!r} is not {printed!r}"
        shown, allowed = text_of(found, None), "exact"
    else:
        limits = _limits(printed, tolerance, relative)
        _assert_close(figure, found, printed, limits)
        shown, allowed = text_of(found, limits), _tolerance_text(tolerance, relative)
    AGREEMENTS.append(
        Agreement(
            topic=case.topic,
            name=case.name,
            figure=figure,
            ours=shown,
            published=text_of(printed, None),
            tolerance=allowed,
            test=_running_test(),
        )
    )


def output_of(case: Example, figure: str) -> Any:
    """Give the printed value that a figure's name points to."""
    value: Any = case.outputs
    for step in figure.split("/"):
        value = value[int(step)] if isinstance(value, Sequence) else value[step]
    return value


def plain(value: Any) -> Any:
    """Give arrays, tuples and numbers of numpy as lists and numbers of Python."""
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    return value


def _limits(printed: Any, tolerance: Any, relative: float | None) -> list[float]:
    """Give the tolerance of every value."""
    values = _flat(printed)
    absolute = plain(tolerance or 0.0)
    each = absolute if isinstance(absolute, list) else [absolute] * len(values)
    return [
        max(limit, (relative or 0.0) * abs(value))
        for limit, value in zip(each, values, strict=True)
    ]


def _assert_close(figure: str, found: Any, printed: Any, limits: Sequence[float]) -> None:
    """Fail with the first value that is further away than its tolerance."""
    for ours, theirs, limit in zip(_flat(found), _flat(printed), limits, strict=True):
        assert abs(ours - theirs) <= limit + BINARY, (
            f"{figure}: ours {ours!r}, published {theirs!r}, tolerance {limit:g}"
        )


def _flat(value: Any) -> list[float]:
    """Give one number, or a list of numbers, as a list."""
    return [float(each) for each in value] if isinstance(value, list) else [float(value)]


def text_of(value: Any, limits: Sequence[float] | None) -> str:
    """Write a figure for the table, to one digit more than its tolerance shows."""
    if isinstance(value, Mapping):
        return ", ".join(f"{name}: {text_of(each, None)}" for name, each in value.items())
    if isinstance(value, list):
        many = limits if limits and len(limits) == len(value) else [None] * len(value)
        texts = [
            text_of(each, None if at is None else [at])
            for each, at in zip(value, many, strict=True)
        ]
        return ", ".join(texts) or "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and limits:
        return _digits(value, limits[0])
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def _digits(value: float, limit: float) -> str:
    """Write a number with one decimal more than its tolerance has."""
    decimals = 6 if limit <= 0 else min(max(1 - math.floor(math.log10(limit)), 0), 10)
    text = f"{round(value, 10):.{decimals}f}"
    short = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if short == "-0" else short


def _tolerance_text(tolerance: Any, relative: float | None) -> str:
    """Write the tolerance for the table."""
    parts = []
    if tolerance is not None:
        parts.append(text_of(plain(tolerance), None))
    if relative is not None:
        parts.append(f"{100 * relative:.10g} %")
    return " or ".join(parts)


def _running_test() -> str:
    """Give file and name of the test that is running, without its parameters."""
    node = os.environ.get("PYTEST_CURRENT_TEST", "").rpartition(" (")[0]
    return node.rpartition("/")[2].partition("[")[0]
