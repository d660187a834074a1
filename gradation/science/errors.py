"""Refusals of the calculations; each message is meant for the person at the bench."""

from __future__ import annotations


class GradationError(ValueError):
    """What was given cannot be calculated; the text says what is wrong and what to do."""


class OutOfRange(GradationError):
    """A value lies outside the range in which the formula or table holds."""


class Impossible(GradationError):
    """Masses or apertures that cannot be: no real weighing gives them."""


class NotDeterminable(GradationError):
    """The sieves used cannot tell this value; the text gives the reason."""


class UnknownName(GradationError):
    """A rule, table or sieve of this name is not known; the text lists what is."""
