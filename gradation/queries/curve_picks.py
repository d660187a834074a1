"""Picking curves: which runs, samples and means are meant, written so that they fit an address."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from gradation.errors import Fault, Invalid
from gradation.models import Run, User
from gradation.queries.runs import runs_visible_to
from gradation.queries.samples import samples_visible_to

__all__ = ["MOST_AVERAGED", "Pick", "PickKind", "picks_named", "read_pick"]

#: Runs that 'the latest runs' may ask for; a longer mean is taken over a period.
MOST_AVERAGED = 500
_KEY = re.compile(r"[0-9]{1,17}")
_SEPARATORS = re.compile(r"[,;\s]+")
LONGEST_LIST = 20


class PickKind(StrEnum):
    """What a curve is taken from."""

    RUN = "run"
    SAMPLE = "sample"
    """The mean of the determinations of a sample."""
    LATEST = "latest"
    """The mean of the latest accepted runs of a material."""
    PERIOD = "period"
    """The mean of the accepted runs of a material opened between two days."""


@dataclass(frozen=True)
class Pick:
    """One curve that is asked for."""

    kind: PickKind
    key: str
    count: int = 0
    first: date | None = None
    last: date | None = None

    @property
    def token(self) -> str:
        """Give the pick as it stands in an address."""
        parts = [self.kind.value, self.key]
        if self.kind is PickKind.LATEST:
            parts.append(str(self.count))
        if self.first is not None and self.last is not None:
            parts += [self.first.isoformat(), self.last.isoformat()]
        return ":".join(parts)


def read_pick(token: str, field: str = "curve") -> Pick:
    """Read a pick from an address; refuses (`Invalid`) what is none, saying how it is written."""
    kind, _, rest = token.strip().partition(":")
    try:
        return _READERS[PickKind(kind)](rest)
    except (KeyError, ValueError) as error:
        msg = (
            f"“{token[:60]}” names no curve. Write run:12, sample:26-0148, latest:5:10 (the latest "
            "ten runs of material 5) or period:5:2026-01-01:2026-03-31."
        )
        raise Invalid.one(field, msg, code="unknown-curve") from error


def _key(text: str) -> str:
    if not _KEY.fullmatch(text):
        raise ValueError(text)
    return text


def _run(rest: str) -> Pick:
    return Pick(PickKind.RUN, _key(rest))


def _sample(rest: str) -> Pick:
    if not rest or len(rest) > LONGEST_LIST or "\x00" in rest:
        raise ValueError(rest)
    return Pick(PickKind.SAMPLE, rest)


def _latest(rest: str) -> Pick:
    material, _, count = rest.partition(":")
    if not 1 <= int(_key(count)) <= MOST_AVERAGED:
        raise ValueError(count)
    return Pick(PickKind.LATEST, _key(material), int(count))


def _period(rest: str) -> Pick:
    material, first, last = rest.split(":")
    begins, ends = date.fromisoformat(first), date.fromisoformat(last)
    if begins > ends:
        raise ValueError(rest)
    return Pick(PickKind.PERIOD, _key(material), first=begins, last=ends)


_READERS = {
    PickKind.RUN: _run,
    PickKind.SAMPLE: _sample,
    PickKind.LATEST: _latest,
    PickKind.PERIOD: _period,
}


def picks_named(actor: User, text: str, field: str = "numbers") -> list[Pick]:
    """Find what typed or scanned numbers name: runs, portions (all their runs) and samples.

    Refuses (`Invalid`) every number that names none of them.
    """
    words = [word for word in _SEPARATORS.split(text.replace("\x00", "")) if word]
    found: list[Pick] = []
    faults = []
    for word in words[:LONGEST_LIST]:
        picks = _named(actor, word)
        found += picks
        if not picks:
            msg = f"There is no run, portion or sample {word[:40]}. Check the number on the label."
            faults.append(Fault(field, msg, "unknown-number"))
    if len(words) > LONGEST_LIST:
        msg = f"Give at most {LONGEST_LIST} numbers at a time."
        faults.append(Fault(field, msg, "too-many"))
    if faults:
        raise Invalid(faults)
    return found


def _named(actor: User, word: str) -> list[Pick]:
    number = (
        samples_visible_to(actor).filter(number__iexact=word).values_list("number", flat=True)
    ).first()
    if number:
        return [Pick(PickKind.SAMPLE, number)]
    label, slash, determination = word.rpartition("/")
    runs = runs_visible_to(actor).exclude(state=Run.State.INVALID)
    if slash:
        if not _KEY.fullmatch(determination):
            return []
        runs = runs.filter(portion__label__iexact=label, determination=int(determination[:4]))
    else:
        runs = runs.filter(portion__label__iexact=word)
    return [Pick(PickKind.RUN, str(pk)) for pk in runs.order_by("pk").values_list("pk", flat=True)]
