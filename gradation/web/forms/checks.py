"""Checks of equipment: the figures of each kind; the verdict is computed, never typed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from django import forms
from django.core.files.uploadedfile import UploadedFile

from gradation.models import Check, Equipment, Instrument, Sieve
from gradation.queries.equipment_file import lots_in_use, masters_of
from gradation.queries.sieve_limits import sieve_limits
from gradation.science.errors import GradationError
from gradation.services import checks
from gradation.services.check_evidence import Evidence
from gradation.web.forms.base import (
    DayField,
    FigureField,
    Group,
    NotebookForm,
    RowField,
    WordChoiceField,
    WordsField,
)
from gradation.web.forms.equipment import UploadField
from gradation.web.forms.readings import ReadingsField, RowsField, figures_in, two_columns

Kind = Check.Kind


class CheckForm(NotebookForm):
    """What every check says: when, what else was seen, the file, when the next one is due."""

    kind: ClassVar[Kind]
    #: Legend of the figures and their fields, in the order of the work.
    legend: ClassVar[str] = "What was found"
    figures: ClassVar[tuple[str, ...]] = ()

    performed_on = DayField("Made on")
    note = WordsField(
        "Made with, and what else was seen",
        look="long",
        rows=2,
        max_length=2000,
        required=False,
        help_text="The instrument used, its number; what the figures do not say.",
    )
    file = UploadField(
        label="Photograph or report", required=False, help_text="Kept with the check."
    )
    next_due_on = DayField("Next due on", required=False, help_text="Empty: by the item's rule.")

    def __init__(self, item: Equipment, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.item = item

    @property
    def grouped(self) -> list[Group]:
        """Show the day, the figures of this kind, then what all kinds share."""
        return [
            Group("", [self["performed_on"]]),
            Group(self.legend, [self[name] for name in self.figure_names()]),
            Group("", [self[name] for name in ("note", "file", "next_due_on")]),
        ]

    def figure_names(self) -> tuple[str, ...]:
        """Name the fields of this kind of check."""
        return self.figures

    def evidence(self) -> Evidence:
        """Give the service what was found."""
        raise NotImplementedError

    def typed(self, *names: str) -> dict[str, Any]:
        """Give the typed figures under their names."""
        return {name: self.cleaned_data[name] for name in names or self.figures}


def points_of(item: Equipment) -> tuple[str, ...]:
    """Give the points that are looked at on an item of this kind."""
    is_sieve = item.kind == Equipment.Kind.SIEVE
    return checks.VISUAL_ITEMS if is_sieve else checks.VISUAL_ITEMS_INSTRUMENT


_SEEN = [("yes", "in order"), ("no", "not in order")]


class VisualForm(CheckForm):
    """A look at the item: each point is in order or it is not."""

    kind = Kind.VISUAL
    legend = "Looked at under good light, with a magnifier for fine cloth"

    def __init__(self, item: Equipment, *args: Any, **kwargs: Any) -> None:
        super().__init__(item, *args, **kwargs)
        self.points = points_of(item)
        self.fields["next_due_on"].help_text = "Empty: a look alone moves no date."
        for i, point in enumerate(self.points):
            field = WordChoiceField(
                point, _SEEN, look="point", widget=forms.RadioSelect(attrs={"class": "point"})
            )
            field.error_messages["required"] = "Say whether it is in order."
            self.fields[f"point_{i}"] = field

    def figure_names(self) -> tuple[str, ...]:
        """Name one field a point."""
        return tuple(f"point_{i}" for i in range(len(self.points)))

    def evidence(self) -> Evidence:
        """Give the points with whether each is in order."""
        seen = zip(self.points, self.figure_names(), strict=True)
        return checks.VisualEvidence(
            {point: self.cleaned_data[name] == "yes" for point, name in seen}
        )


class LimitsForm(CheckForm):
    """A check of the aperture; of a sieve that no table holds, with limits of the laboratory's."""

    own_mean_um = FigureField("Mean may deviate by", unit="µm", required=False)
    own_single_um = FigureField("Single aperture above by", unit="µm", required=False)
    own_source = WordsField("Where these limits come from", max_length=80, required=False)

    _own: ClassVar[tuple[str, ...]] = ("own_mean_um", "own_single_um", "own_source")

    @property
    def grouped(self) -> list[Group]:
        """Ask for limits of the laboratory's own where no table has them."""
        day, *rest = super().grouped
        if self._is_in_a_table():
            return [day, *rest]
        legend = "Limits: no table kept here holds this sieve"
        return [day, Group(legend, [self[name] for name in self._own]), *rest]

    def clean(self) -> dict[str, Any]:
        """Take limits of one's own whole or not at all."""
        values: dict[str, Any] = super().clean() or self.cleaned_data
        given = [name for name in self._own if values.get(name)]
        if given and len(given) < len(self._own):
            for name in set(self._own) - set(given):
                self.add_error(name, "Limits need both figures and where they come from.")
        return values

    def _is_in_a_table(self) -> bool:
        try:
            return isinstance(self.item, Sieve) and bool(sieve_limits(self.item))
        except GradationError:
            return False

    def limits(self) -> checks.OwnLimits | None:
        """Give the limits stated with the check, if any were."""
        mean, single, source = (self.cleaned_data.get(name) for name in self._own)
        return checks.OwnLimits(mean, single, str(source)) if mean and single else None


class ApertureForm(LimitsForm):
    """Apertures measured along warp and weft: typed, pasted, or out of a file."""

    kind = Kind.APERTURE
    legend = "Apertures measured"
    figures = ("warp_um", "weft_um", "largest_um", "resolution_um", "readings_file")

    readings_file = UploadField(
        label="or the readings as a file",
        required=False,
        help_text="Text of two columns, warp and weft in µm. It takes the place of the fields.",
    )
    warp_um = ReadingsField(
        "Along the warp", unit="µm", required=False, help_text="One figure after the other."
    )
    weft_um = ReadingsField("Along the weft", unit="µm", required=False)
    largest_um = FigureField(
        "Largest seen",
        unit="µm",
        required=False,
        help_text="If larger than those measured.",
    )
    resolution_um = FigureField("Resolution of the reading", unit="µm", required=False)

    def clean(self) -> dict[str, Any]:
        """Take the readings from the file when there is one; both directions are needed."""
        values: dict[str, Any] = super().clean() or self.cleaned_data
        file = values.get("readings_file")
        if file:
            self._read(file, values)
        for name, direction in (("warp_um", "warp"), ("weft_um", "weft")):
            if name in values and not values[name] and "readings_file" not in self.errors:
                self.add_error(name, f"Enter at least one reading along the {direction}.")
        return values

    def _read(self, file: UploadedFile, values: dict[str, Any]) -> None:
        try:
            warp, weft = two_columns(file.read())
            values |= {"warp_um": figures_in(warp), "weft_um": figures_in(weft)}
        except forms.ValidationError as error:
            self.add_error("readings_file", error)

    def evidence(self) -> Evidence:
        """Give the readings of both directions."""
        return checks.ApertureEvidence(
            **self.typed("warp_um", "weft_um", "largest_um", "resolution_um"), limits=self.limits()
        )


class ReferenceForm(LimitsForm):
    """A reference material sieved on the sieve."""

    kind = Kind.REFERENCE
    legend = "Reference material sieved"
    figures = ("lot", "observed_passing_pct", "u_pct")

    lot = RowField("Lot", lots_in_use)
    observed_passing_pct = FigureField("Found passing", unit="%")
    u_pct = FigureField("Standard uncertainty of it", unit="%")

    def evidence(self) -> Evidence:
        """Give the lot and what passed."""
        return checks.ReferenceEvidence(**self.typed(), limits=self.limits())


class MasterField(RowField):
    """A master sieve, by serial number and frame."""

    def label_from_instance(self, obj: Sieve) -> str:
        """Name the master and its frame."""
        return f"{obj.serial} · {obj.designation} · frame {obj.frame_diameter_mm:g} mm"


class MasterForm(CheckForm):
    """One material split in two, sieved on this sieve and on a master."""

    kind = Kind.MASTER
    legend = "Split portions sieved"
    figures = ("master", "this_passing_pct", "master_passing_pct", "limit_pct")

    master = MasterField("Master sieve", Sieve.objects.none)
    this_passing_pct = FigureField("Passing on this sieve", unit="%")
    master_passing_pct = FigureField("Passing on the master", unit="%")
    limit_pct = FigureField("Allowed difference", unit="%", help_text="Of the laboratory's own.")

    def __init__(self, item: Equipment, *args: Any, **kwargs: Any) -> None:
        super().__init__(item, *args, **kwargs)
        self.fields["master"].queryset = masters_of(item)  # type: ignore[attr-defined]

    def evidence(self) -> Evidence:
        """Give both shares and the difference allowed."""
        return checks.MasterEvidence(**self.typed())


class WeightsForm(CheckForm):
    """Check-weights on a balance."""

    kind = Kind.WEIGHTS
    legend = "Check-weights"
    figures = ("rows",)

    rows = RowsField(
        "Nominal, reading, limit [g]",
        columns=3,
        help_text="One weight a line, such as: 500 500.02 0.05",
    )

    def evidence(self) -> Evidence:
        """Give each weight with its reading and limit."""
        return checks.WeightsEvidence(tuple(self.cleaned_data["rows"]))


class ShakerForm(CheckForm):
    """Amplitude and timer of a shaker; of a timer, the time alone."""

    kind = Kind.SHAKER
    legend = "Amplitude and timer"

    amplitude_mm = FigureField("Amplitude found", unit="mm", required=False)
    set_amplitude_mm = FigureField("Amplitude set", unit="mm", required=False)
    tolerance_mm = FigureField("Allowed deviation", unit="mm", required=False)
    timer_s = FigureField("Timer ran", unit="s", required=False)
    reference_s = FigureField("Stopwatch said", unit="s", required=False)
    timer_limit_s = FigureField("Allowed deviation of time", unit="s", required=False)

    def figure_names(self) -> tuple[str, ...]:
        """Name the figures that this item has: a timer has no amplitude."""
        amplitude = ("amplitude_mm", "set_amplitude_mm", "tolerance_mm")
        timer = ("timer_s", "reference_s", "timer_limit_s")
        return timer if self.item.kind == Equipment.Kind.TIMER else amplitude + timer

    def evidence(self) -> Evidence:
        """Give what was measured and what it may be."""
        return checks.ShakerEvidence(
            **{
                name: self.cleaned_data.get(name)
                for name in (
                    "amplitude_mm",
                    "set_amplitude_mm",
                    "tolerance_mm",
                    "timer_s",
                    "reference_s",
                    "timer_limit_s",
                )
            }
        )


class TemperatureForm(CheckForm):
    """An oven or a thermometer against a reference thermometer."""

    kind = Kind.TEMPERATURE
    legend = "Temperature"
    figures = ("set_c", "found_c", "tolerance_c")

    set_c = FigureField("Set", unit="°C")
    found_c = FigureField("Found by the reference", unit="°C")
    tolerance_c = FigureField("Allowed deviation", unit="°C")

    def evidence(self) -> Evidence:
        """Give the temperatures."""
        return checks.TemperatureEvidence(**self.typed())


class HalvesForm(CheckForm):
    """The two halves a divider makes."""

    kind = Kind.HALVES
    legend = "The two halves"
    figures = ("left_g", "right_g", "limit_pct")

    left_g = FigureField("Left", unit="g")
    right_g = FigureField("Right", unit="g")
    limit_pct = FigureField("Allowed difference", unit="%", help_text="Of their mean.")

    def evidence(self) -> Evidence:
        """Give both halves and the difference allowed."""
        return checks.HalvesEvidence(**self.typed())


#: Forms by the last word of their address.
FORMS: Mapping[str, type[CheckForm]] = {
    "visual": VisualForm,
    "aperture": ApertureForm,
    "reference": ReferenceForm,
    "master": MasterForm,
    "weights": WeightsForm,
    "shaker": ShakerForm,
    "temperature": TemperatureForm,
    "halves": HalvesForm,
}

#: Kinds of check by kind of item, the commonest first.
OFFERED: Mapping[str, tuple[str, ...]] = {
    Equipment.Kind.SIEVE: ("visual", "aperture", "reference", "master"),
    Equipment.Kind.SHAKER: ("shaker", "visual"),
    Equipment.Kind.BALANCE: ("weights", "visual"),
    Equipment.Kind.OVEN: ("temperature", "visual"),
    Equipment.Kind.DIVIDER: ("halves", "visual"),
    Equipment.Kind.TIMER: ("shaker", "visual"),
    Equipment.Kind.THERMOMETER: ("temperature", "visual"),
}


def start_of(item: Equipment, last: Check | None) -> dict[str, Any]:
    """Give what a form can know before the check: settings on the card, limits of the last one."""
    start: dict[str, Any] = {}
    if isinstance(item, Instrument):
        start |= {
            "set_c": item.set_temperature_c,
            "tolerance_c": item.temperature_tolerance_c,
            "set_amplitude_mm": item.amplitude_max_mm,
        }
    if last is not None:
        start |= {name: value for name, value in last.readings.items() if name in _LASTING}
    return {name: value for name, value in start.items() if value not in (None, "")}


_LASTING = frozenset(
    {"tolerance_mm", "set_amplitude_mm", "timer_limit_s", "tolerance_c", "set_c", "limit_pct"}
)
