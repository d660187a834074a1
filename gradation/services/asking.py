"""How often an address outside may ask: counted in the database, for all workers together."""

from __future__ import annotations

from django.db import transaction
from django.db.models import F
from django.utils.crypto import salted_hmac

from gradation.errors import TooMany
from gradation.models import AskTally
from gradation.services import clock

__all__ = ["MOST_A_MINUTE", "count_question"]

MOST_A_MINUTE = 30
_KEPT_MINUTES = 60


def count_question(address: str) -> None:
    """Count a question of an address; refuses (`TooMany`) with the seconds to wait.

    Anybody may ask. The address itself is not kept. Once the minute is used up nothing is written.
    """
    key = salted_hmac("gradation.asking", address, algorithm="sha256").hexdigest()
    now = clock.now()
    minute, second = divmod(int(now.timestamp()), 60)
    if AskTally.objects.filter(key=key, minute=minute, count__gte=MOST_A_MINUTE).exists():
        raise _too_often(60 - second)
    with transaction.atomic():
        if _counted(key, minute) > MOST_A_MINUTE:
            raise _too_often(60 - second)


def _counted(key: str, minute: int) -> int:
    AskTally.objects.bulk_create([AskTally(key=key, minute=minute)], ignore_conflicts=True)
    AskTally.objects.filter(key=key).exclude(minute=minute).update(minute=minute, count=0)
    AskTally.objects.filter(key=key).update(count=F("count") + 1)
    count = AskTally.objects.values_list("count", flat=True).get(key=key)
    if count == 1:
        AskTally.objects.filter(minute__lt=minute - _KEPT_MINUTES).delete()
    return count


def _too_often(seconds: int) -> TooMany:
    msg = f"Too many questions came from here in this minute. Ask again in {seconds} s."
    return TooMany(msg, retry_after_s=seconds)
