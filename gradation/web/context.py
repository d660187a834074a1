"""What every page shows: the laboratory, the areas, the bench in use; when its session ends."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.urls import reverse

from gradation.models import Laboratory
from gradation.policy import Action, may
from gradation.queries.laboratory import laboratory
from gradation.web.picked import picked_bench_name
from gradation.web.sessions import TimeLeft, time_left

STYLESHEETS = tuple(
    f"css/{name}.css"
    for name in (
        "tokens",
        "type",
        "frame",
        "tables",
        "forms",
        "verdicts",
        "pieces",
        "findings",
        "run",
        "editor",
        "print",
    )
)

_OWN, _ALL = Action.READ_OWN_SAMPLES, Action.READ_RECORDS
_AREAS = (
    ("Intake", "intake", "sample-list", _OWN),
    ("Bench", "bench", "run-queue", _ALL),
    ("Review", "review", "run-queue", _ALL),
    ("Certificates", "certificates", "certificate-list", _OWN),
    ("Equipment", "equipment", "due-list", _ALL),
    ("Control charts", "charts", "chart-list", _ALL),
    ("Specifications", "specifications", "specification-list", _ALL),
    ("Procedures", "procedures", "procedure-list", _ALL),
    ("Records", "records", "entry-list", _ALL),
    ("Settings", "settings", "laboratory-show", _ALL),
)

#: Pages that belong to another area's word.
_WITHIN = {"compare": "charts", "blend": "charts", "studies": "charts"}


@dataclass(frozen=True)
class Area:
    """One word of the line of areas."""

    name: str
    url: str
    current: bool


def laboratory_of(request: HttpRequest) -> Laboratory:
    """Give the laboratory, read once per request."""
    if not hasattr(request, "laboratory"):
        request.laboratory = laboratory() or Laboratory(name="Gradation")  # type: ignore[attr-defined]
    return request.laboratory  # type: ignore[attr-defined]


def areas(request: HttpRequest) -> list[Area]:
    """List the areas this person may read, with the one this page belongs to marked."""
    match = request.resolver_match
    here = match.namespace if match else ""
    here = _WITHIN.get(here, here)
    person = getattr(request, "user", None)
    return [
        Area(name, reverse(f"{space}:{view}"), space == here)
        for name, space, view, action in _AREAS
        if person is not None and person.is_authenticated and may(person, action)
    ]


def rights(request: HttpRequest) -> dict[str, bool]:
    """Say for each act whether this person may, by the act's name in small letters."""
    person = getattr(request, "user", None)
    if person is None or not person.is_authenticated:
        return {}
    return {action.name.lower(): may(person, action) for action in Action}


def session(request: HttpRequest) -> TimeLeft | None:
    """Say how long this person's session lasts; nobody has none."""
    person = getattr(request, "user", None)
    return time_left(request) if person is not None and person.is_authenticated else None


def site(request: HttpRequest) -> dict[str, Any]:
    """Give templates the frame: laboratory, areas, bench, how long the session lasts."""
    shown = laboratory_of(request)
    return {
        "site": {
            "laboratory_name": shown.name,
            "time_zone": shown.time_zone,
            "stylesheets": STYLESHEETS,
            "areas": areas(request),
            "may": rights(request),
            "bench": picked_bench_name(request),
            "session": session(request),
        }
    }
