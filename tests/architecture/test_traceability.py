"""The table of requirements and tests is what the names of the tests say."""

from tests import traceability


def test_table_of_requirements_is_up_to_date():
    kept = traceability.TABLE.read_text(encoding="utf-8")

    assert kept == traceability.table(), "Run python -m tests.traceability"


def test_a_name_gives_its_requirements():
    names = ["test_r18_and_s36_together", "test_r101_is_none", "test_d50_is_none"]

    found = [traceability._ID.findall(name) for name in names]

    assert found == [[("r", "18"), ("s", "36")], [], []]
