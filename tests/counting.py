"""Counts what a page or a query asks of the database."""

from collections.abc import Callable

from django.db import connection
from django.test.utils import CaptureQueriesContext

from gradation.queries.settled import forget_settled


def count_queries(act: Callable[[], object]) -> int:
    """Give the number of questions that `act` asks of the database.

    What the site remembers for a few seconds is forgotten first: otherwise the count would depend
    on how long ago something was asked, so on how busy the machine is.
    """
    forget_settled()
    with CaptureQueriesContext(connection) as captured:
        act()
    return len(captured)
