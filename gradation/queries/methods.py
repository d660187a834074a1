"""Procedures and specifications: which is valid for what."""

from __future__ import annotations

from datetime import date

from django.db.models import Prefetch, Q, QuerySet

from gradation.models import (
    Material,
    Procedure,
    ProcedureVersion,
    Specification,
    SpecificationVersion,
    VersionState,
)
from gradation.science.confidence import Unconfirmed, unconfirmed

__all__ = [
    "procedure_list",
    "procedure_version",
    "released_procedure",
    "released_procedures",
    "released_specifications",
    "rules_from_memory",
    "specification_list",
    "specification_on",
    "specification_version",
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


def released_specifications(day: date) -> QuerySet[SpecificationVersion]:
    """List the specification versions valid on a day."""
    return (
        SpecificationVersion.objects.filter(state=VersionState.RELEASED, effective_from__lte=day)
        .filter(Q(effective_to__isnull=True) | Q(effective_to__gte=day))
        .select_related("specification")
        .prefetch_related("lines")
    )


def rules_from_memory(version: ProcedureVersion) -> tuple[Unconfirmed, ...]:
    """List the pass-or-fail rules of a procedure whose figures are kept here from memory."""
    return (
        *unconfirmed("loading_limits", [version.loading_rule]),
        *unconfirmed("sample_mass", [version.portion_rule]),
        *unconfirmed("acceptance_rules", [version.loss_rule]),
    )


def procedure_list() -> QuerySet[Procedure]:
    """List procedures with their versions, newest first."""
    versions = ProcedureVersion.objects.order_by("-version").prefetch_related("apertures")
    return Procedure.objects.prefetch_related(Prefetch("versions", versions))


def procedure_version(pk: int) -> ProcedureVersion | None:
    """Give one version with its apertures."""
    return (
        ProcedureVersion.objects.select_related("procedure", "released_by")
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
