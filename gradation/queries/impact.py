"""Impact assessments: what a bad sieve, balance, shaker or person touched, worst first.

The number of queries does not grow with the runs: everything is read in whole columns and joined
here, and what was found is applied by `impact_recomputed` to groups of like runs.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple

import numpy as np
from django.db.models import Count, QuerySet, TextField
from django.db.models.fields.json import KT
from django.db.models.functions import Cast, TruncDate

from gradation.errors import NotFound
from gradation.models import (
    Equipment,
    ImpactAssessment,
    ProcedureVersion,
    Result,
    Run,
    RunInstrument,
    SpecificationVersion,
)
from gradation.models.specifications import DecisionRule
from gradation.queries.days import laboratory_zone
from gradation.queries.impact_certificates import (
    CertificateRows,
    certificate_rows,
    touched_certificates,
    undecided,
)
from gradation.queries.impact_recomputed import (
    BalanceFound,
    Group,
    Recomputed,
    SieveFound,
    kept_lines,
    line_words,
    needs_pan,
    recomputed,
)
from gradation.queries.impact_rows import Impact, Method, TouchedCertificate, TouchedRun
from gradation.queries.impact_scope import touched_runs, what_was_found
from gradation.queries.worksheets import envelope_of, missing_rule_of, rounding_of
from gradation.science.apertures import designation
from gradation.science.envelopes import AssessmentRule
from gradation.science.errors import GradationError
from gradation.science.gradation import Basis
from gradation.science.interpolation import Interpolation

__all__ = [
    "Impact",
    "Method",
    "TouchedCertificate",
    "TouchedRun",
    "find_assessment",
    "impact_list",
    "touched",
    "touched_certificates",
    "touched_runs",
    "undecided",
]


def impact_list() -> QuerySet[ImpactAssessment]:
    """List the assessments, open ones first, newest first."""
    return ImpactAssessment.objects.select_related(
        "equipment", "person", "opened_by", "closed_by", "failed_check", "last_good_check"
    ).order_by("-state", "-id")


def find_assessment(pk: int) -> ImpactAssessment:
    """Give one assessment, or `NotFound`."""
    found = impact_list().filter(pk=pk).first()
    if found is None:
        msg = "There is no such impact assessment. Look it up in the list."
        raise NotFound(msg)
    return found


def touched(assessment: ImpactAssessment) -> Impact:
    """Give every run, certificate and customer touched, what would flip first.

    For a sieve each result is computed again with the aperture found, for a balance with its
    masses scaled by the error found; anything else is listed without recomputation, and the
    sentence says so.
    """
    return _Reading(assessment).impact()


class _RunRow(NamedTuple):
    """A run's columns."""

    run_id: int
    label: str
    determination: int
    state: str
    opened_on: date
    procedure_id: int
    sample: str
    customer: str
    material: str
    guard_sieve_id: int | None


class _ResultRow(NamedTuple):
    """A result's columns with one comparison; the version is None without a specification."""

    run_id: int
    result_id: int
    version_id: int | None
    curve: list[list[float]]


class _Reading:
    """One reading of an assessment's runs; holds the columns while they are joined."""

    def __init__(self, assessment: ImpactAssessment) -> None:
        self.assessment = assessment
        self.scope = touched_runs(assessment)
        self.found = what_was_found(assessment)
        self.zone = laboratory_zone()
        self.notes: set[str] = set()

    def impact(self) -> Impact:
        """Read, compute again where something was found, join and rank."""
        runs = self._runs()
        held = certificate_rows(self.scope, self.assessment, self.zone)
        error = self.found.error
        washed = [run for run in runs if run.guard_sieve_id == self.assessment.equipment_id]
        stood = [run for run in runs if run not in washed] if washed else runs
        changes = {} if error is None else self._changes(stood, error)
        changes |= {run.run_id: [{"note": _AS_GUARD}] for run in washed if run.guard_sieve_id}
        rows = [
            self._row(run, held, change)
            for run in runs
            for change in changes.get(run.run_id, _UNCHANGED)
        ]
        rows.sort(key=_worst_first)
        self.notes.update(_not_told_by_mean(self.assessment))
        return Impact(
            assessment=self.assessment,
            method=self.found.method,
            sentence=self.found.sentence,
            runs=tuple(rows),
            certificates=held.certificates(rows),
            notes=tuple(sorted(self.notes)),
        )

    def _runs(self) -> list[_RunRow]:
        # The day comes from the database: reading thousands of moments costs more than the rest.
        dated = self.scope.annotate(opened_on=TruncDate("opened_at", tzinfo=self.zone))
        return [_RunRow(*row) for row in dated.values_list(*_RUN_COLUMNS)]

    def _row(self, run: _RunRow, held: CertificateRows, change: Mapping[str, Any]) -> TouchedRun:
        return TouchedRun(
            run_id=run.run_id,
            run=f"{run.label}/{run.determination}",
            state=run.state,
            opened_on=run.opened_on,
            sample=run.sample,
            customer=run.customer,
            material=run.material,
            certificates=held.numbers_on(run.run_id),
            **change,
        )

    def _changes(
        self, runs: Sequence[_RunRow], error: SieveFound | BalanceFound
    ) -> dict[int, list[dict[str, Any]]]:
        """Compute again, group by group; the fields that change, by run."""
        results = _newest_results(self.scope)
        groups = self._groups(runs, results)
        pans = self._shares_in_pan() if needs_pan(groups) else {}
        changes: dict[int, list[dict[str, Any]]] = defaultdict(list)
        for group, members in groups.items():
            changed = _changed(group, members, error, pans)
            for member, change in zip(members, changed, strict=True):
                changes[member.run_id].append(change)
        for run in runs:
            if run.run_id not in results:
                changes[run.run_id] = [{"note": "Not computed yet."}]
        if isinstance(error, BalanceFound):
            self._add_masses(changes, error)
        return changes

    def _groups(
        self, runs: Sequence[_RunRow], results: Mapping[int, list[_ResultRow]]
    ) -> dict[Group, list[_ResultRow]]:
        """Sort the results by nest, procedure version and specification version."""
        versions = _versions(row.version_id for rows in results.values() for row in rows)
        procedures = ProcedureVersion.objects.in_bulk({run.procedure_id for run in runs})
        shared = self._on_several_balances()
        sorted_rows: dict[tuple[Any, ...], list[_ResultRow]] = defaultdict(list)
        for run in runs:
            for row in results.get(run.run_id, ()):
                nest = tuple([float(point[0]) for point in row.curve])
                key = (nest, run.procedure_id, row.version_id, run.run_id not in shared)
                sorted_rows[key].append(row)
        groups: dict[Group, list[_ResultRow]] = defaultdict(list)
        for (nest, procedure_id, version_id, is_one), rows in sorted_rows.items():
            version = versions.get(version_id)
            groups[self._group(nest, procedures[procedure_id], version, is_one)] += rows
        return groups

    def _group(
        self,
        nest: tuple[float, ...],
        procedure: ProcedureVersion,
        version: SpecificationVersion | None,
        is_one_balance: bool,
    ) -> Group:
        lines = envelope_of(version)
        kept = kept_lines(lines)
        if len(kept) < len(lines):
            self.notes.add(f"{version}: a limit on the largest size was not judged again.")
        if version is not None and version.decision_rule != DecisionRule.PLAIN:
            self.notes.add(
                f"{version} asks for a guard band; flips are told by its limits alone, so look at "
                "small margins too."
            )
        rule = AssessmentRule(
            missing=missing_rule_of(version),
            interpolation=Interpolation(procedure.interpolation),
            rounding=rounding_of(procedure),
        )
        return Group(nest, Basis(procedure.basis), kept, rule, str(version or ""), is_one_balance)

    def _on_several_balances(self) -> set[int]:
        """Name the runs made with more than one balance; asked for a balance only."""
        if self.found.method is not Method.BALANCE:
            return set()
        rows = RunInstrument.objects.filter(
            run__in=self.scope.values("pk"), instrument__kind=Equipment.Kind.BALANCE
        )
        counted = rows.values("run_id").annotate(balances=Count("id")).filter(balances__gt=1)
        several = set(counted.values_list("run_id", flat=True))
        if several:
            self.notes.add(
                f"{len(several)} runs were made with more than one balance. Which mass came from "
                "which is not recorded; their figures are the worst case."
            )
        return several

    def _shares_in_pan(self) -> dict[int, float]:
        shares = self._of_results("values__pan__retained_pct")
        return {key: float(pan) / 100.0 for _, key, pan in shares}

    def _add_masses(self, changes: dict[int, list[dict[str, Any]]], error: BalanceFound) -> None:
        for run_id, _, mass in self._of_results("inputs__dry_mass_g"):
            corrected = float(mass) / (1.0 + error.error_pct / 100.0)
            for change in changes[run_id]:
                change |= {"mass_g": float(mass), "corrected_mass_g": corrected}

    def _of_results(self, place: str) -> list[tuple[int, int, str]]:
        """Read one figure out of each result, the newest result of a run last."""
        rows = Result.objects.filter(run__in=self.scope.values("pk")).order_by("version")
        read: Any = rows.annotate(figure=KT(place)).values_list("run_id", "id", "figure")
        return [(run, result, figure) for run, result, figure in read if figure is not None]


def _not_told_by_mean(assessment: ImpactAssessment) -> tuple[str, ...]:
    """Say that a mean aperture tells nothing of what a single wide opening let through."""
    check = assessment.failed_check
    lines = check.findings.get("lines", []) if check is not None else []
    if not any(line["text"].startswith("Largest") and not line["ok"] for line in lines):
        return ()
    return (
        "The check failed by its largest opening. The figures below are corrected for the mean "
        "aperture alone; what a tear let through does not show in them. Test kept portions again "
        "where the margin is small.",
    )


_UNCHANGED: tuple[dict[str, Any], ...] = ({},)

_RUN_COLUMNS = (
    "pk",
    "portion__label",
    "determination",
    "state",
    "opened_on",
    "procedure_version_id",
    "portion__sample__number",
    "portion__sample__customer__name",
    "portion__sample__material__name",
    "guard_sieve_id",
)

#: A wrong guard sieve moves the washing loss; by how much, no mass on record tells.
_AS_GUARD = (
    "It was the guard sieve of the washing. What it let through was washed away and not weighed: "
    "nothing is computed again. Test the kept portion where the fines matter."
)


def _newest_results(scope: QuerySet[Run]) -> dict[int, list[_ResultRow]]:
    """Give each run's newest result, once per specification it was compared with."""
    rows: Any = (
        Result.objects.filter(run__in=scope.values("pk"))
        .annotate(text=Cast("curve", TextField()))
        .order_by("version", "assessments__id")
        .values_list("run_id", "id", "assessments__specification_version_id", "text")
    )
    read = list(rows)
    # All curves are read as one text: that takes a third of the time of reading each.
    curves = json.loads(f"[{','.join(row[-1] for row in read)}]")
    newest: dict[int, list[_ResultRow]] = {}
    for (run_id, result_id, version_id, _), curve in zip(read, curves, strict=True):
        row = _ResultRow(run_id, result_id, version_id, curve)
        held = newest.get(run_id)
        if held is not None and held[0].result_id == result_id:
            held.append(row)
        else:
            newest[run_id] = [row]
    return {key: held for key, held in newest.items() if held[0].curve}


def _versions(keys: Iterable[int | None]) -> dict[int | None, SpecificationVersion]:
    wanted = {key for key in keys if key is not None}
    versions = SpecificationVersion.objects.filter(pk__in=wanted).select_related("specification")
    return {version.pk: version for version in versions.prefetch_related("lines")}


def _changed(
    group: Group,
    members: Sequence[_ResultRow],
    error: SieveFound | BalanceFound,
    pans: Mapping[int, float],
) -> list[dict[str, Any]]:
    """Give the fields of a group's runs, or the calculation's reason why there are none."""
    passing = np.array([[point[1] for point in row.curve] for row in members]) / 100.0
    pan = np.array([pans.get(row.result_id, 0.0) for row in members]) if pans else None
    try:
        return _fields(group, recomputed(group, passing, error, pan))
    except GradationError as refusal:
        return [{"specification": group.specification, "note": str(refusal)} for _ in members]


def _fields(group: Group, found: Recomputed) -> list[dict[str, Any]]:
    """Turn the arrays of a group into the fields of its runs."""
    runs = np.arange(len(found.before))
    sieves = [designation(Decimal(str(size))) for size in group.apertures_um]
    limits = [line_words(line) for line in group.lines]
    columns = {
        "specification": [group.specification] * len(runs),
        "point": [sieves[row] for row in found.point.tolist()],
        "passing_pct": (100.0 * found.before[runs, found.point]).tolist(),
        "corrected_pct": (100.0 * found.after[runs, found.point]).tolist(),
        "margin_before": _none_for_nan(found.margin_before),
        "margin_after": _none_for_nan(found.margin_after),
        "nearest": [limits[row] if row >= 0 else "" for row in found.nearest.tolist()],
        "outcome_before": [str(each) for each in found.outcome_before],
        "outcome_after": [str(each) for each in found.outcome_after],
        "would_flip": found.would_flip.tolist(),
        "note": [_EXTENDED if each else "" for each in found.is_extended.tolist()],
    }
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


_EXTENDED = "Read beyond the outermost sieve by prolonging the curve; less certain."


def _none_for_nan(values: np.ndarray[Any, np.dtype[np.float64]]) -> list[float | None]:
    return [None if each != each else each for each in values.tolist()]


def _worst_first(row: TouchedRun) -> tuple[bool, bool, float, int]:
    """Rank: results that count before those thrown away, flips first, then the least margin."""
    margin = float("inf") if row.margin_after is None else row.margin_after
    return row.state == Run.State.INVALID, not row.would_flip, margin, -row.run_id
