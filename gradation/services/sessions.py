"""Sessions of people: begun at the door, listed, ended by their owner or the quality manager."""

from __future__ import annotations

from django.contrib.sessions.models import Session
from django.db import transaction

from gradation.errors import Conflict
from gradation.models import PersonSession, User
from gradation.policy import Action, require
from gradation.services import clock, ledger
from gradation.services.checking import locked

__all__ = [
    "begin_session",
    "end_all_sessions",
    "end_session",
    "end_this_session",
    "rename_session",
]


def begin_session(*, actor: User, session_key: str, browser: str) -> PersonSession:
    """Note that a person signed in with a browser. Ledger: signed in, without the session's key."""
    require(actor, Action.KEEP_OWN_ACCOUNT)
    with transaction.atomic():
        session = PersonSession.objects.create(
            person=actor,
            session_key=session_key,
            began_at=clock.now(),
            address=actor.origin.address,
            browser=browser[:200],
        )
        after = {"address": session.address, "browser": session.browser}
        ledger.write(actor=actor, action="signed in", subject=session, after=after)
    return session


def rename_session(*, actor: User, former_key: str, session_key: str) -> None:
    """Note that a person proved once more who they are; the session goes on under a new key.

    Ledger: identity confirmed, without the keys.
    """
    require(actor, Action.KEEP_OWN_ACCOUNT)
    with transaction.atomic():
        rows = PersonSession.objects.select_for_update().filter(
            person=actor, session_key=former_key, ended_at=None
        )
        for session in rows.exclude(session_key=""):
            session.session_key = session_key
            session.save(update_fields=["session_key"])
            ledger.write(actor=actor, action="identity confirmed", subject=session, after={})


def end_session(*, actor: User, session: PersonSession) -> PersonSession:
    """End a session: its next request must sign in; one's own, or as quality manager.

    Refuses (`Conflict`) one that has ended. Ledger: session ended.
    """
    own = session.person_id == actor.pk
    require(actor, Action.KEEP_OWN_ACCOUNT if own else Action.MANAGE_PEOPLE)
    with transaction.atomic():
        session = locked(session, "person")
        if session.ended_at is not None:
            msg = "This session has ended already."
            raise Conflict(msg)
        _end(actor, session, "ended by its owner" if own else f"ended by {actor}")
    return session


def end_this_session(*, actor: User, session_key: str) -> None:
    """Note that a person signed out. Ledger: session ended."""
    require(actor, Action.KEEP_OWN_ACCOUNT)
    with transaction.atomic():
        rows = PersonSession.objects.select_for_update().filter(
            person=actor, session_key=session_key, ended_at=None
        )
        for session in rows.exclude(session_key=""):
            _end(actor, session, "signed out")


def end_all_sessions(*, actor: User, person: User, but: str = "", why: str = "") -> int:
    """End every session of a person, but the one with this key; one's own, or as quality manager.

    Gives how many were ended. Ledger: session ended, for each.
    """
    require(actor, Action.KEEP_OWN_ACCOUNT if actor == person else Action.MANAGE_PEOPLE)
    with transaction.atomic():
        rows = list(
            PersonSession.objects.select_for_update()
            .filter(person=person, ended_at=None)
            .exclude(session_key=but or "-")
        )
        for session in rows:
            _end(actor, session, why or f"ended by {actor}")
    return len(rows)


def _end(actor: User, session: PersonSession, why: str) -> None:
    Session.objects.filter(session_key=session.session_key).delete()
    session.ended_at, session.end_reason, session.session_key = clock.now(), why[:80], ""
    session.save(update_fields=["ended_at", "end_reason", "session_key"])
    after = {"why": session.end_reason}
    ledger.write(actor=actor, action="session ended", subject=session, after=after)
