"""What every form of the site shares: its templates, its fields with units, its faults."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, ClassVar

from django import forms
from django.db.models import Model, QuerySet
from django.forms.renderers import TemplatesSetting

from gradation.errors import Invalid, Refusal
from gradation.science.errors import GradationError
from gradation.science.quantities import parse_decimal


class NotebookRenderer(TemplatesSetting):
    """Draws forms with the site's own parts."""

    form_template_name = "parts/form.html"
    field_template_name = "parts/field.html"


@dataclass(frozen=True)
class Group:
    """Fields that belong together, under their legend."""

    legend: str
    fields: list[forms.BoundField]


class NotebookForm(forms.Form):
    """A form whose faults come from its fields and from the service, shown alike."""

    default_renderer = NotebookRenderer
    use_required_attribute = False
    #: Legends and the fields under them, in the order of the work; empty: one group of all.
    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = ()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        #: Places of the page, outside the form, that refusals are about; by their words.
        self.elsewhere: dict[str, str] = {}
        for field in self.fields.values():
            field.error_messages["required"] = "Fill this in; it cannot stay empty."
            field.error_messages["invalid_choice"] = "Choose one of those offered."
            if isinstance(field, RowField):
                field.queryset = field.offers()

    @property
    def grouped(self) -> list[Group]:
        """List the visible fields in their groups."""
        if not self.groups:
            return [Group("", self.visible_fields())]
        return [Group(legend, [self[name] for name in names]) for legend, names in self.groups]

    def take(self, refusal: Refusal) -> None:
        """Put a service's refusal beside the field it names, or above the form."""
        if isinstance(refusal, Invalid):
            for fault in refusal.faults:
                self._place(fault.field, fault.message)
        else:
            self._place(refusal.field, refusal.message)

    def _place(self, field: str, message: str) -> None:
        if field in self.fields:
            self.add_error(field, message)
            return
        self.add_error(None, message)
        self.elsewhere[message] = field


class WordsField(forms.CharField):
    """Text of the trade; `look` sets its width on the page."""

    def __init__(self, label: str, *, look: str = "", rows: int = 0, **options: Any) -> None:
        self.look = look
        options.setdefault("max_length", 240)
        if rows:
            options["widget"] = forms.Textarea(attrs={"rows": rows})
        super().__init__(label=label, **options)


class FigureField(forms.CharField):
    """A decimal as the bench types it, point or comma; its unit stands in the field's right end."""

    def __init__(self, label: str, *, unit: str = "", look: str = "short", **options: Any) -> None:
        self.unit, self.look = unit, look
        options["widget"] = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        super().__init__(label=label, **options)

    def prepare_value(self, value: object) -> object:
        """Show a stored figure without the zeros that its column added."""
        if not isinstance(value, Decimal):
            return value
        text = f"{value:f}"
        return text.rstrip("0").rstrip(".") if "." in text else text

    def clean(self, value: object) -> Decimal | None:
        """Give the Decimal that was typed, or None when the field may stay empty."""
        text = super().clean(value)
        return self._number(text) if text else None

    def _number(self, text: str) -> Decimal:
        try:
            return parse_decimal(text)
        except GradationError as error:
            raise forms.ValidationError(str(error)) from error


class WholeField(forms.IntegerField):
    """A whole number such as days or uses."""

    def __init__(self, label: str, *, unit: str = "", look: str = "short", **options: Any) -> None:
        self.unit, self.look = unit, look
        options["widget"] = forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"})
        super().__init__(label=label, **options)


class DayField(forms.DateField):
    """A day, by the browser's own calendar."""

    def __init__(self, label: str, *, look: str = "short", **options: Any) -> None:
        self.look = look
        options["widget"] = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
        super().__init__(label=label, **options)


class MomentField(forms.DateTimeField):
    """A day and a time in the laboratory's zone."""

    def __init__(self, label: str, *, look: str = "", **options: Any) -> None:
        self.look = look
        options["widget"] = forms.DateTimeInput(
            attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"
        )
        super().__init__(label=label, **options)


class RowField(forms.ModelChoiceField):
    """One row out of those a query offers; the query is asked when the form is made."""

    def __init__(
        self, label: str, offers: Callable[[], QuerySet[Any]], *, look: str = "", **options: Any
    ) -> None:
        self.look, self.offers = look, offers
        options.setdefault("empty_label", "–")
        super().__init__(None, label=label, **options)


class WordChoiceField(forms.ChoiceField):
    """One of a few words."""

    def __init__(
        self, label: str, choices: Sequence[tuple[str, str]], *, look: str = "", **options: Any
    ) -> None:
        self.look = look
        super().__init__(label=label, choices=choices, **options)


class ReasonField(WordsField):
    """Why: asked for wherever something is corrected, refused or taken back."""

    #: Its hint says when it is needed; it is not marked as optional.
    says_when = True

    def __init__(self, label: str = "Reason", **options: Any) -> None:
        options.setdefault("help_text", "Kept in the record, with your name.")
        options.setdefault("max_length", 400)
        super().__init__(label, look="long", rows=2, **options)


def initial_of(row: Model, form: type[NotebookForm]) -> dict[str, Any]:
    """Give a form the values that a row has under the names of its fields."""
    names = [name for name in form.base_fields if hasattr(row, name)]
    return {name: getattr(row, name) for name in names}


__all__ = [
    "DayField",
    "FigureField",
    "MomentField",
    "NotebookForm",
    "ReasonField",
    "RowField",
    "WholeField",
    "WordChoiceField",
    "WordsField",
    "initial_of",
]
