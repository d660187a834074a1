"""Competence of people: found able to work a procedure, and withdrawn again."""

from __future__ import annotations

from datetime import date

from django.db import transaction

from gradation.errors import Conflict, Invalid
from gradation.models import Competence, User
from gradation.policy import Action, Role, require
from gradation.services import clock, ledger
from gradation.services.checking import cleaned, locked, needs_reason

__all__ = ["grant_competence", "withdraw_competence"]


def grant_competence(*, actor: User, competence: Competence) -> Competence:
    """Record that a person was found able to work a procedure, from a day on; quality managers may.

    A renewal is a further entry. Refuses (`Invalid`) somebody who neither tests nor reviews, and
    days in the wrong order. Ledger: competence granted.
    """
    require(actor, Action.MANAGE_PEOPLE)
    person = competence.person
    if not person.is_active or not {Role.TECHNICIAN, Role.REVIEWER} & set(person.role_names):
        msg = f"{person} is neither technician nor reviewer here. Give the role first."
        raise Invalid.one("person", msg, code="no-technician")
    ends = competence.valid_until
    if ends is not None and ends < competence.valid_from:
        msg = "It ends before it begins. Check both days."
        raise Invalid.one("valid_until", msg, code="days-exchanged")
    competence.granted_by, competence.granted_at = actor, clock.now()
    with transaction.atomic():
        cleaned(competence).save(force_insert=True)
        ledger.write(actor=actor, action="competence granted", subject=competence)
    return competence


def withdraw_competence(
    *, actor: User, competence: Competence, reason: str, day: date | None = None
) -> Competence:
    """Withdraw a competence with a reason, from a day on; it stays readable; quality managers may.

    Refuses (`Conflict`) one already withdrawn. Ledger: competence withdrawn.
    """
    require(actor, Action.MANAGE_PEOPLE)
    reason = needs_reason(reason, "withdraw the competence")
    with transaction.atomic():
        competence = locked(competence, "person", "procedure")
        if competence.withdrawn_on is not None:
            msg = f"The competence of {competence} was withdrawn on {competence.withdrawn_on}."
            raise Conflict(msg)
        before = ledger.snapshot(competence)
        competence.withdrawn_on, competence.withdrawn_reason = day or clock.today(), reason
        competence.save(update_fields=["withdrawn_on", "withdrawn_reason"])
        ledger.write(
            actor=actor,
            action="competence withdrawn",
            subject=competence,
            before=before,
            reason=reason,
        )
    return competence
