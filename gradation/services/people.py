"""People: accounts, roles, and the system account that acts when nobody is there."""

from __future__ import annotations

from collections.abc import Iterable

from django.contrib.auth.models import Group
from django.db import transaction

from gradation.models import User
from gradation.models.people import SYSTEM_NAME
from gradation.policy import Action, Role, require
from gradation.services import ledger
from gradation.services.accounts import refuse_system, refuse_taken_email, refuse_weak
from gradation.services.checking import cleaned, locked, needs_reason

__all__ = ["SYSTEM_NAME", "add_person", "deactivate_person", "set_roles", "system_account"]


def system_account() -> User:
    """Give the account that set-up and scheduled work act as; nobody can sign in with it."""
    account = User.objects.filter(username=SYSTEM_NAME).first()
    if account is None:
        account = User(username=SYSTEM_NAME, full_name="Gradation", is_active=True)
        account.set_unusable_password()
        account.save()
        account.groups.add(_group(Role.QUALITY_MANAGER))
    return account


def add_person(*, actor: User, person: User, password: str, roles: Iterable[Role]) -> User:
    """Add an account with its roles; quality managers may.

    Refuses (`Invalid`) a weak password, a name or an address already taken, also by a closed
    account. Who adds a person knows the password: it must be changed before the first signature.
    Ledger: person added.
    """
    require(actor, Action.MANAGE_PEOPLE)
    refuse_weak(password, person)
    refuse_taken_email(person.email, person)
    roles = sorted(set(roles))
    person.must_set_password = actor.username != SYSTEM_NAME
    with transaction.atomic():
        person.set_password(password)
        cleaned(person).save(force_insert=True)
        person.groups.set([_group(role) for role in roles])
        after = ledger.snapshot(person, roles=roles)
        ledger.write(actor=actor, action="person added", subject=person, after=after)
    return person


def set_roles(*, actor: User, person: User, roles: Iterable[Role], reason: str) -> User:
    """Change what a person may do, with a reason; quality managers may. Ledger: roles changed."""
    require(actor, Action.MANAGE_PEOPLE)
    reason = needs_reason(reason, "change the roles")
    refuse_system(person)
    roles = sorted(set(roles))
    with transaction.atomic():
        person = locked(person)
        before = ledger.snapshot(person, roles=sorted(person.role_names))
        person.groups.set([_group(role) for role in roles])
        ledger.write(
            actor=actor,
            action="roles changed",
            subject=person,
            before=before,
            after=ledger.snapshot(person, roles=roles),
            reason=reason,
        )
    return User.objects.get(pk=person.pk)


def deactivate_person(*, actor: User, person: User, reason: str) -> User:
    """Close an account; its name stays on the records. Ledger: person deactivated."""
    require(actor, Action.MANAGE_PEOPLE)
    reason = needs_reason(reason, "close the account")
    refuse_system(person)
    with transaction.atomic():
        person = locked(person)
        before = ledger.snapshot(person)
        person.is_active = False
        person.save(update_fields=["is_active"])
        ledger.write(
            actor=actor, action="person deactivated", subject=person, before=before, reason=reason
        )
    return person


def _group(role: Role) -> Group:
    return Group.objects.get_or_create(name=role.value)[0]
