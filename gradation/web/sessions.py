"""How long a sign-in lasts: marked when it begins, ended when it is idle or old."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from django.conf import settings
from django.contrib import auth
from django.contrib.auth.signals import user_logged_in
from django.http import HttpRequest, HttpResponse

from gradation.models import Origin, User
from gradation.services import clock
from gradation.services.identity import needs_factor
from gradation.services.sessions import begin_session, rename_session
from gradation.web.devices import keep_device

BEGAN, SEEN, CONFIRMED, FACTOR_DUE = "began", "seen", "confirmed", "factor_due"
_SEEN_EVERY_S = 60
_WARN_S = 120
#: Asked by pages on their own: nobody is at work because of them.
_POLLED = frozenset(
    {
        "bench:run-changes",
        "bench:drying-changes",
        "bench:person-show",
        "bench:balance-waiting",
        "bench:import-progress",
        "certificates:batch-progress",
        "web:session-show",
    }
)
_BACKEND = "django.contrib.auth.backends.ModelBackend"

Handler = Callable[[HttpRequest], HttpResponse]


def _now() -> int:
    return int(clock.now().timestamp())


def mark_signed_in(request: HttpRequest, **_: Any) -> None:
    """Write into a new session when it began."""
    request.session.update(dict.fromkeys((BEGAN, SEEN, CONFIRMED), _now()))


def connect() -> None:
    """Mark every session that begins, whatever let the person in."""
    user_logged_in.connect(mark_signed_in, dispatch_uid="mark_signed_in")


def origin_of(request: HttpRequest, door: str = "web") -> Origin:
    """Say where a request comes from, as the ledger keeps it."""
    request_id = getattr(request, "request_id", "") or uuid4().hex
    return Origin(door, request.META.get("REMOTE_ADDR", ""), request_id)


def let_in(request: HttpRequest, person: User, response: HttpResponse) -> HttpResponse:
    """Begin a session under a new key for a person who proved who they are."""
    auth.login(request, person, backend=_BACKEND)
    person.origin = origin_of(request)
    if needs_factor(person):
        request.session[FACTOR_DUE] = True
    begin_session(
        actor=person,
        session_key=request.session.session_key or "",
        browser=browser_words(request.headers.get("User-Agent", "")),
    )
    return keep_device(request, response, person)


#: What browsers call themselves, the more particular word first.
_BROWSERS = (
    ("Firefox/", "Firefox"),
    ("Edg/", "Edge"),
    ("Chrome/", "Chrome"),
    ("Safari/", "Safari"),
)
_SYSTEMS = (
    ("Android", "Android"), ("iPhone", "iPhone"), ("iPad", "iPad"), ("Windows", "Windows"),
    ("Mac OS X", "macOS"), ("CrOS", "ChromeOS"), ("Linux", "Linux"),
)  # fmt: skip


def browser_words(said: str) -> str:
    """Name a browser and its system, as far as it tells them; else its own first words."""
    browser = next((word for mark, word in _BROWSERS if mark in said), "")
    system = next((word for mark, word in _SYSTEMS if mark in said), "")
    return " on ".join(word for word in (browser, system) if word) or said[:60]


def mark_confirmed(request: HttpRequest, person: User) -> None:
    """Note that the person typed the password again just now; the session gets a new key."""
    former = request.session.session_key or ""
    request.session.cycle_key()
    request.session[CONFIRMED] = _now()
    session_key = request.session.session_key or ""
    rename_session(actor=person, former_key=former, session_key=session_key)


def is_fresh(request: HttpRequest) -> bool:
    """Say whether the password was typed lately enough for acts on accounts and tokens."""
    return _now() - request.session.get(CONFIRMED, 0) <= settings.SESSION_FRESH_S


@dataclass(frozen=True)
class TimeLeft:
    """How many seconds a session lasts without a further request, and at most."""

    left_s: int
    longest_s: int

    @property
    def idle_s(self) -> int:
        """Give how long it lasts without a request."""
        return settings.SESSION_IDLE_S

    @property
    def warn_s(self) -> int:
        """Give how long before its end the person is told of it."""
        return min(_WARN_S, settings.SESSION_IDLE_S // 3)


def time_left(request: HttpRequest) -> TimeLeft:
    """Say how long the session of a request still lasts; nothing left is zero or less."""
    session, now = request.session, _now()
    # One second more: a session ends when a limit is passed, not when it is reached.
    longest = session.get(BEGAN, 0) + settings.SESSION_COOKIE_AGE - now + 1
    idle = session.get(SEEN, 0) + settings.SESSION_IDLE_S - now + 1
    return TimeLeft(left_s=min(idle, longest), longest_s=longest)


class SessionAgeMiddleware:
    """Ends sessions that were idle too long or are too old (ASVS 5.0, 7.3)."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """End an old session before the view looks at it."""
        if request.user.is_authenticated and time_left(request).left_s <= 0:
            auth.logout(request)
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: object, args: object, kwargs: object
    ) -> None:
        """Note activity before the view, so that its page knows how long it may stay."""
        match = request.resolver_match
        if match is not None and match.view_name not in _POLLED and SEEN in request.session:
            self._note_seen(request)

    @staticmethod
    def _note_seen(request: HttpRequest) -> None:
        now = _now()
        if now - request.session[SEEN] >= min(_SEEN_EVERY_S, settings.SESSION_IDLE_S // 30):
            request.session[SEEN] = now
