"""Procedures and specifications: drafted, released by the quality manager, frozen from then on."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from itertools import pairwise

from django.db import models, transaction
from django.db.models import Q

from gradation.errors import Conflict, Fault, Invalid
from gradation.models import (
    Procedure,
    ProcedureAperture,
    ProcedureVersion,
    Specification,
    SpecificationLine,
    SpecificationVersion,
    User,
    VersionState,
)
from gradation.policy import Action, require
from gradation.queries.methods import rules_from_memory
from gradation.science.apertures import designation
from gradation.services import clock, ledger
from gradation.services.checking import cleaned, cleaned_row, locked

__all__ = [
    "add_procedure",
    "add_specification",
    "draft_procedure_version",
    "draft_specification_version",
    "end_specification_version",
    "release_procedure_version",
    "release_specification_version",
]


def add_procedure(*, actor: User, procedure: Procedure) -> Procedure:
    """Add a procedure by code and title; quality managers may. Ledger: procedure added."""
    require(actor, Action.KEEP_PROCEDURES)
    with transaction.atomic():
        cleaned_row(procedure)
        ledger.write(actor=actor, action="procedure added", subject=procedure)
    return procedure


def draft_procedure_version(
    *, actor: User, version: ProcedureVersion, apertures_um: Sequence[Decimal]
) -> ProcedureVersion:
    """Draft the next version of a procedure with its sieve sizes.

    Quality managers may. Refuses (`Invalid`) sizes that are repeated or none at all; the order of
    entry does not matter. Ledger: procedure version drafted.
    """
    require(actor, Action.KEEP_PROCEDURES)
    sizes = _descending(apertures_um)
    with transaction.atomic():
        procedure = locked(version.procedure)
        version.version = _next_version(procedure.versions)
        version.state = VersionState.DRAFT
        cleaned(version).save(force_insert=True)
        ProcedureAperture.objects.bulk_create(
            ProcedureAperture(version=version, position=position, aperture_um=size)
            for position, size in enumerate(sizes, start=1)
        )
        after = ledger.snapshot(version, apertures_um=[str(size) for size in sizes])
        ledger.write(actor=actor, action="procedure version drafted", subject=version, after=after)
    return version


def _descending(apertures_um: Sequence[Decimal]) -> list[Decimal]:
    sizes = sorted(apertures_um, reverse=True)
    twice = [coarse for coarse, fine in pairwise(sizes) if coarse == fine]
    if not sizes:
        msg = "A procedure needs at least one sieve size. Enter the sizes of its nest."
        raise Invalid.one("apertures", msg, code="no-sizes")
    if twice:
        msg = f"{designation(twice[0])} stands twice. Each size has one place in the nest."
        raise Invalid.one("apertures", msg, code="size-twice")
    return sizes


def _next_version(versions: models.Manager) -> int:  # type: ignore[type-arg]
    last: int = versions.aggregate(last=models.Max("version"))["last"] or 0
    return last + 1


def release_procedure_version(
    *, actor: User, version: ProcedureVersion, confirmation: str = ""
) -> ProcedureVersion:
    """Release a drafted version: runs use it from now on, the one before is retired.

    Quality managers may. Refuses (`Invalid`, field `confirmation`) rules whose figures are kept
    here from memory until it is said against which copy they were confirmed. Ledger: procedure
    version released (and the former retired).
    """
    require(actor, Action.KEEP_PROCEDURES)
    with transaction.atomic():
        version = locked(version)
        _refuse_released(version, version.state)
        for former in ProcedureVersion.objects.select_for_update().filter(
            procedure=version.procedure_id, state=VersionState.RELEASED
        ):
            before = ledger.snapshot(former)
            former.state = VersionState.RETIRED
            former.save(update_fields=["state"])
            ledger.write(
                actor=actor, action="procedure version retired", subject=former, before=before
            )
        before = ledger.snapshot(version)
        version.state = VersionState.RELEASED
        version.released_at, version.released_by = clock.now(), actor
        version.confirmation = confirmation.strip()
        _refuse_from_memory(version)
        cleaned(version).save()
        ledger.write(
            actor=actor, action="procedure version released", subject=version, before=before
        )
    return version


def _refuse_from_memory(version: ProcedureVersion) -> None:
    """A figure nobody has seen in print must not pass or fail a run."""
    kept = rules_from_memory(version)
    if kept and not version.confirmation:
        names = ", ".join(f"{note.standard} ({note.rule})" for note in kept)
        msg = (
            f"The figures of these rules are kept from memory: {names}. Compare them with your own "
            "edition, then say which copy you looked at."
        )
        raise Invalid.one("confirmation", msg, code="from-memory")


def _refuse_released(version: models.Model, state: str) -> None:
    if state != VersionState.DRAFT:
        msg = f"{version} is {state}; only a draft can be released. Draft a new version."
        raise Conflict(msg)


def add_specification(*, actor: User, specification: Specification) -> Specification:
    """Add a specification by code and title; quality managers may. Ledger: specification added."""
    require(actor, Action.KEEP_SPECIFICATIONS)
    with transaction.atomic():
        cleaned_row(specification)
        ledger.write(actor=actor, action="specification added", subject=specification)
    return specification


def draft_specification_version(
    *, actor: User, version: SpecificationVersion, lines: Sequence[SpecificationLine]
) -> SpecificationVersion:
    """Draft the next version of a specification with its limits.

    Quality managers may. Refuses (`Invalid`) no lines, a line without any limit, a minimum above
    its maximum, the same sieve limited twice. Ledger: specification version drafted.
    """
    require(actor, Action.KEEP_SPECIFICATIONS)
    _check_lines(lines)
    with transaction.atomic():
        specification = locked(version.specification)
        version.version = _next_version(specification.versions)
        version.state = VersionState.DRAFT
        cleaned(version).save(force_insert=True)
        for position, line in enumerate(lines, start=1):
            line.version, line.position = version, position
            cleaned(line)
        SpecificationLine.objects.bulk_create(lines)
        after = ledger.snapshot(version, lines=[_line_words(line) for line in lines])
        ledger.write(
            actor=actor, action="specification version drafted", subject=version, after=after
        )
    return version


def _check_lines(lines: Sequence[SpecificationLine]) -> None:
    faults = []
    seen: set[tuple[object, ...]] = set()
    for line in lines:
        what = _what(line)
        if (line.kind, line.aperture_um, line.finer_aperture_um, line.characteristic) in seen:
            faults.append(f"{what} is limited twice. Give both limits on one line.")
        seen.add((line.kind, line.aperture_um, line.finer_aperture_um, line.characteristic))
        if line.minimum is None and line.maximum is None:
            faults.append(f"{what} has neither minimum nor maximum. Enter at least one.")
        elif line.minimum is not None and line.maximum is not None and line.minimum > line.maximum:
            faults.append(f"{what}: minimum {line.minimum} is above maximum {line.maximum}.")
    if not lines:
        faults.append("A specification needs at least one limit.")
    if faults:
        raise Invalid([Fault("lines", fault, "limits") for fault in faults])


def _what(line: SpecificationLine) -> str:
    return designation(line.aperture_um) if line.aperture_um else line.characteristic


def _line_words(line: SpecificationLine) -> str:
    low = "" if line.minimum is None else f"{line.minimum}"
    high = "" if line.maximum is None else f"{line.maximum}"
    return f"{line.kind} {_what(line)}: {low}..{high}"


def release_specification_version(
    *, actor: User, version: SpecificationVersion
) -> SpecificationVersion:
    """Release a drafted version for its dates.

    Quality managers may. Refuses (`Invalid`, field `effective_from`) dates that overlap another
    released version of the same specification. Ledger: specification version released.
    """
    require(actor, Action.KEEP_SPECIFICATIONS)
    with transaction.atomic():
        locked(version.specification)
        version = locked(version)
        _refuse_released(version, version.state)
        _refuse_overlap(version)
        before = ledger.snapshot(version)
        version.state = VersionState.RELEASED
        version.save(update_fields=["state"])
        ledger.write(
            actor=actor, action="specification version released", subject=version, before=before
        )
    return version


def _refuse_overlap(version: SpecificationVersion) -> None:
    others = SpecificationVersion.objects.filter(
        specification=version.specification_id, state=VersionState.RELEASED
    ).filter(Q(effective_to__isnull=True) | Q(effective_to__gte=version.effective_from))
    if version.effective_to is not None:
        others = others.filter(effective_from__lte=version.effective_to)
    other = others.first()
    if other is not None:
        until = f"{other.effective_to:%d %b %Y}" if other.effective_to else "no end"
        msg = (
            f"{other} is valid from {other.effective_from:%d %b %Y} to {until}; the dates overlap. "
            "End that version first, or choose later dates."
        )
        raise Invalid.one("effective_from", msg, code="dates-overlap")


def end_specification_version(
    *, actor: User, version: SpecificationVersion, effective_to: date
) -> SpecificationVersion:
    """Give a released version its last day, so that a successor can follow.

    Quality managers may. Refuses (`Invalid`) a day before its first. Ledger: version ended.
    """
    require(actor, Action.KEEP_SPECIFICATIONS)
    with transaction.atomic():
        version = locked(version)
        if effective_to < version.effective_from:
            msg = f"{version} begins on {version.effective_from:%d %b %Y}; it cannot end earlier."
            raise Invalid.one("effective_to", msg, code="dates-order")
        before = ledger.snapshot(version)
        version.effective_to = effective_to
        version.save(update_fields=["effective_to"])
        ledger.write(
            actor=actor, action="specification version ended", subject=version, before=before
        )
    return version
