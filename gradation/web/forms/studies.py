"""Studies: what each kind asks for, the results left out, the answer to a score."""

from __future__ import annotations

import re
from typing import Any, ClassVar

from django import forms

from gradation.errors import Fault, Invalid
from gradation.models import Study, User
from gradation.queries.curve_picks import PickKind, picks_named
from gradation.queries.figure_names import CHARACTERISTICS, figure_title, passing_key
from gradation.queries.laboratory import material_list
from gradation.queries.methods import procedure_list
from gradation.queries.studies.asked import (
    BenchesAsked,
    BenchGroup,
    Estimate,
    Head,
    MethodsAsked,
    PrecisionAsked,
    RoundAsked,
    StudyAsked,
)
from gradation.queries.studies.own_figures import GROUPS, cells_of_runs, pairs_of_runs
from gradation.queries.studies.tables import read_cells, read_gradation, read_pairs, read_round
from gradation.web.forms.base import (
    FigureField,
    NotebookForm,
    ReasonField,
    RowField,
    WordChoiceField,
    WordsField,
)

_PASSING = "passing"
_FIGURES = [
    (_PASSING, "passing at a sieve"),
    *((key, figure_title(key)) for key in CHARACTERISTICS),
]
_LONGEST_TABLE = 60_000
_SEPARATORS = re.compile(r"[,;\s]+")


class TableField(WordsField):
    """A table, typed or pasted: a line a row, cells parted by semicolon, tab or comma."""

    def __init__(self, label: str, *, rows: int = 9, **options: Any) -> None:
        super().__init__(label, look="long", rows=rows, max_length=_LONGEST_TABLE, **options)


class StudyForm(NotebookForm):
    """What every study asks for; each kind adds its own."""

    title = WordsField("Title", max_length=160, look="long")
    material = RowField("Material", material_list, required=False)
    note = WordsField("Note", required=False, look="long", rows=2, max_length=2000)

    def head(self) -> Head:
        """Give what the study says of itself."""
        values = self.cleaned_data
        entered = {name: self.data.get(name, "") for name in self.fields if self.data.get(name)}
        return Head(
            title=values["title"],
            figure=self.figure_key(),
            material=values["material"],
            valid_for=values.get("valid_for", ""),
            note=values["note"],
            entered=entered,
        )

    def figure_key(self) -> str:
        """Give the figure that is studied; '' for all sieves."""
        figure, aperture = self.cleaned_data.get("figure"), self.cleaned_data.get("aperture_um")
        if not figure:
            return ""
        return passing_key(aperture) if figure == _PASSING and aperture else figure

    def clean(self) -> dict[str, Any]:
        """Ask for the sieve of a passing."""
        values: dict[str, Any] = super().clean() or self.cleaned_data
        aperture = values.get("aperture_um")
        if values.get("figure") == _PASSING and not (aperture and aperture > 0):
            self.add_error("aperture_um", "Say at which sieve, in micrometres, such as 600.")
        return values

    def asked(self, actor: User) -> StudyAsked:
        """Give what is asked; refuses (`Invalid`) what cannot be read."""
        raise NotImplementedError


def _figure() -> WordChoiceField:
    return WordChoiceField("What was found", _FIGURES)


def _aperture() -> FigureField:
    return FigureField("Sieve", unit="µm", required=False, help_text="For passing at a sieve.")


class PrecisionForm(StudyForm):
    """A precision study: a table of results, or samples whose runs are taken."""

    kind = Study.Kind.PRECISION
    figure, aperture_um = _figure(), _aperture()
    participants_are = WordChoiceField(
        "Participants are",
        [(word, word) for word in ("laboratories", *GROUPS)],
    )
    table = TableField(
        "Results",
        required=False,
        help_text="A line for each participant at each level: participant; level; result; result",
    )
    samples = WordsField(
        "or runs of these samples",
        required=False,
        look="long",
        help_text="Numbers of samples, a level each; their runs are told apart by bench or "
        "technician.",
    )
    allows_unequal = forms.BooleanField(label="Unequal replicates are meant", required=False)
    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("What is studied", ("title", "figure", "aperture_um", "material")),
        ("Design and results", ("participants_are", "table", "samples", "allows_unequal")),
        ("", ("note",)),
    )

    def asked(self, actor: User) -> PrecisionAsked:
        """Give the cells typed, or those of our own runs."""
        values = self.cleaned_data
        words, table = values["participants_are"], values["table"]
        if bool(table.strip()) == bool(values["samples"].strip()):
            msg = "Give a table of results, or the samples whose runs are taken; not both."
            raise Invalid.one("table", msg, code="one-of-both")
        if table.strip():
            cells = read_cells(table)
        elif words not in GROUPS:
            msg = "Runs of ours are told apart by bench or technician; choose one of them."
            raise Invalid.one("participants_are", msg)
        else:
            numbers = [word for word in _SEPARATORS.split(values["samples"]) if word]
            cells = cells_of_runs(actor, numbers, self.figure_key(), words)
        return PrecisionAsked(cells, words, allows_unequal=values["allows_unequal"])


class BenchesForm(StudyForm):
    """Two benches or laboratories on portions of one sample."""

    kind = Study.Kind.BENCHES
    first_name = WordsField(
        "First", required=False, max_length=60, help_text="Empty: the bench of the runs."
    )
    first_runs = WordsField(
        "Its runs", look="long", help_text="Such as 26-0148-1/1, or a portion for all its runs."
    )
    second_name = WordsField("Second", required=False, max_length=60)
    second_runs = WordsField("Its runs", required=False, look="long")
    typed = TableField(
        "or what another laboratory reported",
        required=False,
        rows=6,
        help_text="A line a sieve: aperture in µm, in brackets the measured one if known; "
        "passing in %; a further value for each portion. 200 (203.5); 50.1; 49.8",
    )
    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("What is compared", ("title", "material")),
        ("First side", ("first_name", "first_runs")),
        ("Second side", ("second_name", "second_runs", "typed")),
        ("", ("note",)),
    )

    def asked(self, actor: User) -> BenchesAsked:
        """Give both sides."""
        values = self.cleaned_data
        typed = read_gradation(values["typed"]) if values["typed"].strip() else ()
        if bool(typed) == bool(values["second_runs"].strip()):
            msg = "Give the runs of the second side, or what another laboratory reported; not both."
            raise Invalid.one("second_runs", msg, code="one-of-both")
        return BenchesAsked(
            BenchGroup(values["first_name"], _runs(actor, values["first_runs"], "first_runs")),
            BenchGroup(
                values["second_name"],
                _runs(actor, values["second_runs"], "second_runs"),
                typed,
            ),
        )


def _runs(actor: User, text: str, field: str) -> tuple[int, ...]:
    """Find the runs that numbers name; a sample names too many."""
    picks = picks_named(actor, text, field)
    if any(pick.kind is not PickKind.RUN for pick in picks):
        msg = "A sample's number names every run of it. Give portions or single runs."
        raise Invalid(Fault(field, msg, "several"))
    return tuple(dict.fromkeys(int(pick.key) for pick in picks))


class RoundForm(StudyForm):
    """A comparison round."""

    kind = Study.Kind.ROUND
    figure, aperture_um = _figure(), _aperture()
    own = FigureField("Our result")
    u_own = FigureField("its standard uncertainty", required=False, help_text="For zeta and En.")
    estimate = WordChoiceField(
        "Assigned value and deviation",
        [
            (Estimate.STATED.value, "as stated by the provider"),
            (Estimate.ALGORITHM_A.value, "robust, algorithm A"),
            (Estimate.QUARTILES.value, "median and interquartile range"),
        ],
        help_text="A stated one counts before a robust one.",
    )
    assigned = FigureField("Assigned value", required=False)
    deviation = FigureField("Standard deviation", required=False)
    u_assigned = FigureField("Standard uncertainty of the assigned value", required=False)
    results = TableField(
        "Results of all participants",
        required=False,
        help_text="A line each, ours among them: participant; result",
    )
    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("The round", ("title", "figure", "aperture_um", "material")),
        ("Our result", ("own", "u_own")),
        ("What it is held against", ("estimate", "assigned", "deviation", "u_assigned", "results")),
        ("", ("note",)),
    )

    def asked(self, actor: User) -> RoundAsked:
        """Give our result and what it is held against."""
        values = self.cleaned_data
        names = ("own", "u_own", "assigned", "deviation", "u_assigned")
        return RoundAsked(
            **{name: values[name] for name in names},
            estimate=Estimate(values["estimate"]),
            results=read_round(values["results"]),
        )


class MethodsForm(StudyForm):
    """Two methods on the same samples."""

    kind = Study.Kind.METHODS
    figure, aperture_um = _figure(), _aperture()
    first_method = WordsField("First method", required=False, max_length=60)
    second_method = WordsField("Second method", required=False, max_length=60)
    pairs = TableField(
        "Pairs", required=False, help_text="A line a sample: sample; first method; second method"
    )
    first_procedure = RowField("or runs by procedure", procedure_list, required=False)
    second_procedure = RowField("and by procedure", procedure_list, required=False)
    variance_ratio = FigureField(
        "Ratio of error variances", initial="1", help_text="Second over first; 1 if alike."
    )
    valid_for = WordsField(
        "Valid for",
        look="long",
        help_text="Material and range. Such a correlation is local, never universal.",
    )
    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("What is compared", ("title", "figure", "aperture_um", "material", "valid_for")),
        ("Methods and values", ("first_method", "second_method", "pairs")),
        (
            "or of runs that are here",
            ("first_procedure", "second_procedure", "variance_ratio"),
        ),
        ("", ("note",)),
    )

    def asked(self, actor: User) -> MethodsAsked:
        """Give the pairs typed, or those of our own runs by two procedures."""
        values = self.cleaned_data
        chosen = values["first_procedure"], values["second_procedure"]
        if bool(values["pairs"].strip()) == bool(all(chosen)):
            msg = "Give a table of pairs, or two procedures whose runs are taken; not both."
            raise Invalid.one("pairs", msg, code="one-of-both")
        names = [values["first_method"], values["second_method"]]
        if all(chosen):
            if values["material"] is None:
                raise Invalid.one("material", "Say of which material the runs are.")
            pairs = pairs_of_runs(actor, values["material"].pk, self.figure_key(), chosen)
            names = [name or each.code for name, each in zip(names, chosen, strict=True)]
        else:
            pairs = read_pairs(values["pairs"])
        faults = [
            Fault(field, "Name the method.", "required")
            for field, name in zip(("first_method", "second_method"), names, strict=True)
            if not name
        ]
        if faults:
            raise Invalid(faults)
        return MethodsAsked(pairs, names[0], names[1], values["variance_ratio"])


class CellForm(NotebookForm):
    """Which results are left out of a precision study, and why."""

    cell = WordChoiceField("Results", [])
    reason = ReasonField()

    def __init__(self, *args: Any, cells: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["cell"].choices = cells  # type: ignore[attr-defined]


#: Kinds by their word in the address.
FORMS: dict[str, type[StudyForm]] = {
    "precision": PrecisionForm,
    "benches": BenchesForm,
    "round": RoundForm,
    "methods": MethodsForm,
}

__all__ = [
    "FORMS",
    "BenchesForm",
    "CellForm",
    "MethodsForm",
    "PrecisionForm",
    "RoundForm",
    "StudyForm",
]
