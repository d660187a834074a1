"""What an endpoint takes and gives, told once: requests are read by it, the contract shows it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from rest_framework import serializers

__all__ = ["OFFERED", "Answer", "Fields", "OlderPage", "Sent", "Told"]

#: By the name of a use-case the operation that offers it, so that its words can refer to others.
OFFERED: dict[str, str] = {}


class Sent(serializers.Serializer[Any]):
    """A body or a set of filters; what is not asked for is refused, so that no misspelt is lost."""

    def to_internal_value(self, data: Any) -> dict[str, Any]:  # noqa: ANN401
        """Read the fields; a strange one is a fault."""
        strange = set(data) - set(self.fields) if isinstance(data, Mapping) else set()
        if strange:
            faults = {name: ["Not asked for here."] for name in sorted(map(str, strange))}
            raise serializers.ValidationError(faults)
        values: dict[str, Any] = super().to_internal_value(_texts_kept(self, data))
        return values


def _texts_kept(form: serializers.Serializer[Any], data: Any) -> Any:  # noqa: ANN401
    """Refuse a number where a text is asked for: the framework would take it for one."""
    if not isinstance(data, Mapping):
        return data
    faults = {
        name: ["Send it as text, between quotation marks."]
        for name, field in form.fields.items()
        if isinstance(field, serializers.CharField) and isinstance(data.get(name), int | float)
    }
    if faults:
        raise serializers.ValidationError(faults)
    return data


class Fields(Sent):
    """How much of a thing."""

    fields = serializers.CharField(  # type: ignore[assignment]
        required=False,
        max_length=600,
        help_text="Names of the fields wanted, with commas between them.",
    )


class OlderPage(Fields):
    """Which page of a list, and how much of each row."""

    before = serializers.IntegerField(
        required=False,
        min_value=1,
        max_value=2**63 - 1,
        help_text="Rows older than this key, which is `older_than` of the page before.",
    )
    size = serializers.IntegerField(
        default=50, min_value=1, max_value=200, help_text="Rows to a page."
    )


@dataclass(frozen=True)
class Answer:
    """One kind of answer: its status and its form."""

    gives: Any
    code: int = 200
    media_type: str = "application/json"


@dataclass(frozen=True)
class Told:
    """What one method of an endpoint takes and gives."""

    takes: Any = None
    gives: Any = None
    code: int = 200
    asks: type[serializers.Serializer[Any]] | None = None
    pages: bool = False
    #: Whether a POST must have an Idempotency-Key; where the body has a key of its own, or where
    #: nothing is kept, it may.
    keyed: bool = True
    #: Whether the request must say in If-Match which state of the thing it means.
    matched: bool = False
    #: Whether the answer has an ETag that such a request repeats.
    tagged: bool = False
    more: tuple[Answer, ...] = ()
    about: str = ""
    #: Since when this is deprecated and when it goes (RFC 9745, RFC 8594).
    sunset: tuple[datetime, datetime] | None = None
    service: Callable[..., Any] | None = None
    example: Mapping[str, Any] | None = field(default=None, hash=False)
