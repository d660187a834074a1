"""The table of requirements and tests is what the names of the tests say."""

from tests import traceability


def test_r84_table_of_requirements_is_up_to_date():
    kept = traceability.TABLE.read_text(encoding="utf-8")

    assert kept == traceability.table(), "Run python -m tests.traceability"


def test_r84_every_requirement_has_a_test_of_its_name_or_a_reason():
    assert traceability.untold() == []


def test_r84_no_reason_is_given_for_what_a_test_shows():
    assert sorted(traceability.REASONS.keys() & traceability.shown().keys()) == []


def test_a_name_gives_its_requirements():
    names = ["test_r18_and_s36_together", "test_r101_is_none", "test_d50_is_none"]

    found = [traceability._ID.findall(name) for name in names]

    assert found == [[("r", "18"), ("s", "36")], [], []]
