"""The form in which a balance's lines are read, as its link says: one parser for all roads."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from gradation.bench_io import (
    FORMS,
    LineForm,
    NotAReading,
    Overloaded,
    Unstable,
    form_named,
    read_line,
)
from gradation.bench_io.own_form import OWN, marks_in, own_form
from gradation.models import BalanceLink

__all__ = ["FORM_NAMES", "Read", "form_of", "read_balance_line"]

FORM_NAMES = (*(form.name for form in FORMS), OWN)


@dataclass(frozen=True)
class Read:
    """What a line was read as: a mass, or a code and a sentence that say why it is none."""

    mass_g: Decimal | None
    code: str = ""
    words: str = ""


def form_of(link: BalanceLink) -> LineForm:
    """Give the form of a balance's lines; `ValueError` says what is wrong with an own one."""
    if link.form != OWN:
        return form_named(link.form)
    return own_form(
        link.pattern,
        default_unit=link.default_unit,
        stable_marks=marks_in(link.stable_marks),
        unstable_marks=marks_in(link.unstable_marks),
    )


def read_balance_line(line: str, form: LineForm) -> Read:
    """Read one line; what cannot be taken has its code and sentence."""
    try:
        return Read(read_line(line, form).mass_g)
    except Unstable as fault:
        return Read(None, "unstable", str(fault))
    except Overloaded as fault:
        return Read(None, "overloaded", str(fault))
    except NotAReading as fault:
        return Read(None, "unreadable", str(fault))
