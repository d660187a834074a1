"""The published worked examples, read once from `examples/<topic>.json`.

A test asks for one by topic and name and asserts every intermediate value within the
example's own tolerance. `confidence` says how far the source was seen: `seen` on a page,
`from memory`, `partly from memory`, or `computed` (exact working, no printed answer).
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent / "examples"


@dataclass(frozen=True, slots=True)
class Example:
    """One worked example: what was given, what the source prints, and how exactly."""

    topic: str
    name: str
    title: str
    source: str
    kind: str
    confidence: str
    inputs: dict[str, Any]
    outputs: dict[str, Any]
    tolerance: Any
    notes: str


@cache
def of_topic(topic: str) -> dict[str, Example]:
    """All examples of one topic by name."""
    rows = json.loads((FOLDER / f"{topic}.json").read_text(encoding="utf-8"))
    return {row["name"]: Example(topic=topic, **row) for row in rows}


def example(topic: str, name: str) -> Example:
    """One example; a wrong name fails the test with the names there are."""
    found = of_topic(topic)
    if name not in found:
        known = ", ".join(found)
        raise KeyError(f"No example {name!r} in {topic}.json; it holds: {known}")
    return found[name]


def topics() -> list[str]:
    """Names of the example files, in alphabetical order."""
    return sorted(path.stem for path in FOLDER.glob("*.json"))
