"""What the card of every item shows, whatever its kind."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

from gradation.models import Instrument, Sieve
from gradation.queries import equipment_file as file
from gradation.queries.history import story_of_equipment
from gradation.web.equipment_facts import hours_of
from gradation.web.shelf import tag_of
from gradation.web.story import days_of

CHECKS_SHOWN = 12
USES_SHOWN = 20


def card_context(request: HttpRequest, item: Sieve | Instrument) -> dict[str, Any]:
    """Give the state, checks, files, assessments, rule and story of an item."""
    most = None if request.GET.get("checks") == "all" else CHECKS_SHOWN
    checks, more_checks = file.latest_checks(item, most)
    return {
        "item": item,
        "tag": tag_of(request, item),
        "checks": checks,
        "more_checks": more_checks,
        "files": file.attachments_of(item),
        "impacts": file.impacts_of(item),
        "rules": file.rule_history(item),
        "hours": hours_of(item),
        "days": days_of(story_of_equipment(item)),
    }
