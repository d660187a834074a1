"""Columns of our own."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, cast

from django.core.serializers.json import DjangoJSONEncoder
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import JSONField
from psycopg.types.json import Json

from gradation.proofs.entries import canonical_json

if TYPE_CHECKING:
    from django.db.models.expressions import Expression

__all__ = ["CanonicalJSONField"]


class CanonicalJSONField(JSONField):
    """JSON whose text is kept in the canonical form, so that a digest can be made of it as it is.

    PostgreSQL keeps the text of a `json` column; `jsonb` would write it anew in another order.
    """

    def db_type(self, connection: BaseDatabaseWrapper) -> str | None:
        """Give the column's type."""
        return "json" if connection.vendor == "postgresql" else super().db_type(connection)

    def from_db_value(
        self, value: object, expression: object, connection: BaseDatabaseWrapper
    ) -> object:
        """Read text; PostgreSQL's driver has read it already."""
        if not isinstance(value, str):
            return value
        return super().from_db_value(value, cast("Expression", expression), connection)

    def get_db_prep_value(
        self, value: object, connection: BaseDatabaseWrapper, prepared: bool = False
    ) -> object:
        """Write the canonical text."""
        if hasattr(value, "as_sql"):
            return super().get_db_prep_value(value, connection, prepared)
        return Json(value, dumps=_text) if connection.vendor == "postgresql" else _text(value)


def _text(value: object) -> str:
    return canonical_json(json.loads(json.dumps(value, cls=DjangoJSONEncoder)))
