"""Control charts: what is followed and how, a base period, the answer to a point."""

from __future__ import annotations

from typing import Any, ClassVar

from gradation.models import ControlChart
from gradation.queries.figure_names import CHARACTERISTICS, figure_title, passing_key
from gradation.queries.laboratory import material_list
from gradation.queries.methods import procedure_list
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

_PASSING = "passing"
_FIGURES = [
    (_PASSING, "passing at a sieve"),
    *((key, figure_title(key)) for key in CHARACTERISTICS),
]


def _words(words: type[Any]) -> list[tuple[str, str]]:
    return [(word.value, word.value) for word in words]


class ChartForm(NotebookForm):
    """A new chart: what it follows, how it is drawn and judged."""

    name = WordsField("Name of the chart", max_length=120)
    material = RowField("Material", material_list, required=False)
    procedure = RowField(
        "Procedure", procedure_list, required=False, help_text="Both: only runs of both."
    )
    figure = WordChoiceField("What is followed", _FIGURES)
    aperture_um = FigureField(
        "Sieve", unit="µm", required=False, help_text="For passing at a sieve."
    )
    kind = WordChoiceField("Kind", _words(ControlChart.Kind))
    rules = WordChoiceField(
        "Run rules",
        _words(ControlChart.Rules),
        initial=ControlChart.Rules.SET_1984.value,
        help_text="The more rules, the more alarms without a cause.",
    )
    group_by = WordChoiceField(
        "Told apart by", _words(ControlChart.Group), help_text="Each group has its own limits."
    )
    subgroup = WordChoiceField("A subgroup is", _words(ControlChart.Subgroup))
    subgroup_size = WholeField(
        "Runs in a subgroup", initial=2, min_value=2, max_value=25, required=False
    )
    weight = FigureField(
        "Weight of the newest", initial="0.2", required=False, help_text="Of weighted means."
    )
    span = WholeField(
        "Values in a moving mean", initial=5, min_value=2, max_value=100, required=False
    )
    answers_from = DayField(
        "Points to answer since",
        look="",
        help_text="Points out of control of runs since this day open a note.",
    )

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("What is followed", ("name", "material", "procedure", "figure", "aperture_um")),
        ("How it is judged", ("kind", "rules", "group_by", "answers_from")),
        (
            "Of means only",
            ("subgroup", "subgroup_size", "weight", "span"),
        ),
    )

    def clean(self) -> dict[str, Any]:
        """Ask for the sieve of a passing, and for a weight that can be."""
        values: dict[str, Any] = super().clean() or self.cleaned_data
        aperture = values.get("aperture_um")
        if values.get("figure") == _PASSING and not (aperture and aperture > 0):
            self.add_error("aperture_um", "Say at which sieve, in micrometres, such as 600.")
        weight = values.get("weight")
        if weight is not None and not 0 < weight <= 1:
            self.add_error("weight", "The weight lies above 0 and up to 1; 0.2 is common practice.")
        return values

    def chart(self) -> ControlChart:
        """Give the chart that was described."""
        values = dict(self.cleaned_data)
        figure, aperture = values.pop("figure"), values.pop("aperture_um")
        given = {name: value for name, value in values.items() if value is not None}
        key = passing_key(aperture) if figure == _PASSING else figure
        return ControlChart(characteristic=key, **given)


class _EndField(DayField):
    """One end of the time shown; empty is the usual thing and needs no word."""

    says_when = True


class StretchForm(NotebookForm):
    """From which day to which a chart is shown."""

    since = _EndField("From", required=False)
    until = _EndField("to", required=False)


class BaseForm(NotebookForm):
    """The base period that limits are frozen from."""

    base_from = DayField("From")
    base_to = DayField("to")
    reason = ReasonField("Why this period", help_text="Such as: a year without a known fault.")


class WhyForm(NotebookForm):
    """Why."""

    reason = ReasonField()


class PointForm(NotebookForm):
    """The answer to a point out of control."""

    cause = WordsField(
        "Cause",
        look="long",
        rows=3,
        max_length=400,
        help_text="What was looked at and found; 'none found' is an answer if it says where.",
    )
    done = WordsField("What was done", look="long", rows=3, max_length=400)


__all__ = ["BaseForm", "ChartForm", "PointForm", "StretchForm", "WhyForm"]
