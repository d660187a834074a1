"""A version of a procedure as plain words and figures, for other systems."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from gradation.models import ProcedureAperture, ProcedureVersion
from gradation.science.apertures import designation

__all__ = ["version_words"]

_ACTS = frozenset(
    f"{act}_{what}" for act in ("drafted", "proposed", "released") for what in ("at", "by")
)
_LEFT_OUT = frozenset({"id", "procedure"}) | _ACTS


def version_words(version: ProcedureVersion) -> dict[str, Any]:
    """Give all that a version says; figures as text, absent ones left out."""
    told: dict[str, Any] = {
        "id": version.pk,
        "code": version.procedure.code,
        "title": version.procedure.title,
    }
    for column in ProcedureVersion._meta.concrete_fields:
        value = getattr(version, column.attname)
        if column.name not in _LEFT_OUT and value not in ("", None):  # a value may be a list
            told[column.name] = _word(column.name, value)
    for act in ("drafted", "proposed", "released"):
        person = getattr(version, f"{act}_by")
        if person is not None:
            told |= {f"{act}_by": person.full_name, f"{act}_at": getattr(version, f"{act}_at")}
    return told | {"apertures": [_place(place) for place in version.apertures.all()]}


def _word(name: str, value: object) -> object:
    if not isinstance(value, Decimal):
        return value
    return designation(value) if name.endswith("aperture_um") else f"{value.normalize():f}"


def _place(place: ProcedureAperture) -> dict[str, Any]:
    marks = {
        "optional": place.is_optional,
        "split": place.is_split,
        "odd_size": place.is_confirmed_size,
    }
    told = {name: True for name, is_so in marks.items() if is_so}
    return {"size": designation(place.aperture_um), **told}
