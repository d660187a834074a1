"""When a line of a balance is a new load: one load, one reading, however often it is sent.

The first of two guards. A balance that sends all the time repeats a resting load for as long as it
stands there; here that becomes one reading under one key. The second guard, at the server, takes
the same mass from the same balance within two seconds once only: two roads to one balance.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from gradation.bench_io.lines import (
    BalanceReading,
    LineForm,
    NotAReading,
    Overloaded,
    Unstable,
    read_line,
)

__all__ = ["Seen", "Settler", "Settling", "What"]


@dataclass(frozen=True)
class Settling:
    """What makes a load new. `streams`: the balance sends all the time, not at a key press.

    A streamed load has settled when `repeats` lines in a row are the same, and is another one when
    it differs from the last by more than `steps` of its last digit. Common practice; figures ours.
    """

    streams: bool = False
    repeats: int = 3
    steps: int = 5
    echo_s: float = 1.0


class What(StrEnum):
    """What a line was."""

    NEW = "new load"
    SAME = "same load"
    SETTLING = "settling"
    UNSETTLED = "not settled"
    EMPTY = "nothing on it"
    OVERLOADED = "overloaded"
    UNREADABLE = "unreadable"


@dataclass(frozen=True)
class Seen:
    """A line with what it was; a reading when it is one, else words that say why not."""

    what: What
    line: str
    reading: BalanceReading | None = None
    words: str = ""


class Settler:
    """Watches the lines of one balance. `last_g` is the load that was taken last, if it is known.

    Given after a restart, it keeps a load that still stands there from being taken again.
    """

    def __init__(self, form: LineForm, rule: Settling, last_g: Decimal | None = None) -> None:
        self.form, self.rule = form, rule
        self.last_g = last_g
        self._gone = last_g is None
        self._resting: tuple[Decimal | None, int] = (None, 0)
        self._printed: tuple[str, float] = ("", float("-inf"))

    def take(self, line: str, at_s: float) -> Seen:
        """Say what a line is; `at_s` is any clock that only goes forward."""
        try:
            reading = read_line(line, self.form)
        except Unstable as unstable:
            self._moved(unstable.mass_g)
            return Seen(What.UNSETTLED, line, words=str(unstable))
        except Overloaded as overloaded:
            self._moved(None)
            return Seen(What.OVERLOADED, line, words=str(overloaded))
        except NotAReading as fault:
            return Seen(What.UNREADABLE, line, words=str(fault))
        what = self._streamed(reading) if self.rule.streams else self._pressed(line, at_s)
        return Seen(what, line, reading)

    def _moved(self, mass_g: Decimal | None) -> None:
        """Note that the balance is not at rest; a bump that changes nothing is no new load."""
        self._resting = (None, 0)
        if mass_g is None or self._is_other(mass_g):
            self._gone = True

    def _pressed(self, line: str, at_s: float) -> What:
        """Take every press of the key, but not the same line sent twice for one press."""
        text, before_s = self._printed
        self._printed = (line, at_s)
        return What.SAME if line == text and at_s - before_s < self.rule.echo_s else What.NEW

    def _streamed(self, reading: BalanceReading) -> What:
        mass_g = reading.mass_g
        if mass_g <= 0:
            self.last_g, self._gone, self._resting = None, True, (None, 0)
            return What.EMPTY
        resting_g, count = self._resting
        count = count + 1 if mass_g == resting_g else 1
        self._resting = (mass_g, count)
        self._gone = self._gone or self._is_other(mass_g)
        if count < self.rule.repeats:
            return What.SETTLING
        if not self._gone:
            return What.SAME
        self.last_g, self._gone = mass_g, False
        return What.NEW

    def _is_other(self, mass_g: Decimal) -> bool:
        if self.last_g is None or mass_g <= 0:
            return True
        step_g = Decimal(1).scaleb(int(mass_g.as_tuple().exponent))
        return abs(mass_g - self.last_g) > self.rule.steps * step_g
