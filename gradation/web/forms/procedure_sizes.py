"""The sieve sizes of a procedure, row by row: each with its marks."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import ClassVar

from django import forms
from django.http import QueryDict

from gradation.models import ProcedureAperture
from gradation.science.apertures import designation
from gradation.web.forms.base import NotebookForm, WordsField
from gradation.web.forms.sizes import ApertureField

SPARE_ROWS = 3
MOST_ROWS = 60


class SizeForm(NotebookForm):
    """One sieve size of the nest."""

    size = ApertureField("Size", look="short", max_length=40, required=False)
    is_optional = forms.BooleanField(label="optional", required=False)
    is_split = forms.BooleanField(label="reduced below it", required=False)
    is_confirmed_size = forms.BooleanField(label="odd size, meant so", required=False)

    #: Columns of the service's faults and the fields they stand beside.
    PLACES: ClassVar[dict[str, str]] = {"aperture_um": "size"}

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.widget.attrs["aria-label"] = field.label

    @property
    def is_blank(self) -> bool:
        """Say whether no size was typed in this row."""
        return not self["size"].value()

    @property
    def cells(self) -> dict[str, forms.BoundField]:
        """Give the fields by name, for the table."""
        return {field.name: field for field in self}

    def place(self) -> ProcedureAperture:
        """Give the service the size that was described."""
        told = dict(self.cleaned_data)
        return ProcedureAperture(aperture_um=told.pop("size"), **told)


class SizeRows:
    """All rows of sizes of one page; rows left blank count for nothing."""

    def __init__(self, rows: Sequence[SizeForm]) -> None:
        self.rows = list(rows)

    @classmethod
    def sent(cls, data: QueryDict, *, more: int = 0) -> SizeRows:
        """Read the rows that were posted, with `more` empty ones below."""
        text = data.get("rows", "0")
        count = int(text) if text.isascii() and text.isdigit() and len(text) < 4 else 0
        kept = min(count, MOST_ROWS)
        spare = range(kept, min(kept + more, MOST_ROWS))
        sent = [SizeForm(data, prefix=f"size-{number}") for number in range(kept)]
        return cls([*sent, *(SizeForm(prefix=f"size-{number}") for number in spare)])

    @classmethod
    def of(cls, places: Sequence[ProcedureAperture]) -> SizeRows:
        """Lay out sizes, with a few empty rows below."""
        rows = [
            SizeForm(initial=_initial_of(place), prefix=f"size-{number}")
            for number, place in enumerate(places[:MOST_ROWS])
        ]
        spare = range(len(rows), min(len(rows) + SPARE_ROWS, MOST_ROWS))
        return cls([*rows, *(SizeForm(prefix=f"size-{number}") for number in spare)])

    @property
    def filled(self) -> list[SizeForm]:
        """List the rows in which a size was typed."""
        return [row for row in self.rows if not row.is_blank]

    @property
    def faulty(self) -> list[SizeForm]:
        """List the rows with faults beside them."""
        return [row for row in self.filled if row.is_bound and row.errors]

    def is_valid(self) -> bool:
        """Say whether every row that was filled in can be read."""
        return not [row for row in self.filled if not row.is_valid()]  # asks every row

    def places(self) -> list[ProcedureAperture]:
        """Give the sizes in their order; call after `is_valid`."""
        return [row.place() for row in self.filled]

    def readable(self) -> list[ProcedureAperture]:
        """Give the sizes that can be read so far."""
        return [row.place() for row in self.filled if row.is_valid()]

    def place(self, field: str, message: str) -> bool:
        """Put a service's fault beside the cell it names; False when it names none here."""
        parts = re.fullmatch(r"apertures/(\d+)/(\w+)", field)
        rows = self.filled
        if parts is None or int(parts[1]) >= len(rows):
            return False
        row, name = rows[int(parts[1])], SizeForm.PLACES.get(parts[2], parts[2])
        row.add_error(name if name in row.fields else None, message)
        return True


def _initial_of(place: ProcedureAperture) -> dict[str, object]:
    marks = ("is_optional", "is_split", "is_confirmed_size")
    told = {name: getattr(place, name) for name in marks}
    return {"size": designation(place.aperture_um), **told}


class SizesField(WordsField):
    """Sieve sizes as the trade writes them, one a line or separated by semicolons."""

    def clean(self, value: object) -> list[ProcedureAperture]:
        """Give the sizes; every one that cannot be read is named."""
        typed = [part.strip() for part in re.split(r"[;\n]", super().clean(value)) if part.strip()]
        rows = [SizeForm({"size": part}) for part in typed]
        faults = [message for row in rows for message in row.errors.get("size", [])]
        if faults:
            raise forms.ValidationError(faults)
        return [row.place() for row in rows]


class SeveralForm(NotebookForm):
    """Several sizes at once, added to the rows."""

    sizes = SizesField(
        "Several sizes at once",
        look="long",
        rows=2,
        max_length=1000,
        required=False,
        help_text="Separated by semicolons: 8 mm; 4 mm; No. 30; 500 µm.",
    )
