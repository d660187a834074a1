"""Report forms on their page: for whom, what is printed, how, in which language."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms

from gradation.charts.figure import Direction, Scale
from gradation.documents.certificate_gaps import REQUIRED_ITEMS
from gradation.documents.certificate_table import COLUMNS
from gradation.language import LANGUAGES
from gradation.models import Paper, ReportForm
from gradation.queries.laboratory import customer_list, material_list
from gradation.science.rounding import RoundingMode
from gradation.web.forms.base import (
    NotebookForm,
    ReasonField,
    RowField,
    WordChoiceField,
    WordsField,
)
from gradation.web.forms.equipment import UploadField

_SCALES = [
    (Scale.LOG.value, "logarithmic"),
    (Scale.POWER45.value, "size to the power 0.45"),
    (Scale.PHI.value, "phi"),
    (Scale.LINEAR.value, "linear"),
]
_DIRECTIONS = [
    (Direction.FINE_LEFT.value, "fine on the left"),
    (Direction.COARSE_LEFT.value, "coarse on the left"),
]
_DECIMALS = [("", "as the procedure reports"), ("0", "1 %"), ("1", "0.1 %"), ("2", "0.01 %")]
_ROUNDING = [
    (RoundingMode.HALF_EVEN.value, "halves to even"),
    (RoundingMode.HALF_UP.value, "halves up"),
]


class WordsPickedField(forms.MultipleChoiceField):
    """Several of a few words, each to be ticked."""

    widget = forms.CheckboxSelectMultiple


class ReportFormForm(NotebookForm):
    """One report form."""

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("For whom", ("name", "customer", "material", "trade")),
        ("Sheet", ("title", "language", "paper", "logo", "drops_logo")),
        ("Table", ("columns", "passing_decimals", "rounding_mode", "states_uncertainty")),
        ("Curve", ("scale", "direction", "retained_axis")),
        ("Demands", ("required_items", "is_simplified", "agreement")),
    )

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    name = WordsField("Name", max_length=80)
    customer = RowField("Customer", customer_list, required=False)
    material = RowField("Material", material_list, required=False)
    trade = WordsField(
        "Trade",
        max_length=60,
        required=False,
        help_text="As materials name it. With none of the three it is the usual form.",
    )
    title = WordsField(
        "Title",
        look="long",
        max_length=120,
        required=False,
        help_text="Empty: the laboratory's usual title, in the words entered there.",
    )
    language = WordChoiceField("Language", list(LANGUAGES.items()))
    paper = WordChoiceField("Paper", [(each.value, each.value) for each in Paper])
    logo = UploadField(
        label="Logo",
        required=False,
        help_text="PNG or JPEG up to 300 kB. The preview shows the one kept.",
    )
    drops_logo = forms.BooleanField(label="Print no logo", required=False)
    columns = WordsPickedField(
        label="Columns",
        choices=list(COLUMNS.items()),
        required=False,
        help_text="Sieve and passing are always printed. None ticked: all that say something.",
    )
    passing_decimals = WordChoiceField("Passing is rounded to", _DECIMALS, required=False)
    rounding_mode = WordChoiceField("Rounding", _ROUNDING)
    states_uncertainty = forms.BooleanField(
        label="State the uncertainty on every certificate",
        required=False,
        help_text="It is stated anyway when asked for, used by the rule, or near a limit.",
    )
    scale = WordChoiceField("Aperture axis", _SCALES)
    direction = WordChoiceField("Direction", _DIRECTIONS)
    retained_axis = forms.BooleanField(label="Cumulative retained on a second axis", required=False)
    required_items = WordsPickedField(
        label="Also has to state",
        choices=[(key, words) for key, (words, _stated) in REQUIRED_ITEMS.items()],
        required=False,
        help_text="By an authority or the customer; a certificate without one is not issued.",
    )
    is_simplified = forms.BooleanField(
        label="Simplified report",
        required=False,
        help_text="Leaves conditions and mass balance to the full record.",
    )
    agreement = WordsField("By which agreement", look="long", required=False, max_length=240)

    def values(self) -> dict[str, Any]:
        """Give what the service takes, without picture, version and reason."""
        told = dict(self.cleaned_data)
        for name in ("version", "logo", "drops_logo", "reason"):
            told.pop(name, None)
        decimals = told["passing_decimals"]
        return told | {"passing_decimals": int(decimals) if decimals else None}

    def picture(self) -> bytes | None:
        """Give the new picture; nothing when the old one stays, no bytes when it is dropped."""
        if self.cleaned_data["drops_logo"]:
            return b""
        upload = self.cleaned_data["logo"]
        return upload.read() if upload else None

    def shown(self) -> ReportForm:
        """Build the form as it stands on the page, for the preview; nothing is kept."""
        return ReportForm(**self.values())


class ReportFormChangeForm(ReportFormForm):
    """A report form that is changed, with the reason."""

    reason = ReasonField("Why is it changed")
    groups = (*ReportFormForm.groups, ("Reason", ("reason",)))


def initial_of_form(form: ReportForm) -> dict[str, Any]:
    """Give the page of a form its values as they are kept."""
    initial = {
        name: getattr(form, name) for name in ReportFormForm.base_fields if hasattr(form, name)
    }
    initial["logo"] = None
    decimals = form.passing_decimals
    return initial | {"passing_decimals": "" if decimals is None else str(decimals)}
