"""Specifications: a version's own fields, its limits row by row, approval, the library."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from enum import StrEnum
from typing import Any, ClassVar

from django import forms
from django.http import QueryDict

from gradation.models import (
    DecisionRule,
    LotRule,
    Specification,
    SpecificationLine,
    SpecificationVersion,
)
from gradation.queries.specifications import replaceable_versions, specifications_listed
from gradation.science.apertures import designation, parse_aperture
from gradation.science.envelope_form import EnvelopeLine, LineKind
from gradation.science.errors import GradationError
from gradation.science.grading_categories import categories
from gradation.web.forms.base import (
    DayField,
    FigureField,
    NotebookForm,
    ReasonField,
    RowField,
    WholeField,
    WordChoiceField,
    WordsField,
)
from gradation.web.forms.sizes import ApertureField

SPARE_ROWS = 3
MOST_ROWS = 200


def _offered(members: type[StrEnum]) -> list[tuple[str, str]]:
    return [(member.value, member.value.replace("_", " ")) for member in members]


_DECISIONS = [
    (DecisionRule.PLAIN.value, "plain acceptance"),
    (DecisionRule.GUARD_BAND.value, "guard band"),
    (DecisionRule.PROBABILITY.value, "probability of conformance"),
]
_LOTS = [
    (LotRule.SINGLE.value, "each result"),
    (LotRule.MEAN.value, "mean of n results"),
    (LotRule.MOVING_MEAN.value, "moving mean of n results"),
    (LotRule.WITHIN_LIMITS.value, "percent within limits"),
]


class SpecificationForm(NotebookForm):
    """A specification by code, title and owner."""

    code = WordsField("Code", max_length=40)
    title = WordsField("Title", look="long", max_length=160)
    owner = WordsField("Owner", max_length=120, required=False)

    def specification(self) -> Specification:
        """Give the service the specification that was described."""
        return Specification(**self.cleaned_data)


class VersionForm(NotebookForm):
    """One edition of a specification, but for its limits."""

    product = WordsField("Product", max_length=160, required=False)
    clause = WordsField("Clause", max_length=120, required=False)
    source = WordsField("Where the limits come from", look="long", required=False)
    unconfirmed_note = WordsField(
        "To confirm",
        look="long",
        required=False,
        help_text="Figures that are still to be confirmed against your own edition.",
    )
    effective_from = DayField("Valid from")
    effective_to = DayField("Valid to", required=False)
    replaces = RowField(
        "Replaces",
        lambda: SpecificationVersion.objects.none(),
        required=False,
        help_text="Ends on the day before.",
    )
    decision_rule = WordChoiceField("Decision rule", _DECISIONS)
    confidence_pct = FigureField("Confidence", unit="%", required=False)
    guard_factor = FigureField("Guard band", unit="× U", required=False)
    lot_rule = WordChoiceField("Held against", _LOTS)
    lot_size = WholeField("n", initial=1)
    lot_share_pct = FigureField("Within limits at least", unit="%", required=False)
    neighbour_maximum_pct = FigureField("Between neighbours at most", unit="%", required=False)
    interpolate_missing = forms.BooleanField(
        label="Interpolate a limit whose sieve is not in the nest, and mark it", required=False
    )
    certificate_wording = WordsField(
        "Words for the certificate", look="long", rows=2, max_length=400, required=False
    )

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("What it is for", ("product", "clause", "source", "unconfirmed_note")),
        ("Validity", ("effective_from", "effective_to", "replaces")),
        ("How it is decided", (
            "decision_rule", "confidence_pct", "guard_factor", "lot_rule", "lot_size",
            "lot_share_pct", "neighbour_maximum_pct", "interpolate_missing",
            "certificate_wording",
        )),
    )  # fmt: skip

    def __init__(self, *args: Any, specification: Specification, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = replaceable_versions(specification) if specification.pk else None
        self.fields["replaces"].queryset = rows or SpecificationVersion.objects.none()  # type: ignore[attr-defined]

    def fields_of_version(self) -> dict[str, Any]:
        """Give the service the version's fields; left empty, a rule keeps its usual figures."""
        told = dict(self.cleaned_data)
        confidence_pct = told.pop("confidence_pct")
        told["confidence"] = Decimal("0.95") if confidence_pct is None else confidence_pct / 100
        told["guard_factor"] = Decimal(1) if told["guard_factor"] is None else told["guard_factor"]
        return told


def initial_of_version(version: SpecificationVersion) -> dict[str, Any]:
    """Give the form what a version says."""
    names = [name for name in VersionForm.base_fields if hasattr(version, name)]
    told = {name: getattr(version, name) for name in names}
    return told | {"confidence_pct": 100 * Decimal(version.confidence)}


class LimitForm(NotebookForm):
    """One row of limits."""

    kind = WordChoiceField("What", _offered(LineKind), initial=LineKind.PASSING.value)
    sieve = WordsField("Sieve or value", max_length=40, required=False)
    finer = ApertureField("Finer sieve", max_length=40, required=False)
    minimum = FigureField("At least", required=False)
    maximum = FigureField("At most", required=False)
    target = FigureField("Target", required=False)
    tolerance = FigureField("±", required=False)
    decimals = WholeField("Decimals", required=False, min_value=0, max_value=6)
    is_strict = forms.BooleanField(label="limit itself is outside", required=False)
    odd_size = forms.BooleanField(label="odd size", required=False)
    mark = forms.CharField(max_length=20, required=False, widget=forms.HiddenInput)

    #: Columns of the service's faults and the fields they stand beside.
    PLACES: ClassVar[dict[str, str]] = {
        "aperture_um": "sieve", "finer_aperture_um": "finer", "is_confirmed_size": "odd_size",
        "finer_sieve": "finer", "is_inclusive": "is_strict", "inclusive": "is_strict",
        "characteristic": "sieve",
    }  # fmt: skip
    _ASKING = ("sieve", "finer", "minimum", "maximum", "target", "tolerance")

    @property
    def is_blank(self) -> bool:
        """Say whether nothing was typed in this row."""
        return not any(self[name].value() for name in self._ASKING)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.widget.attrs["aria-label"] = field.label
        self.fields["sieve"].widget.attrs["list"] = "values"

    @property
    def cells(self) -> dict[str, forms.BoundField]:
        """Give the fields by name, for the table."""
        return {field.name: field for field in self}

    def clean(self) -> dict[str, Any]:
        """Read the first cell as what its kind limits: a sieve, or a value by its name."""
        told: dict[str, Any] = super().clean() or self.cleaned_data
        text = told.get("sieve") or ""
        is_value = told.get("kind") == LineKind.CHARACTERISTIC
        told["characteristic"] = text.strip().lower().replace(" ", "_") if is_value else ""
        told["aperture_um"] = None
        if text and not is_value:
            try:
                told["aperture_um"] = parse_aperture(text)
            except GradationError as error:
                self.add_error("sieve", str(error))
        return told

    def line(self) -> SpecificationLine:
        """Give the service the limit that was described."""
        told = self.cleaned_data
        return SpecificationLine(
            kind=told["kind"],
            aperture_um=told["aperture_um"],
            finer_aperture_um=told["finer"] if told["kind"] == LineKind.BETWEEN else None,
            characteristic=told["characteristic"],
            is_inclusive=not told["is_strict"],
            is_confirmed_size=told["odd_size"],
            **{
                name: told[name]
                for name in ("minimum", "maximum", "target", "tolerance", "decimals", "mark")
            },
        )


class LimitRows:
    """All rows of limits of one page; rows left blank count for nothing."""

    def __init__(self, rows: Sequence[LimitForm]) -> None:
        self.rows = list(rows)

    @classmethod
    def sent(cls, data: QueryDict, *, more: int = 0) -> LimitRows:
        """Read the rows that were posted, with `more` empty ones below."""
        text = data.get("rows", "0")
        count = int(text) if text.isascii() and text.isdigit() and len(text) < 4 else 0
        kept = min(count, MOST_ROWS)
        rows = [LimitForm(data, prefix=f"line-{number}") for number in range(kept)]
        spare = range(kept, min(kept + more, MOST_ROWS))
        return cls([*rows, *(LimitForm(prefix=f"line-{number}") for number in spare)])

    @classmethod
    def of(cls, lines: Sequence[SpecificationLine]) -> LimitRows:
        """Lay out stored or read lines, with a few empty rows below."""
        told = [_initial_of_line(line) for line in lines]
        filled = [LimitForm(initial=each, prefix=f"line-{n}") for n, each in enumerate(told)]
        spare = range(len(told), len(told) + SPARE_ROWS)
        return cls([*filled, *(LimitForm(prefix=f"line-{number}") for number in spare)])

    @property
    def filled(self) -> list[LimitForm]:
        """List the rows in which something was typed."""
        return [row for row in self.rows if not row.is_blank]

    def is_valid(self) -> bool:
        """Say whether every row that was filled in can be read."""
        return not [row for row in self.filled if not row.is_valid()]  # asks every row

    def lines(self) -> list[SpecificationLine]:
        """Give the limits in their order; call after `is_valid`."""
        return [row.line() for row in self.filled]

    def readable(self) -> list[SpecificationLine]:
        """Give what can be read so far, for a drawing while somebody types."""
        return [row.line() for row in self.filled if row.is_valid()]

    def place(self, field: str, message: str) -> bool:
        """Put a service's fault beside the cell it names; False when it names none here."""
        parts = field.split("/")
        if len(parts) != 3 or parts[0] != "lines" or not parts[1].isdigit():
            return False
        rows, number = self.filled, int(parts[1])
        if number >= len(rows):
            return False
        name = LimitForm.PLACES.get(parts[2], parts[2])
        rows[number].add_error(name if name in rows[number].fields else None, message)
        return True


def _initial_of_line(line: SpecificationLine) -> dict[str, Any]:
    """Give a row what a line says; limits that target and tolerance give are not written twice."""
    around = EnvelopeLine(
        kind=LineKind(line.kind), target=line.target, tolerance=line.tolerance
    ).limits()
    own = [
        None if limit is not None and limit == derived else limit
        for limit, derived in zip((line.minimum, line.maximum), around, strict=True)
    ]
    return {
        "kind": line.kind,
        "sieve": line.characteristic.replace("_", " ")
        if line.aperture_um is None
        else designation(line.aperture_um),
        "finer": "" if line.finer_aperture_um is None else designation(line.finer_aperture_um),
        "minimum": own[0],
        "maximum": own[1],
        "target": line.target,
        "tolerance": line.tolerance,
        "decimals": line.decimals,
        "is_strict": not line.is_inclusive,
        "odd_size": line.is_confirmed_size,
        "mark": line.mark,
    }


class FileForm(NotebookForm):
    """A file of limits, to fill the rows from."""

    file = forms.FileField(
        label="Limits from a file",
        required=False,
        help_text="CSV, XLSX or JSON as exported here. The rows are filled; nothing is kept yet.",
    )


class ApprovalForm(NotebookForm):
    """Approval of a proposed version."""

    confirmation = WordsField(
        "Compared with",
        look="long",
        required=False,
        help_text="Your own edition and copy. Needed where figures are kept from memory.",
    )


class ReturnForm(NotebookForm):
    """Back to the one who proposed it."""

    reason = ReasonField("What is to be put right")


class EndForm(NotebookForm):
    """The last day of a specification version."""

    effective_to = DayField("Last day it is valid")


class FromLibraryForm(NotebookForm):
    """What a draft from a published grading is to be called here."""

    specification = RowField(
        "As the next version of",
        specifications_listed,
        required=False,
        empty_label="a new specification",
    )
    code = WordsField("Code of a new one", max_length=40, required=False)
    title = WordsField("Title", look="long", max_length=160, required=False)
    owner = WordsField("Owner", max_length=120, required=False)
    effective_from = DayField("Valid from")

    def clean(self) -> dict[str, Any]:
        """Ask for a code and a title where no specification was chosen."""
        told: dict[str, Any] = super().clean() or self.cleaned_data
        if told.get("specification") is None:
            for name in ("code", "title"):
                if not told.get(name):
                    self.add_error(name, "A new specification needs this; or choose one above.")
        return told

    def specification_named(self) -> Specification:
        """Give the chosen specification, or the new one that was described."""
        chosen: Specification | None = self.cleaned_data["specification"]
        names = ("code", "title", "owner")
        return chosen or Specification(**{name: self.cleaned_data[name] for name in names})


_CATEGORIES = [
    (f"{standard} {category}", f"{standard} {category} ({applies})")
    for standard, category, applies in categories()
]


class CategoryForm(NotebookForm):
    """A European grading category with its sizes."""

    category = WordChoiceField("Category", _CATEGORIES)
    lower = ApertureField(
        "Lower size d", look="short", max_length=40, required=False, help_text="Empty: 0."
    )
    upper = ApertureField("Upper size D", look="short", max_length=40)
    declared = WordsField(
        "Declared typical passing",
        max_length=40,
        required=False,
        help_text="In %, of a mid-size category or a tolerance; coarse to fine, with spaces.",
    )

    def key(self) -> str:
        """Give the key of the grading in the library."""
        told = self.cleaned_data
        lower = told["lower"] or Decimal(0)
        sizes = (f"{size.normalize():f}" for size in (lower, told["upper"]))
        return " ".join([told["category"], *sizes, *told["declared"].replace(",", ".").split()])
