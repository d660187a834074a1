"""Counts tries before their secret is looked at, so that parallel tries count as many as they are.

From the fifth try that did not fit, each further one waits, twice as long each time; nothing is
ever tried more than a hundred times in a row (NIST SP 800-63B-4, 3.2.2: at most 100).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import F

from gradation.errors import TooMany
from gradation.models import SignInTally
from gradation.services import clock
from gradation.services.secret_keeping import keyed_digest

__all__ = ["ACCOUNT", "ADDRESS", "Limit", "forget", "forgive", "key_of", "take"]


@dataclass(frozen=True)
class Limit:
    """How many tries are free, how waiting grows, when tries are forgotten by themselves."""

    free: int
    most: int | None = None
    first_wait: timedelta = timedelta(seconds=5)
    longest_wait: timedelta = timedelta(minutes=15)
    forgotten_after: timedelta | None = None

    def wait(self, judged: int) -> timedelta:
        """Give how long to wait after this many tries."""
        if judged < self.free:
            return timedelta()
        doubled: timedelta = self.first_wait * int(2 ** min(judged - self.free, 16))
        return min(doubled, self.longest_wait)


#: An account, a known device or a signer: slower from the fifth, closed at the hundredth.
ACCOUNT = Limit(free=5, most=100)
#: An address behind which a whole laboratory may sit.
ADDRESS = Limit(free=20, first_wait=timedelta(seconds=30), forgotten_after=timedelta(minutes=15))


def key_of(kind: str, text: str) -> str:
    """Name a tally without keeping what was typed."""
    return f"{kind}/{keyed_digest('tally', text.casefold().strip())[:40]}"


def take(key: str, limit: Limit) -> SignInTally:
    """Count a try, or refuse it (`TooMany`) with the seconds to wait.

    The count is safe before the secret is looked at, and a refused try is counted too.
    """
    with transaction.atomic():
        tally = _locked(key)
        now = clock.now()
        if limit.forgotten_after and tally.last_at and now - tally.last_at > limit.forgotten_after:
            tally.judged, tally.closed_until = 0, None
        tally.tries += 1
        refusal = _refusal(tally, limit, now)
        if refusal is None:
            tally.judged += 1
            tally.last_at, tally.closed_until = now, now + limit.wait(tally.judged)
        tally.save()
    if refusal is not None:
        raise refusal
    return tally


def _locked(key: str) -> SignInTally:
    SignInTally.objects.bulk_create([SignInTally(key=key)], ignore_conflicts=True)
    return SignInTally.objects.select_for_update().get(key=key)


def _refusal(tally: SignInTally, limit: Limit, now: datetime) -> TooMany | None:
    if limit.most is not None and tally.judged >= limit.most:
        msg = "Tried a hundred times without success. Have the password set anew."
        return TooMany(msg, retry_after_s=int(limit.longest_wait.total_seconds()))
    if tally.closed_until is None or tally.closed_until <= now:
        return None
    seconds = int((tally.closed_until - now).total_seconds()) + 1
    msg = f"Too many tries did not fit. Wait {_spoken(seconds)}, then type both again."
    return TooMany(msg, retry_after_s=seconds)


def _spoken(seconds: int) -> str:
    if seconds <= 90:
        return f"{seconds} s"
    return f"{-(-seconds // 60)} minutes"


def forget(key: str) -> None:
    """Forget the tries under a key: one fitted, or the secret was set anew."""
    SignInTally.objects.filter(key=key).update(tries=0, judged=0, closed_until=None)


def forgive(key: str) -> None:
    """Take back one try: it fitted, but others under the same key did not."""
    held = SignInTally.objects.filter(key=key, judged__gt=0)
    held.update(judged=F("judged") - 1, closed_until=None)
