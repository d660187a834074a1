"""Many things in one request: each is done or refused by itself, and answered in its place."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from django.db import transaction
from rest_framework import serializers
from rest_framework.exceptions import ValidationError

from gradation.api.contract.told import Sent
from gradation.api.problems import problem_of
from gradation.errors import Refusal

__all__ = ["BulkIn", "BulkOut", "each_of"]


class BulkIn(Sent):
    """Many things at once."""


class BulkEachOut(serializers.Serializer):
    """What became of one of many."""

    place = serializers.IntegerField(help_text="Its place in what was sent, from 0.")
    status = serializers.IntegerField(help_text="As a single request would have been answered.")
    done = serializers.JSONField(allow_null=True, help_text="What was made; null when refused.")
    problem = serializers.JSONField(allow_null=True, help_text="The refusal; null when done.")


class BulkOut(serializers.Serializer):
    """An answer for each, in the order sent."""

    results = BulkEachOut(many=True)
    done = serializers.IntegerField(help_text="How many were done.")
    refused = serializers.IntegerField(help_text="How many were refused.")


def each_of(
    items: Sequence[Mapping[str, Any]],
    do: Callable[[Mapping[str, Any]], Mapping[str, Any]],
) -> dict[str, Any]:
    """Do each by itself: a refusal undoes that one and no other."""
    results = [_one(place, item, do) for place, item in enumerate(items)]
    done = sum(each["problem"] is None for each in results)
    return {"results": results, "done": done, "refused": len(results) - done}


def _one(
    place: int,
    item: Mapping[str, Any],
    do: Callable[[Mapping[str, Any]], Mapping[str, Any]],
) -> dict[str, Any]:
    try:
        with transaction.atomic():
            return {"place": place, "status": 201, "done": do(item), "problem": None}
    except (Refusal, ValidationError) as error:
        problem = problem_of(error)
        return {"place": place, "status": problem["status"], "done": None, "problem": problem}
