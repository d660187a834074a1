"""Specifications: drafted, proposed, approved by a second person, in force between their dates.

Everything about a version may be changed until it is proposed; once approved nothing in it changes
but its last day.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from django.db import models, transaction

from gradation.errors import Fault, Invalid
from gradation.models import (
    Specification,
    SpecificationLine,
    SpecificationVersion,
    User,
    VersionState,
)
from gradation.policy import Action, require
from gradation.queries.specifications import figures_from_memory, spoken_line
from gradation.services import clock, ledger
from gradation.services.checking import cleaned, cleaned_row, locked, needs_reason
from gradation.services.specification_checks import (
    check_specification,
    fault_of_dates,
    settle_limits,
)
from gradation.services.version_approval import (
    ONE_PERSON,
    proposed,
    refuse_unless,
    returned,
    stands_alone,
)

__all__ = [
    "add_specification",
    "approve_specification_version",
    "change_specification_draft",
    "draft_specification_version",
    "end_specification_version",
    "propose_specification_version",
    "return_specification_version",
]

#: What a draft may have changed; the rest is written by the acts themselves.
CHANGEABLE = (
    "replaces", "product", "clause", "source", "library_key", "unconfirmed_note", "effective_from",
    "effective_to", "decision_rule", "confidence", "guard_factor", "lot_rule", "lot_size",
    "lot_share_pct", "neighbour_maximum_pct", "interpolate_missing", "certificate_wording",
)  # fmt: skip


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

    Quality managers may. A specification that is new is added with it. Refuses (`Invalid`, each
    fault with its line and column) no lines, a line without a limit, a minimum above its maximum,
    a sieve limited twice or in no standard series without its tick, limits that no curve can keep
    together, a lot of no results. Ledger: specification version drafted.
    """
    require(actor, Action.KEEP_SPECIFICATIONS)
    check_specification(version, lines)
    with transaction.atomic():
        if version.specification._state.adding:
            version.specification = add_specification(
                actor=actor, specification=version.specification
            )
        specification = locked(version.specification)
        last = specification.versions.aggregate(last=models.Max("version"))["last"] or 0
        version.specification, version.version = specification, last + 1
        version.state = VersionState.DRAFT
        version.drafted_by, version.drafted_at = actor, clock.now()
        _refuse_foreign(version)
        cleaned(version).save(force_insert=True)
        _write_lines(version, lines)
        ledger.write(
            actor=actor,
            action="specification version drafted",
            subject=version,
            after=_snapshot(version),
        )
    return version


def change_specification_draft(
    *,
    actor: User,
    version: SpecificationVersion,
    lines: Sequence[SpecificationLine],
    **changes: Any,
) -> SpecificationVersion:
    """Change a draft and its limits as a whole.

    Quality managers may. Refuses (`Conflict`) what is no draft any more; (`Invalid`) what
    `draft_specification_version` refuses. Ledger: specification draft changed, before and after.
    """
    require(actor, Action.KEEP_SPECIFICATIONS)
    with transaction.atomic():
        version = locked(version)
        refuse_unless(version, VersionState.DRAFT, "changed")
        before = _snapshot(version)
        for name in CHANGEABLE:
            setattr(version, name, changes.get(name, getattr(version, name)))
        check_specification(version, lines)
        version.drafted_by, version.drafted_at = actor, clock.now()
        _refuse_foreign(version)
        cleaned(version).save()
        version.lines.all().delete()
        _write_lines(version, lines)
        ledger.write(
            actor=actor,
            action="specification draft changed",
            subject=version,
            before=before,
            after=_snapshot(version),
        )
    return version


def _write_lines(version: SpecificationVersion, lines: Sequence[SpecificationLine]) -> None:
    settle_limits(lines)
    for position, line in enumerate(lines, start=1):
        line.version, line.position = version, position
        try:
            cleaned(line)
        except Invalid as error:
            at = f"lines/{position - 1}"
            raise Invalid(
                Fault(f"{at}/{fault.field or 'maximum'}", fault.message, fault.code)
                for fault in error.faults
            ) from error
    SpecificationLine.objects.bulk_create(lines)


def _snapshot(version: SpecificationVersion) -> ledger.State:
    lines = [spoken_line(line) for line in SpecificationLine.objects.filter(version=version)]
    return ledger.snapshot(version, lines=lines)


def propose_specification_version(
    *, actor: User, version: SpecificationVersion
) -> SpecificationVersion:
    """Propose a draft for approval; nothing in it can be changed from now on.

    Quality managers may. Refuses (`Conflict`) what is no draft; (`Invalid`, field
    `effective_from`) dates that overlap a released version of the same specification which it does
    not replace. Ledger: specification version proposed.
    """
    require(actor, Action.KEEP_SPECIFICATIONS)
    with transaction.atomic():
        locked(version.specification)
        version = locked(version)
        refuse_unless(version, VersionState.DRAFT, "proposed")
        check_specification(version, list(version.lines.all()))
        _refuse_overlap(version)
        before = proposed(actor, version)
        ledger.write(
            actor=actor, action="specification version proposed", subject=version, before=before
        )
    return version


def return_specification_version(
    *, actor: User, version: SpecificationVersion, reason: str
) -> SpecificationVersion:
    """Give a proposed version back to be worked on, with a reason.

    Who may approve may. Refuses (`Conflict`) what is not proposed. Ledger: specification version
    returned.
    """
    require(actor, Action.APPROVE_SPECIFICATIONS)
    reason = needs_reason(reason, "return the version")
    with transaction.atomic():
        version = locked(version)
        refuse_unless(version, VersionState.PROPOSED, "returned")
        before = returned(version)
        ledger.write(
            actor=actor,
            action="specification version returned",
            subject=version,
            before=before,
            reason=reason,
        )
    return version


def approve_specification_version(
    *, actor: User, version: SpecificationVersion, confirmation: str = ""
) -> SpecificationVersion:
    """Approve a proposed version: samples are judged by it between its dates.

    Quality managers and signatories may, but not who drafted or proposed it, unless the
    laboratory's policy lets one person do both (the ledger says so then). Refuses (`Invalid`, field
    `confirmation`) figures kept here from memory until it is said against which copy they were
    confirmed, and dates that overlap. The version it replaces ends on the day before. Ledger:
    specification version approved (and the former ended).
    """
    require(actor, Action.APPROVE_SPECIFICATIONS)
    with transaction.atomic():
        locked(version.specification)
        version = locked(version)
        refuse_unless(version, VersionState.PROPOSED, "approved")
        alone = stands_alone(actor, version)
        _refuse_overlap(version)
        _end_replaced(actor, version)
        before = ledger.snapshot(version)
        version.state, version.confirmation = VersionState.RELEASED, confirmation.strip()
        version.approved_by, version.approved_at = actor, clock.now()
        _refuse_from_memory(version)
        cleaned(version).save()
        ledger.write(
            actor=actor,
            action="specification version approved",
            subject=version,
            before=before,
            reason=ONE_PERSON * alone,
        )
    return version


def _refuse_from_memory(version: SpecificationVersion) -> None:
    """A figure nobody has seen in print must not pass or fail a sample."""
    kept = figures_from_memory(version)
    if kept and not version.confirmation:
        msg = (
            f"These figures are kept from memory: {kept}. Compare them with your own edition, "
            "then say which copy you looked at."
        )
        raise Invalid.one("confirmation", msg, code="from-memory")


def _refuse_foreign(version: SpecificationVersion) -> None:
    former = version.replaces
    if former is not None and former.specification_id != version.specification_id:
        msg = f"{former} belongs to another specification. Choose a version of this one."
        raise Invalid.one("replaces", msg, code="other-specification")


def _released(version: SpecificationVersion) -> list[SpecificationVersion]:
    rows = SpecificationVersion.objects.select_related("specification")
    return list(rows.filter(specification=version.specification_id, state=VersionState.RELEASED))


def _refuse_overlap(version: SpecificationVersion) -> None:
    fault = fault_of_dates(version, _released(version))
    if fault is not None:
        raise Invalid(fault)


def _end_replaced(actor: User, version: SpecificationVersion) -> None:
    """Give the version that is replaced its last day, where it would run into this one."""
    former = version.replaces
    if former is None or former.state != VersionState.RELEASED:
        return
    last_day = version.effective_from - timedelta(days=1)
    if former.effective_to is None or former.effective_to > last_day:
        _end(actor, locked(former), last_day)


def end_specification_version(
    *, actor: User, version: SpecificationVersion, effective_to: date
) -> SpecificationVersion:
    """Give a released version its last day, so that a successor can follow.

    Quality managers may. Refuses (`Conflict`) what is not released; (`Invalid`) a day before its
    first, or one that runs into a successor. Ledger: specification version ended.
    """
    require(actor, Action.KEEP_SPECIFICATIONS)
    with transaction.atomic():
        locked(version.specification)
        version = locked(version)
        refuse_unless(version, VersionState.RELEASED, "ended")
        if effective_to < version.effective_from:
            msg = f"{version} begins on {version.effective_from:%d %b %Y}; it cannot end earlier."
            raise Invalid.one("effective_to", msg, code="dates-order")
        _refuse_running_on(version, effective_to)
        return _end(actor, version, effective_to)


def _refuse_running_on(version: SpecificationVersion, effective_to: date) -> None:
    """A last day that is moved later must not run into the version that follows."""
    for other in _released(version):
        if version.effective_from < other.effective_from <= effective_to:
            msg = (
                f"{other} is valid from {other.effective_from:%d %b %Y}; the dates would overlap. "
                "Choose an earlier day."
            )
            raise Invalid.one("effective_to", msg, code="dates-overlap")


def _end(actor: User, version: SpecificationVersion, last_day: date) -> SpecificationVersion:
    before = ledger.snapshot(version)
    version.effective_to = last_day
    version.save(update_fields=["effective_to"])
    ledger.write(actor=actor, action="specification version ended", subject=version, before=before)
    return version
