"""Numbers: no gap, no duplicate, on either database, however many ask at once."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection, transaction

from gradation.services import numbering


@pytest.mark.django_db(transaction=True)
def test_p05_f01_f03_parallel_callers_get_every_number_once():
    def take(_):
        try:
            with transaction.atomic():
                return numbering.next_number("certificate/2026")
        finally:
            connection.close()

    with ThreadPoolExecutor(8) as pool:
        given = list(pool.map(take, range(160)))

    assert sorted(given) == list(range(1, 161))


@pytest.mark.django_db(transaction=True)
def test_number_of_a_failed_transaction_is_given_again():
    def interrupted():
        with transaction.atomic():
            numbering.next_number("sample/2026")
            raise ZeroDivisionError

    with transaction.atomic():
        first = numbering.next_number("sample/2026")
    with pytest.raises(ZeroDivisionError):
        interrupted()
    with transaction.atomic():
        second = numbering.next_number("sample/2026")

    assert (first, second) == (1, 2)


@pytest.mark.django_db(transaction=True)
def test_number_is_refused_outside_a_transaction():
    with pytest.raises(RuntimeError, match="inside the transaction"):
        numbering.next_number("sample/2026")
