"""How a history is given: the ledger's entries, told."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from gradation.queries.history import Event

__all__ = ["HistoryOut", "history_of"]


class ChangeOut(serializers.Serializer):
    """One value that changed."""

    name = serializers.CharField()
    before = serializers.CharField()
    after = serializers.CharField()


class EventOut(serializers.Serializer):
    """One entry of a history."""

    sequence = serializers.IntegerField()
    at = serializers.DateTimeField()
    person = serializers.CharField()
    action = serializers.CharField()
    subject = serializers.CharField()
    changes = ChangeOut(many=True)
    reason = serializers.CharField()
    door = serializers.CharField(help_text="web, token <public part>, or system.")
    digest = serializers.CharField()


class HistoryOut(serializers.Serializer):
    """A history, oldest first."""

    results = EventOut(many=True)


def history_of(events: list[Event]) -> dict[str, Any]:
    """Give a history as plain data."""
    return {"results": EventOut(events, many=True).data}
