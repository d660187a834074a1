"""Balances at the bench: from the bytes on a line to a reading in grams.

Pure functions and small state machines: nothing here opens a port, knows a run or a database.
`stream` cuts bytes into lines, `lines` reads one line by a form that the laboratory chose.
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
