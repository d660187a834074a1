"""When something was weighed, by the server's clock, whatever the clock at the bench says."""

from __future__ import annotations

from datetime import datetime, timedelta

__all__ = ["weighed_at"]

_LONGEST_AGE = timedelta(days=366)  # older than that, it is as old as can be


def weighed_at(
    observed_at: datetime | None, sent_at: datetime | None, received_at: datetime
) -> datetime:
    """Say by the server's clock when something was weighed: its age is the sender's difference.

    So a sender's wrong clock moves nothing, and what waited for the network is known to.
    """
    if observed_at is None:
        return received_at
    age = (sent_at or received_at) - observed_at
    return received_at - min(max(age, timedelta(0)), _LONGEST_AGE)
