"""Balances that send: how a line is read, the field that is named, a line from the browser."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms

from gradation.bench_io import FORMS
from gradation.bench_io.lines import UNITS
from gradation.bench_io.own_form import OWN
from gradation.models import BalanceLink, Bench, Equipment, Run
from gradation.queries.equipment import bench_list
from gradation.services.balance_readings import BalanceLine, Field
from gradation.web.forms.base import (
    NotebookForm,
    ReasonField,
    RowField,
    WordChoiceField,
    WordsField,
)
from gradation.web.forms.bench import MomentField

_BAUDS = (1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200)
_OWN_WORDS = "an own line, written below"


def _figures(*values: int) -> list[tuple[int, str]]:
    return [(value, str(value)) for value in values]


class FigureChoiceField(forms.TypedChoiceField):
    """One of a few whole numbers."""

    look = "short"

    def __init__(self, label: str, *values: int, **options: Any) -> None:
        super().__init__(label=label, choices=_figures(*values), coerce=int, **options)


class BalanceLinkForm(NotebookForm):
    """What a balance sends, and over what port."""

    bench = RowField("Its readings go to", bench_list)
    sends = WordChoiceField(
        "It sends",
        [(each.value, each.value) for each in BalanceLink.Sends],
        help_text="All the time: one reading for each load that has come to rest.",
    )
    form = forms.ChoiceField(
        label="Its line looks like",
        choices=[*((form.name, form.words) for form in FORMS), (OWN, _OWN_WORDS)],
        widget=forms.RadioSelect,
    )
    pattern = WordsField(
        "Own line",
        look="serial",
        max_length=120,
        required=False,
        help_text="The line as it is sent, with {number}, {unit} and {mark} in their places; {any} "
        "is a word that does not matter. Such as: N {mark} {number} {unit}",
    )
    default_unit = WordChoiceField(
        "Unit when none is sent", [(unit, unit) for unit in UNITS], look="short"
    )
    stable_marks = WordsField(
        "Marks when settled",
        max_length=80,
        required=False,
        help_text="Of an own line; commas between.",
    )
    unstable_marks = WordsField(
        "Marks when not settled",
        max_length=80,
        required=False,
        help_text="Of an own line; commas between.",
    )
    baud = FigureChoiceField("Speed", *_BAUDS)
    data_bits = FigureChoiceField("Data bits", 7, 8)
    parity = WordChoiceField(
        "Parity", [(each.value, each.value) for each in BalanceLink.Parity], look="short"
    )
    stop_bits = FigureChoiceField("Stop bits", 1, 2)
    reason = ReasonField("Why is it changed")

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("Where and when", ("bench", "sends")),
        (
            "What a line looks like",
            ("form", "pattern", "default_unit", "stable_marks", "unstable_marks"),
        ),
        ("Serial port", ("baud", "data_bits", "parity", "stop_bits")),
    )

    def __init__(self, *args: Any, is_new: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if is_new:
            del self.fields["reason"]
        else:
            self.groups = (*type(self).groups, ("Why", ("reason",)))  # type: ignore[misc]

    def link(self, balance: Equipment) -> BalanceLink:
        """Give the service the connection that was described."""
        return BalanceLink(balance_id=balance.pk, **self.cleaned_data)


class TriedLinesForm(BalanceLinkForm):
    """Lines to try a form on, before it is kept."""

    lines = forms.CharField(max_length=2000, required=False, strip=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, is_new=True, **kwargs)
        for name in set(self.fields) - {"form", "lines"}:
            self.fields[name].required = False

    def tried(self) -> BalanceLink:
        """Give the form of lines that was described; the port does not matter here."""
        names = ("form", "pattern", "default_unit", "stable_marks", "unstable_marks")
        given = {name: self.cleaned_data[name] for name in names}
        return BalanceLink(**{**given, "default_unit": given["default_unit"] or "g"})


class FieldForm(forms.Form):
    """The field of a run where the next balance reading goes, as the page names it."""

    run = forms.IntegerField(min_value=1, max_value=2**62)
    slot = forms.CharField(max_length=24)
    position = forms.IntegerField(min_value=0, max_value=1000)
    increment = forms.IntegerField(min_value=1, max_value=99)
    gross = forms.BooleanField(required=False)
    tare_text = forms.CharField(max_length=40, required=False)
    reason = forms.CharField(max_length=400, required=False)

    def field(self, run: Run) -> Field:
        """Give the service the field of this run."""
        given = self.cleaned_data
        is_gross = bool(given["gross"])
        tare = given["tare_text"] if is_gross else ""
        return Field(run, given["slot"], given["position"], given["increment"], is_gross, tare)


class DryingFieldForm(forms.Form):
    """The weighing of a drying where the next balance reading goes, as the page names it."""

    drying = forms.IntegerField(min_value=1, max_value=2**62)
    number = forms.IntegerField(min_value=1, max_value=1000)
    reason = forms.CharField(max_length=400, required=False)


class BalanceLineForm(forms.Form):
    """A line that the browser read from a balance at its own port."""

    balance = forms.CharField(max_length=40)
    line = forms.CharField(max_length=200, strip=False)
    key = forms.UUIDField()
    observed_at = MomentField(required=False)
    sent_at = MomentField(required=False)

    def sent(self, bench: Bench) -> BalanceLine:
        """Give the service the line."""
        return BalanceLine(bench=bench, **self.cleaned_data)
