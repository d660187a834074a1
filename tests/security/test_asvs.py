"""Every item of the security standard is shown by a test that exists, or says why it is not."""

import re
from collections import Counter

from tests.security import asvs

ITEMS = asvs.items()


def test_g09_every_item_of_both_levels_stands_in_the_table_once():
    numbers = [item.number for item in ITEMS]

    assert Counter(item.level for item in ITEMS) == asvs.LEVELS
    assert len(set(numbers)) == len(numbers) == 253
    assert all(re.fullmatch(r"\d{1,2}\.\d\.\d{1,2}", number) for number in numbers)
    assert {item.chapter for item in ITEMS} == asvs.CHAPTERS.keys()
    assert numbers == sorted(numbers, key=lambda number: [int(part) for part in number.split(".")])


def test_g09_every_item_has_its_tests_or_a_reason_and_never_both():
    for item in ITEMS:
        assert bool(item.tests) != bool(item.reason), item.number
        assert len(item.subject.split()) >= 2, item.number
        assert not item.reason or item.reason.endswith("."), item.number


def test_g09_every_test_that_is_named_exists():
    named = {test for item in ITEMS for test in item.tests}

    assert named - asvs.existing_tests() == set()


def test_page_of_the_security_standard_is_up_to_date():
    kept = asvs.PAGE.read_text(encoding="utf-8")

    assert kept == asvs.page(), "Run python -m tests.security.asvs"
