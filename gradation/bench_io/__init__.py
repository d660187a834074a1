"""Balances at the bench: from the bytes on a line to a reading in grams.

`stream` cuts bytes into lines, `lines` reads one line by a form that the laboratory chose,
`own_form` makes such a form; `settling` says when a load is new. These are pure. The gateway that
runs beside the balances is built on them: `ports` reads, `journal` keeps, `sender` sends. Nothing
here knows a run or the site's database.
"""

from gradation.bench_io.lines import (
    FORMS,
    BalanceReading,
    LineForm,
    NotAReading,
    Overloaded,
    Unstable,
    form_named,
    read_line,
)
from gradation.bench_io.stream import LineStream

__all__ = [
    "FORMS",
    "BalanceReading",
    "LineForm",
    "LineStream",
    "NotAReading",
    "Overloaded",
    "Unstable",
    "form_named",
    "read_line",
]
