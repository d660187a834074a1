"""What a reviewer does before answering for a run: go through its history."""

from __future__ import annotations

from typing import Any

from gradation.models import Run, User
from gradation.services import review


def accept(run: Run, actor: User, **values: Any) -> Run:
    """Go through the history of a run and accept it."""
    review.look_through_trail(actor=actor, run=run)
    return review.accept_run(actor=actor, run=run, **values)
