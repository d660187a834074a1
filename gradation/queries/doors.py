"""Accounts and what stands at the door: sessions, second factors, whose link it is."""

from __future__ import annotations

from django.db.models import QuerySet
from django.utils.http import urlsafe_base64_decode

from gradation.models import PersonSession, SecondFactor, User
from gradation.models.people import SYSTEM_NAME

__all__ = ["factor_of", "find_session", "open_sessions", "person_of_link", "recovery_codes_left"]


def open_sessions(person: User | None = None) -> QuerySet[PersonSession]:
    """List the sessions that have not ended, of one person or of all, newest first."""
    rows = PersonSession.objects.filter(ended_at=None).select_related("person")
    return rows if person is None else rows.filter(person=person)


def find_session(pk: int) -> PersonSession | None:
    """Find a session."""
    return PersonSession.objects.select_related("person").filter(pk=pk).first()


def factor_of(person: User) -> SecondFactor | None:
    """Give the person's second factor, confirmed or only begun."""
    return SecondFactor.objects.filter(person=person).first()


def recovery_codes_left(person: User) -> int:
    """Count the recovery codes not used yet."""
    return person.recovery_codes.filter(used_at=None).count()


def person_of_link(who: str) -> User | None:
    """Find the person a reset link names."""
    try:
        pk = int(urlsafe_base64_decode(who).decode("ascii"))
    except (ValueError, OverflowError):
        return None
    people = User.objects.exclude(username=SYSTEM_NAME)
    return people.filter(pk=pk, is_active=True).first() if 0 < pk < 2**62 else None
