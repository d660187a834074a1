"""Due days as a calendar, for the signed-in and for a calendar program with its own address."""

from __future__ import annotations

from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_GET

from gradation.documents.calendar import MEDIA_TYPE, CalendarDay, calendar_text
from gradation.errors import NotFound
from gradation.models import Laboratory, User
from gradation.policy import Action, may
from gradation.queries.due import DueRow
from gradation.queries.due import due_list as due_rows
from gradation.queries.laboratory import active_person
from gradation.services import clock
from gradation.web.answers import PersonRequest, page
from gradation.web.context import laboratory_of

_SALT = "gradation.due-feed"
_DIGEST_KEPT = 16  # of the session digest: enough to end a feed with a new password


def feed_of(person: User) -> str:
    """Give the address of a person's own feed; a new password makes a new address."""
    token = signing.dumps([person.pk, _digest(person)], salt=_SALT, compress=True)
    return reverse("equipment:due-feed", args=[token])


def _digest(person: User) -> str:
    return person.get_session_auth_hash()[:_DIGEST_KEPT]


@require_GET
@page()
def due_calendar(request: PersonRequest) -> HttpResponse:
    """Give the due days as a calendar file."""
    return _calendar(request)


@require_GET
def due_feed(request: HttpRequest, token: str) -> HttpResponse:
    """Give the due days to a calendar program: the address alone says whose it is."""
    _reader_of(token)
    return _calendar(request)


def _reader_of(token: str) -> User:
    """Give the person a feed belongs to, if the address still holds."""
    try:
        key, digest = signing.loads(token, salt=_SALT)
        person = active_person(int(key))
    except (signing.BadSignature, TypeError, ValueError):
        person, digest = None, ""
    if person is None or _digest(person) != digest or not may(person, Action.READ_RECORDS):
        msg = "This address does not lead to a calendar any more. Take a new one from Equipment."
        raise NotFound(msg)
    return person


def _calendar(request: HttpRequest) -> HttpResponse:
    laboratory = laboratory_of(request)
    rows = [row for row in due_rows(clock.today(laboratory)) if row.due_on is not None]
    days = [_day(request, laboratory, row) for row in rows]
    text = calendar_text(f"Checks due, {laboratory.name}", days, written_at=clock.now())
    answer = HttpResponse(text, content_type=MEDIA_TYPE)
    answer["Content-Disposition"] = 'inline; filename="equipment-due.ics"'
    return answer


def _day(request: HttpRequest, laboratory: Laboratory, row: DueRow) -> CalendarDay:
    item = row.item
    about = [
        f"Bench: {item.bench}" if item.bench else "",
        f"Place: {item.place}" if item.place else "",
        f"Keeper: {item.keeper}" if item.keeper else "",
        f"Last check: {row.last_check_on:%d %b %Y}" if row.last_check_on else "",
    ]
    return CalendarDay(
        uid=f"equipment-{item.pk}@{request.get_host()}",
        day=row.due_on or clock.today(laboratory),
        summary=f"Check due: {row.name}",
        description="\n".join(line for line in about if line),
        url=request.build_absolute_uri(reverse("equipment:item-show", args=[item.serial])),
    )
