"""Rows of the list of runs: one query, plain data, because it is asked for most often."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

__all__ = ["RUN_COLUMNS", "run_row"]

#: In the order of `run_row`.
RUN_COLUMNS = (
    "pk",
    "portion__sample__number",
    "portion__label",
    "determination",
    "state",
    "state_reason",
    "procedure_version__procedure__code",
    "procedure_version__version",
    "bench__name",
    "technician__full_name",
    "counts",
    "opened_at",
    "weighed_at",
    "reviewed_at",
    "version",
)


def _at(moment: datetime | None) -> str | None:
    """Write a moment as the framework's own field does: in UTC, with Z."""
    return None if moment is None else moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


def run_row(row: Any) -> dict[str, Any]:  # noqa: ANN401 - a named row
    """Give a row of the list."""
    return {
        "id": row.pk,
        "sample": row.portion__sample__number,
        "portion": row.portion__label,
        "determination": row.determination,
        "state": row.state,
        "state_reason": row.state_reason,
        "procedure": f"{row.procedure_version__procedure__code} v{row.procedure_version__version}",
        "bench": row.bench__name,
        "technician": row.technician__full_name,
        "counts": row.counts,
        "opened_at": _at(row.opened_at),
        "weighed_at": _at(row.weighed_at),
        "reviewed_at": _at(row.reviewed_at),
        "version": row.version,
    }
