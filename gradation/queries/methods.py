"""Procedures and specifications: which is valid for what."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from functools import cache

from django.db.models import Count, Prefetch, Q, QuerySet

from gradation.models import (
    Material,
    Procedure,
    ProcedureVersion,
    Sample,
    Specification,
    SpecificationVersion,
    VersionState,
)
from gradation.science.apertures import parse_aperture
from gradation.science.confidence import Unconfirmed, unconfirmed
from gradation.science.descriptions import Description
from gradation.science.errors import UnknownName
from gradation.science.procedure_library import (
    LibraryProcedure,
    library_procedure,
    marked_from_memory,
)
from gradation.science.worksheet import Fraction, Worksheet, evaluate

__all__ = [
    "characteristic_names",
    "comparable_versions",
    "figures_from_memory",
    "library_of",
    "mark_of_field",
    "open_orders",
    "procedure_list",
    "procedure_version",
    "procedures_awaiting_approval",
    "released_procedure",
    "released_procedures",
    "released_specifications",
    "rules_from_memory",
    "specification_list",
    "specification_on",
    "specification_version",
    "specifications_of",
]


def released_procedure(material: Material) -> ProcedureVersion | None:
    """Give the released version of the material's default procedure."""
    if material.default_procedure_id is None:
        return None
    return released_procedures().filter(procedure=material.default_procedure_id).first()


def released_procedures() -> QuerySet[ProcedureVersion]:
    """List the versions that runs may use."""
    return (
        ProcedureVersion.objects.filter(state=VersionState.RELEASED)
        .select_related("procedure")
        .prefetch_related("apertures")
    )


def specification_on(material: Material, day: date) -> SpecificationVersion | None:
    """Give the version of the material's default specification that is valid on a day."""
    if material.default_specification_id is None:
        return None
    return (
        released_specifications(day).filter(specification=material.default_specification_id).first()
    )


def specifications_of(material: Material) -> list[SpecificationVersion]:
    """List the released versions of the material's default specification, of whatever days."""
    if material.default_specification_id is None:
        return []
    found = _released().filter(specification=material.default_specification_id)
    return list(found.order_by("pk"))


def released_specifications(day: date) -> QuerySet[SpecificationVersion]:
    """List the specification versions valid on a day."""
    return (
        _released()
        .filter(effective_from__lte=day)
        .filter(Q(effective_to__isnull=True) | Q(effective_to__gte=day))
    )


def _released() -> QuerySet[SpecificationVersion]:
    return (
        SpecificationVersion.objects.filter(state=VersionState.RELEASED)
        .select_related("specification")
        .prefetch_related("lines")
    )


def rules_from_memory(version: ProcedureVersion) -> tuple[Unconfirmed, ...]:
    """List the pass-or-fail rules of a procedure whose figures are kept here from memory."""
    return (
        *unconfirmed("loading_limits", [version.loading_rule]),
        *unconfirmed("sample_mass", [version.portion_rule]),
        *unconfirmed("acceptance_rules", [version.loss_rule, version.end_point_rule]),
    )


def library_of(version: ProcedureVersion) -> LibraryProcedure | None:
    """Give the kept procedure that a version was drafted from."""
    try:
        return library_procedure(version.library_key) if version.library_key else None
    except UnknownName:
        return None


def mark_of_field(version: ProcedureVersion, field: str) -> str:
    """Give the mark of a figure that still stands as the library has it; empty for one's own."""
    kept = library_of(version)
    figure = None if kept is None else kept.figures.get(field)
    if figure is None or not _is_as_kept(version, field, figure.value):
        return ""
    return figure.mark


def _is_as_kept(version: ProcedureVersion, field: str, kept: str) -> bool:
    value = getattr(version, field)
    if isinstance(value, bool):
        return value == (kept == "yes")
    if isinstance(value, Decimal) and field.endswith("aperture_um"):
        return value == parse_aperture(kept)
    return value == Decimal(kept) if isinstance(value, Decimal) else str(value) == kept


def figures_from_memory(version: ProcedureVersion) -> tuple[str, ...]:
    """Name the fields whose figures stand as the library kept them from memory.

    Rules by name are left to `rules_from_memory`, which asks their own tables.
    """
    kept = library_of(version)
    if kept is None:
        return ()
    return tuple(
        field
        for field in marked_from_memory(kept)
        if not field.endswith("_rule") and _is_as_kept(version, field, kept.figures[field].value)
    )


def procedures_awaiting_approval() -> QuerySet[ProcedureVersion]:
    """List the proposed versions, the longest waiting first."""
    return (
        ProcedureVersion.objects.filter(state=VersionState.PROPOSED)
        .select_related("procedure", "proposed_by")
        .order_by("proposed_at", "id")
    )


def comparable_versions(version: ProcedureVersion) -> QuerySet[ProcedureVersion]:
    """List the other versions of the same procedure, newest first."""
    return (
        ProcedureVersion.objects.filter(procedure=version.procedure_id)
        .exclude(pk=version.pk)
        .select_related("procedure")
        .order_by("-version")
    )


_IN_WORK = (Sample.State.LOGGED, Sample.State.UNDER_TEST)


def open_orders(version: ProcedureVersion) -> QuerySet[Sample]:
    """List samples in work under an older version, for which nothing is decided yet."""
    if not version.is_released:
        return Sample.objects.none()
    return (
        Sample.objects.filter(
            state__in=_IN_WORK,
            procedure_version__procedure=version.procedure_id,
            procedure_version__version__lt=version.version,
        )
        .exclude(edition_decisions__version=version)
        .select_related("customer", "material", "procedure_version__procedure")
        .annotate(runs=Count("portions__runs"))
        .order_by("id")
    )


def procedure_list() -> QuerySet[Procedure]:
    """List procedures with their versions, newest first."""
    versions = ProcedureVersion.objects.order_by("-version").prefetch_related("apertures")
    return Procedure.objects.prefetch_related(Prefetch("versions", versions))


def procedure_version(pk: int) -> ProcedureVersion | None:
    """Give one version with its apertures."""
    return (
        ProcedureVersion.objects.select_related(
            "procedure", "drafted_by", "proposed_by", "released_by"
        )
        .prefetch_related("apertures")
        .filter(pk=pk)
        .first()
    )


def specification_list() -> QuerySet[Specification]:
    """List specifications with their versions, newest first."""
    versions = SpecificationVersion.objects.order_by("-version").prefetch_related("lines")
    return Specification.objects.prefetch_related(Prefetch("versions", versions))


def specification_version(pk: int) -> SpecificationVersion | None:
    """Give one version with its lines."""
    return (
        SpecificationVersion.objects.select_related("specification")
        .prefetch_related("lines")
        .filter(pk=pk)
        .first()
    )


@cache
def characteristic_names() -> frozenset[str]:
    """Give the names of all values that a limit may be set on: those every run is frozen with."""
    sizes = (9500, 4750, 2360, 1180, 600, 300, 150, 75)
    fractions = tuple(Fraction(Decimal(size), (Decimal(10),)) for size in sizes)
    sample = Worksheet(
        fractions, (Decimal(20),), dry_mass_g=Decimal(100), describe=tuple(Description)
    )
    return frozenset(each.name for each in evaluate(sample).characteristics)
