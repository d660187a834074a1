"""Due days as a calendar, for the signed-in and for a calendar program with its own password."""

from __future__ import annotations

import binascii
from base64 import b64decode
from http import HTTPStatus

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
from gradation.queries.laboratory import active_person, active_person_named
from gradation.services import clock
from gradation.web.answers import PersonRequest, page
from gradation.web.context import laboratory_of

_SALT = "gradation.due-calendar"
_ADDRESS_SALT = "gradation.due-feed"
_DIGEST_KEPT = 16  # of the session digest: enough to end a calendar with a new password


def calendar_password(person: User) -> str:
    """Give the password of a person's calendar program: 256 bits, another with a new password.

    It opens the days on which checks fall due, and nothing else.
    """
    return signing.Signer(salt=_SALT).signature(_signed(person))


def _signed(person: User) -> str:
    return f"{person.pk} {_digest(person)}"


def _digest(person: User) -> str:
    return person.get_session_auth_hash()[:_DIGEST_KEPT]


@require_GET
@page()
def due_calendar(request: PersonRequest) -> HttpResponse:
    """Give the due days as a calendar file."""
    return _calendar(request)


@require_GET
def due_subscribe(request: HttpRequest) -> HttpResponse:
    """Give the due days to a calendar program that sends name and password (RFC 7617)."""
    name, password = _sent_with(request)
    person = active_person_named(name)
    if person is None or not _fits(person, password) or not may(person, Action.READ_RECORDS):
        says = "Name and calendar password are those that stand under Equipment.\n"
        answer = HttpResponse(says, content_type="text/plain; charset=utf-8")
        answer.status_code = HTTPStatus.UNAUTHORIZED
        answer["WWW-Authenticate"] = 'Basic realm="Checks due", charset="UTF-8"'
        return answer
    return _calendar(request)


def _sent_with(request: HttpRequest) -> tuple[str, str]:
    kind, _, sent = request.headers.get("Authorization", "").partition(" ")
    try:
        pair = b64decode(sent, validate=True).decode() if kind.lower() == "basic" else ""
    except (binascii.Error, UnicodeDecodeError):
        pair = ""
    name, _, password = pair.partition(":")
    return name, password


def _fits(person: User, password: str) -> bool:
    try:
        signing.Signer(salt=_SALT).unsign(f"{_signed(person)}:{password}")
    except signing.BadSignature:
        return False
    return True


@require_GET
def due_feed(request: HttpRequest, token: str) -> HttpResponse:
    """Give the due days under an address with its own key, as they were handed out before.

    None is made any more: an address stands in histories and logs of proxies.
    """
    _reader_of(token)
    return _calendar(request)


def _reader_of(token: str) -> User:
    """Give the person an address belongs to, if it still holds."""
    try:
        key, digest = signing.loads(token, salt=_ADDRESS_SALT)
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
