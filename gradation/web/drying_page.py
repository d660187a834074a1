"""What the page of a drying shows, and what its script is told of it."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string

from gradation.models import DryingMass, User
from gradation.policy import Action, may
from gradation.queries.preparation import DryingView, procedure_of, run_for
from gradation.services import clock
from gradation.web.templatetags.notebook import clock as clock_time
from gradation.web.templatetags.notebook import figure

__all__ = ["drying_answer", "drying_context", "mark_of", "told_mass"]

#: What changes on the page, by the ids of its elements.
_PARTS = ("said", "out", "due", "weighings", "container")


def mark_of(view: DryingView) -> str:
    """Say how far a drying has come, as `drying_mark` does in one query."""
    last = max((mass.pk for mass in view.drying.masses.all()), default=0)
    return f"{view.drying.version}-{last}"


def drying_context(actor: User, view: DryingView) -> dict[str, Any]:
    """Give what the page of a drying shows."""
    may_prepare = may(actor, Action.PREPARE_PORTION)
    return {
        "view": view,
        "drying": view.drying,
        "procedure": procedure_of(view.drying),
        "run": run_for(view.drying),
        "writes": view.is_open and may_prepare,
        "may_correct": may_prepare,
        "now": clock.now(),
        "mark": mark_of(view),
    }


def drying_answer(request: HttpRequest, actor: User, view: DryingView) -> dict[str, Any]:
    """Give the script the page's elements as they stand now, by their ids."""
    context = drying_context(actor, view)
    return {
        "parts": {
            f"drying-{name}": render_to_string(f"web/bench/drying_{name}.html", context, request)
            for name in _PARTS
        },
        "mark": context["mark"],
        "next": view.next_number,
        "open": context["writes"],
        "at": clock_time(clock.now()),
    }


def told_mass(mass: DryingMass) -> dict[str, Any]:
    """Write a weighing as another page tells of it: who, when, what."""
    return {
        "pk": mass.pk,
        "key": str(mass.key),
        "mass": figure(mass.mass_as_entered),
        "by": str(mass.made_by),
        "by_pk": mass.made_by_id,
        "at": clock_time(mass.stood_at),
    }
