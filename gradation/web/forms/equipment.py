"""Equipment: sieves as their plates say, rules of checks, tares, files, nests and benches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, ClassVar

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.db.models import QuerySet

from gradation.models import Bench, Sieve, User
from gradation.queries.equipment import bench_list
from gradation.queries.laboratory import people_list
from gradation.science.apertures import designation
from gradation.science.conformity import Edition
from gradation.web.forms.base import (
    DayField,
    FigureField,
    Group,
    NotebookForm,
    ReasonField,
    RowField,
    WholeField,
    WordChoiceField,
    WordsField,
)
from gradation.web.forms.sizes import ApertureField, SerialsField, SizeField, known_sieves

LARGEST_FILE_BYTES = 10 * 1024 * 1024

_EDITIONS = [("", "none: wire cloth of neither"), *((it.value, it.words) for it in Edition)]


def keepers() -> QuerySet[User]:
    """List the people who may be named as keeper of an item."""
    return people_list().filter(is_active=True, customer__isnull=True).exclude(full_name="")


class UploadField(forms.FileField):
    """One file, not too large."""

    look = ""

    def clean(
        self, data: UploadedFile | None, initial: UploadedFile | None = None
    ) -> UploadedFile | None:
        """Give the file, or say that it is too large."""
        file: UploadedFile | None = super().clean(data, initial)
        if file and (file.size or 0) > LARGEST_FILE_BYTES:
            msg = f"The file has {file.size} bytes; at most {LARGEST_FILE_BYTES} are kept."
            raise forms.ValidationError(msg)
        return file


_PLACE = ("place", "bench", "keeper", "bought_on", "in_service_since", "note")


class WhereForm(NotebookForm):
    """Where an item stands, who keeps it, since when it is used."""

    place = WordsField("Place", max_length=120, required=False)
    bench = RowField("Bench", bench_list, required=False)
    keeper = RowField("Keeper", keepers, required=False)
    bought_on = DayField("Bought on", required=False)
    in_service_since = DayField("First used on", required=False)
    note = WordsField("Note", look="long", rows=2, max_length=2000, required=False)


class SieveForm(WhereForm):
    """A new sieve, as its plate and its maker's certificate say."""

    serial = WordsField("Serial number", look="serial", max_length=40)
    size = SizeField("Size", required=False, help_text="As on the plate.")
    free_aperture = ApertureField(
        "Or an aperture of no series",
        max_length=40,
        required=False,
        help_text="Marked as not a standard size.",
    )
    standard = WordsField("Standard on the plate", max_length=80, initial="ISO 3310-1")
    edition = WordChoiceField(
        "Checked against", _EDITIONS, required=False, initial=Edition.ISO_3310_1_2016.value
    )
    grade = WordChoiceField("Grade", [(it.value, it.value) for it in Sieve.Grade])
    medium = WordChoiceField("Openings in", [(it.value, it.value) for it in Sieve.Medium])
    shape = WordChoiceField("Shape", [(it.value, it.value) for it in Sieve.Shape])
    frame_diameter_mm = FigureField("Frame diameter", unit="mm", initial="200")
    frame_height_mm = FigureField("Frame height", unit="mm", required=False)
    maker_certificate = WordsField("Maker's certificate no.", max_length=80, required=False)
    is_master = forms.BooleanField(label="Master sieve, kept out of routine use", required=False)
    check_interval_days = WholeField("Check every", unit="days", required=False, min_value=1)
    check_interval_uses = WholeField("or every", unit="uses", required=False, min_value=1)
    next_check_on = DayField("Next check on", required=False)

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("What it is", ("serial", "size", "free_aperture")),
        ("Cloth or plate", ("standard", "edition", "grade", "medium", "shape")),
        ("Frame", ("frame_diameter_mm", "frame_height_mm", "maker_certificate", "is_master")),
        ("Where, whose and since when", _PLACE),
        ("Checks", ("check_interval_days", "check_interval_uses", "next_check_on")),
    )

    def clean(self) -> dict[str, Any]:
        """Ask for one size: out of a series, or free."""
        values: dict[str, Any] = super().clean() or self.cleaned_data
        are_read = "size" in values and "free_aperture" in values
        if are_read and bool(values["size"]) == bool(values["free_aperture"]):
            msg = "Choose one size, or type one aperture of no series; not both."
            self.add_error("size", msg)
        return values

    def sieve(self) -> Sieve:
        """Give the service the sieve that was described."""
        values = {**self.cleaned_data}
        size, free = values.pop("size"), values.pop("free_aperture")
        return Sieve(**named_size(size or free, is_standard=bool(size)), **values)


def named_size(aperture_um: Decimal, *, is_standard: bool) -> dict[str, Any]:
    """Give the columns that say what size a sieve is."""
    metric, name = designation(aperture_um), designation(aperture_um, "astm")
    return {
        "aperture_um": aperture_um,
        "designation": metric,
        "alternative": "" if name == metric else name,
        "is_standard_size": is_standard,
    }


class SieveChangeForm(WhereForm):
    """What may change on a sieve's card; serial number and size never do."""

    standard = WordsField("Standard on the plate", max_length=80)
    edition = WordChoiceField("Checked against", _EDITIONS, required=False)
    grade = WordChoiceField("Grade", [(it.value, it.value) for it in Sieve.Grade])
    frame_height_mm = FigureField("Frame height", unit="mm", required=False)
    maker_certificate = WordsField("Maker's certificate no.", max_length=80, required=False)
    is_master = forms.BooleanField(label="Master sieve, kept out of routine use", required=False)
    reason = ReasonField("Why is the card changed")

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        (
            "What it is",
            ("standard", "edition", "grade", "frame_height_mm", "maker_certificate", "is_master"),
        ),
        ("Where, whose and since when", _PLACE),
        ("", ("reason",)),
    )


class RuleForm(NotebookForm):
    """How often an item is checked: by days, by uses, whichever comes first."""

    days = WholeField("Check every", unit="days", required=False, min_value=1)
    uses = WholeField("or every", unit="uses", required=False, min_value=1)
    reason = ReasonField("Why this often")


class TareForm(NotebookForm):
    """The empty mass of a clean, dry sieve."""

    tare_g = FigureField("Tare", unit="g")
    note = WordsField("Note", max_length=160, required=False)


class FileForm(NotebookForm):
    """A photograph or a certificate to be kept with an item."""

    file = UploadField(
        label="File", help_text="Photograph or PDF. It is kept as it is and never replaced."
    )


class ImportForm(NotebookForm):
    """An inventory of sieves as a table."""

    file = UploadField(label="Inventory, CSV or XLSX")


class SizePlaceField(WordChoiceField):
    """The sieve of one size; left open when the nest is scanned instead."""

    says_when = True


class NestForm(NotebookForm):
    """Sieves that stand together for a procedure: picked size by size, or scanned."""

    name = WordsField("Name of the nest", max_length=80)
    bench = RowField("Bench", bench_list, required=False)
    scanned = SerialsField(
        "Or scan them",
        look="serial",
        rows=6,
        max_length=2000,
        required=False,
        help_text="Serial numbers from the top down, one a line. They take the place of those "
        "picked. The pan needs none.",
    )

    def __init__(self, offers: Sequence[SizeOffer], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sizes = {f"size_{i}": offer for i, offer in enumerate(offers)}
        for name, offer in self.sizes.items():
            choices = [("", "–"), *((it.serial, it.words) for it in offer.sieves)]
            field = SizePlaceField(offer.designation, choices, required=False)
            field.error_messages["invalid_choice"] = "Choose one of those offered."
            self.fields[name] = field

    @property
    def grouped(self) -> list[Group]:
        """Show the name first, then one choice a size, then the field for scanning."""
        return [
            Group("", [self["name"], self["bench"]]),
            Group("Sieves, coarse on top", [self[name] for name in self.sizes]),
            Group("", [self["scanned"]]),
        ]

    @property
    def sieves(self) -> list[Sieve]:
        """Give the sieves from the top down."""
        picked = [self.cleaned_data[name] for name in self.sizes if self.cleaned_data[name]]
        return self.cleaned_data["scanned"] or known_sieves(picked)


@dataclass(frozen=True)
class SieveOffer:
    """One sieve that could take a place, in words."""

    serial: str
    words: str


@dataclass(frozen=True)
class SizeOffer:
    """One size of a procedure with the sieves there are for it."""

    designation: str
    sieves: tuple[SieveOffer, ...]


class PickField(RowField):
    """A choice above a list, where everything is the usual answer."""

    says_when = True


class DueForm(NotebookForm):
    """Whose equipment, and where."""

    bench = PickField("Bench", bench_list, required=False, empty_label="all")
    keeper = PickField("Keeper", keepers, required=False, empty_label="all")


class BenchForm(NotebookForm):
    """A place of work."""

    name = WordsField("Name of the bench", max_length=60)
    place = WordsField("Place", max_length=120, required=False)
    is_away = forms.BooleanField(
        label="Away from the laboratory",
        required=False,
        help_text="On a site, in a vehicle: certificates then name this place alone.",
    )

    def bench(self) -> Bench:
        """Give the service the bench that was described."""
        return Bench(**self.cleaned_data)


class EvidenceForm(NotebookForm):
    """Why an item may be used again."""

    reason = ReasonField("On what evidence")
