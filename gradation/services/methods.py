"""Procedures: drafted, proposed, released by a second person, frozen from then on.

Everything about a version may be changed until it is proposed; once released nothing in it changes,
and a new edition is a new version. Runs already made keep theirs.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db import models, transaction

from gradation.errors import Invalid
from gradation.models import (
    Procedure,
    ProcedureAperture,
    ProcedureVersion,
    User,
    VersionState,
)
from gradation.policy import Action, require
from gradation.queries.methods import figures_from_memory, rules_from_memory
from gradation.queries.procedure_words import LABELS
from gradation.science.apertures import designation
from gradation.services import clock, ledger
from gradation.services.checking import cleaned, cleaned_row, locked, needs_reason
from gradation.services.procedure_checks import check_procedure
from gradation.services.version_approval import (
    ONE_PERSON,
    proposed,
    refuse_unless,
    returned,
    stands_alone,
)

__all__ = [
    "CHANGEABLE",
    "add_procedure",
    "approve_procedure_version",
    "change_procedure_draft",
    "draft_procedure_version",
    "propose_procedure_version",
    "return_procedure_version",
]

_KEPT_BY_THE_ACTS = frozenset(
    {"id", "procedure", "version", "state", "confirmation", "library_key"}
    | {f"{act}_{what}" for act in ("drafted", "proposed", "released") for what in ("at", "by")}
)
#: What a draft may have changed; the rest is written by the acts themselves.
CHANGEABLE = tuple(
    field.name
    for field in ProcedureVersion._meta.concrete_fields
    if field.name not in _KEPT_BY_THE_ACTS
)


def add_procedure(*, actor: User, procedure: Procedure) -> Procedure:
    """Add a procedure by code and title; quality managers may. Ledger: procedure added."""
    require(actor, Action.KEEP_PROCEDURES)
    with transaction.atomic():
        cleaned_row(procedure)
        ledger.write(actor=actor, action="procedure added", subject=procedure)
    return procedure


def draft_procedure_version(
    *, actor: User, version: ProcedureVersion, places: Sequence[ProcedureAperture]
) -> ProcedureVersion:
    """Draft the next version of a procedure with its sieve sizes.

    Quality managers may. A procedure that is new is added with it. Refuses (`Invalid`, each fault
    with its field) sizes that are repeated or none at all, and figures that do not go together; the
    order in which sizes are entered does not matter. Ledger: procedure version drafted.
    """
    require(actor, Action.KEEP_PROCEDURES)
    check_procedure(version, places)
    with transaction.atomic():
        if version.procedure._state.adding:
            version.procedure = add_procedure(actor=actor, procedure=version.procedure)
        procedure = locked(version.procedure)
        last = procedure.versions.aggregate(last=models.Max("version"))["last"] or 0
        version.procedure, version.version = procedure, last + 1
        version.state = VersionState.DRAFT
        version.drafted_by, version.drafted_at = actor, clock.now()
        cleaned(version).save(force_insert=True)
        _write_places(version, places)
        ledger.write(
            actor=actor,
            action="procedure version drafted",
            subject=version,
            after=_snapshot(version),
        )
    return version


def change_procedure_draft(
    *,
    actor: User,
    version: ProcedureVersion,
    places: Sequence[ProcedureAperture],
    **changes: Any,
) -> ProcedureVersion:
    """Change a draft and its sieve sizes as a whole.

    Quality managers may. Refuses (`Conflict`) what is no draft any more; (`Invalid`) what
    `draft_procedure_version` refuses. Ledger: procedure draft changed, before and after.
    """
    require(actor, Action.KEEP_PROCEDURES)
    with transaction.atomic():
        version = locked(version)
        refuse_unless(version, VersionState.DRAFT, "changed")
        before = _snapshot(version)
        for name in CHANGEABLE:
            setattr(version, name, changes.get(name, getattr(version, name)))
        check_procedure(version, places)
        version.drafted_by, version.drafted_at = actor, clock.now()
        cleaned(version).save()
        version.apertures.all().delete()
        _write_places(version, places)
        ledger.write(
            actor=actor,
            action="procedure draft changed",
            subject=version,
            before=before,
            after=_snapshot(version),
        )
    return version


def _write_places(version: ProcedureVersion, places: Sequence[ProcedureAperture]) -> None:
    falling = sorted(places, key=lambda place: place.aperture_um, reverse=True)
    for position, place in enumerate(falling, start=1):
        place.pk, place.version, place.position = None, version, position
    ProcedureAperture.objects.bulk_create(falling)


def _snapshot(version: ProcedureVersion) -> ledger.State:
    places = ProcedureAperture.objects.filter(version=version)
    return ledger.snapshot(version, apertures=[_spoken(place) for place in places])


def _spoken(place: ProcedureAperture) -> str:
    marks = [word for word in ("optional", "split") if getattr(place, f"is_{word}")]
    return " ".join([designation(place.aperture_um), *marks])


def propose_procedure_version(*, actor: User, version: ProcedureVersion) -> ProcedureVersion:
    """Propose a draft for release; nothing in it can be changed from now on.

    Quality managers may. Refuses (`Conflict`) what is no draft; (`Invalid`) what cannot be worked
    by. Ledger: procedure version proposed.
    """
    require(actor, Action.KEEP_PROCEDURES)
    with transaction.atomic():
        version = locked(version)
        refuse_unless(version, VersionState.DRAFT, "proposed")
        check_procedure(version, list(version.apertures.all()))
        before = proposed(actor, version)
        ledger.write(
            actor=actor, action="procedure version proposed", subject=version, before=before
        )
    return version


def return_procedure_version(
    *, actor: User, version: ProcedureVersion, reason: str
) -> ProcedureVersion:
    """Give a proposed version back to be worked on, with a reason.

    Who may approve may. Refuses (`Conflict`) what is not proposed. Ledger: procedure version
    returned.
    """
    require(actor, Action.APPROVE_PROCEDURES)
    reason = needs_reason(reason, "return the version")
    with transaction.atomic():
        version = locked(version)
        refuse_unless(version, VersionState.PROPOSED, "returned")
        before = returned(version)
        ledger.write(
            actor=actor,
            action="procedure version returned",
            subject=version,
            before=before,
            reason=reason,
        )
    return version


def approve_procedure_version(
    *, actor: User, version: ProcedureVersion, confirmation: str = ""
) -> ProcedureVersion:
    """Release a proposed version: runs use it from now on, the one before is retired.

    Quality managers and signatories may, but not who drafted or proposed it, unless the
    laboratory's policy lets one person do both (the ledger says so then). Refuses (`Invalid`, field
    `confirmation`) figures kept here from memory until it is said against which copy they were
    confirmed. Ledger: procedure version released (and the former retired).
    """
    require(actor, Action.APPROVE_PROCEDURES)
    with transaction.atomic():
        locked(version.procedure)
        version = locked(version)
        refuse_unless(version, VersionState.PROPOSED, "released")
        alone = stands_alone(actor, version)
        _retire_former(actor, version)
        before = ledger.snapshot(version)
        version.state = VersionState.RELEASED
        version.released_at, version.released_by = clock.now(), actor
        version.confirmation = confirmation.strip()
        _refuse_from_memory(version)
        cleaned(version).save()
        ledger.write(
            actor=actor,
            action="procedure version released",
            subject=version,
            before=before,
            reason=ONE_PERSON * alone,
        )
    return version


def _retire_former(actor: User, version: ProcedureVersion) -> None:
    held = ProcedureVersion.objects.select_for_update().filter(
        procedure=version.procedure_id, state=VersionState.RELEASED
    )
    for former in held:
        before = ledger.snapshot(former)
        former.state = VersionState.RETIRED
        former.save(update_fields=["state"])
        ledger.write(actor=actor, action="procedure version retired", subject=former, before=before)


def _refuse_from_memory(version: ProcedureVersion) -> None:
    """A figure nobody has seen in print must not pass or fail a run."""
    if version.confirmation:
        return
    kept = [f"{note.standard} ({note.rule})" for note in rules_from_memory(version)]
    kept += [LABELS.get(field, field) for field in figures_from_memory(version)]
    if kept:
        msg = (
            f"These figures are kept from memory: {', '.join(kept)}. Compare them with your own "
            "edition, then say which copy you looked at."
        )
        raise Invalid.one("confirmation", msg, code="from-memory")
