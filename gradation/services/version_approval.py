"""The way of a version of a procedure or specification: draft, proposed, approved by another.

Shared by both: who may be the second person, what state an act needs, how a proposal is made and
taken back. The use-cases, and their ledger entries, are in `methods` and `specifications`.
"""

from __future__ import annotations

from gradation.errors import Conflict, NotAllowed
from gradation.models import (
    Laboratory,
    ProcedureVersion,
    SpecificationVersion,
    User,
    VersionState,
)
from gradation.services import clock, ledger

__all__ = ["ONE_PERSON", "proposed", "refuse_unless", "returned", "stands_alone"]

Version = ProcedureVersion | SpecificationVersion

ONE_PERSON = "Proposed and approved by one person, as the laboratory allows."


def refuse_unless(version: Version, state: VersionState, done: str) -> None:
    """Refuse an act on a version that is in another state than the act needs."""
    if version.state != state:
        msg = f"{version} is {version.state}; only what is {state.value} can be {done}."
        raise Conflict(msg)


def stands_alone(actor: User, version: Version) -> bool:
    """Say whether proposer and approver are one; refuse when the laboratory wants two."""
    if actor.pk not in {version.drafted_by_id, version.proposed_by_id}:
        return False
    laboratory = Laboratory.objects.first()
    if laboratory is None or laboratory.approver_must_differ:
        msg = f"{actor} drafted or proposed {version}. Ask somebody else to approve it."
        raise NotAllowed(msg, code="second-person")
    return True


def proposed(actor: User, version: Version) -> ledger.State:
    """Make a held draft a proposal; give what it was before, for the ledger."""
    before = ledger.snapshot(version)
    version.state = VersionState.PROPOSED
    version.proposed_by, version.proposed_at = actor, clock.now()
    version.save(update_fields=["state", "proposed_by", "proposed_at"])
    return before


def returned(version: Version) -> ledger.State:
    """Make a held proposal a draft again; give what it was before, for the ledger."""
    before = ledger.snapshot(version)
    version.state = VersionState.DRAFT
    version.proposed_by = version.proposed_at = None
    version.save(update_fields=["state", "proposed_by", "proposed_at"])
    return before
