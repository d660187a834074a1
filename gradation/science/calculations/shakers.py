"""Settings of a shaker on their own."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

from gradation.science.calculations.reading import Answer, Reader
from gradation.science.worksheet_comparisons import shaking_json
from gradation.science.worksheet_reading import Fields
from gradation.science.worksheet_requests_reading import read_shaking


def _shaking(fields: Fields) -> Answer:
    """Acceleration, throw, flight, resonance; two settings compared."""
    return partial(shaking_json, read_shaking(fields))


CALCULATIONS: Mapping[str, Reader] = {"shaking": _shaking}
