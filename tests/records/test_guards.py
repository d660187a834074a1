"""The database itself refuses to change or remove what was recorded."""

import pytest
from django.db import DatabaseError, connection, transaction

from gradation.checks import missing_guards
from gradation.migrations import _guards
from gradation.models import Attachment, Certificate, ChainHead, Counter, LedgerEntry
from gradation.services import attachments, certify, seals
from tests import factories, tampering


def execute(statement, *values):
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, values)
        return cursor.rowcount


@pytest.fixture
def records(signatory, technician, keeper):
    """Leave at least one row in every guarded table."""
    material = factories.make_material(specification=factories.make_specification())
    certificate = factories.make_certificate(factories.make_sample(material=material))
    factories.make_drying_with_mass(technician)
    sieve = factories.make_sieve()
    attachments.attach_file(actor=keeper, equipment=sieve, name="sheet.txt", content=b"52.3 um")
    seals.seal_now(actor=signatory, occasion=seals.Occasion.ASKED)
    return certificate


def test_r53_rows_of_the_record_can_neither_be_changed_nor_removed(records):
    for table in _guards.APPEND_ONLY:
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT COUNT(*) FROM {table}")
            assert cursor.fetchone()[0] > 0, table

        with pytest.raises(DatabaseError, match="append-only"):
            execute(f"UPDATE {table} SET id = id")
        with pytest.raises(DatabaseError, match="append-only"):
            execute(f"DELETE FROM {table}")


@pytest.mark.postgres_only
def test_r53_tables_of_the_record_cannot_be_emptied(records):
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
    alone = (*_guards.ONLY_UP, _guards.CERTIFICATE, _guards.CERTIFICATE_RUNS)
    for table in (*_guards.APPEND_ONLY, *alone):
        with pytest.raises(DatabaseError, match="append-only"):
            execute(f"TRUNCATE {table} CASCADE")


def test_r53_no_way_of_the_program_changes_or_removes_an_entry(records):
    entry = LedgerEntry.objects.latest("id")
    entry.reason = "another reason"
    acts = {
        "save": lambda: entry.save(),
        "update": lambda: LedgerEntry.objects.update(reason="another reason"),
        "bulk_update": lambda: LedgerEntry.objects.bulk_update([entry], ["reason"]),
        "delete": lambda: entry.delete(),
        "delete all": lambda: LedgerEntry.objects.all().delete(),
    }

    for act in acts.values():
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            act()


OTHER_TEXT = {"number", "remarks", "pdf_sha256", "verification_code", "issued_by_name"}


def other_value(column):
    if column in OTHER_TEXT | {"meaning", "reason"}:
        return "'another'"
    if column.endswith("_at"):
        return "'2020-01-01 00:00:00+00:00'"
    return {"content": "'{}'", "pdf": "NULL", "amends_id": "id"}.get(column, "4711")


def test_r29_no_column_of_an_issued_certificate_can_be_changed(records):
    for column in _guards.FROZEN_AT_ISSUE:
        change = f"UPDATE gradation_certificate SET {column} = {other_value(column)} WHERE id = %s"
        with pytest.raises(DatabaseError, match="append-only"):
            execute(change, records.pk)


def test_r29_an_issued_certificate_and_its_runs_cannot_be_removed(records):
    with pytest.raises(DatabaseError, match="append-only"):
        execute("DELETE FROM gradation_certificate_runs WHERE certificate_id = %s", records.pk)
    with pytest.raises(DatabaseError, match="append-only"):
        execute("DELETE FROM gradation_certificate WHERE id = %s", records.pk)
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        records.runs.add(factories.make_accepted_run())

    assert Certificate.objects.filter(pk=records.pk).exists()


def test_an_issued_certificate_can_be_withdrawn_but_not_issued_again(records, signatory):
    certify.withdraw_certificate(
        actor=signatory, certificate=records, reason="Wrong lot.", password=factories.PASSWORD
    )

    for state in ("issued", "draft", "superseded"):
        with pytest.raises(DatabaseError, match="append-only"):
            execute("UPDATE gradation_certificate SET state = %s WHERE id = %s", state, records.pk)


def test_a_draft_can_be_changed_and_thrown_away(signatory):
    run = factories.make_accepted_run()
    drafting = certify.Drafting(runs=[run])
    draft = certify.draft_certificate(actor=signatory, sample=run.portion.sample, drafting=drafting)

    assert execute("UPDATE gradation_certificate SET remarks = 'x' WHERE id = %s", draft.pk) == 1
    certify.discard_draft(actor=signatory, certificate=draft, reason="Asked for by mistake.")

    assert not Certificate.objects.exists()


def test_heads_of_chains_and_counters_only_go_up(records):
    head, counter = ChainHead.objects.first(), Counter.objects.first()

    for statement in (
        "UPDATE gradation_chainhead SET sequence = sequence - 1",
        "UPDATE gradation_counter SET last = 0",
        "DELETE FROM gradation_chainhead",
        "DELETE FROM gradation_counter",
    ):
        with pytest.raises(DatabaseError, match="append-only"):
            execute(statement)

    head.refresh_from_db()
    counter.refresh_from_db()
    assert head.sequence > 0
    assert counter.last > 0


def test_missing_guards_are_named(records):
    assert missing_guards(connection) == []

    with connection.cursor() as cursor:
        on = "" if connection.vendor == "sqlite" else " ON gradation_weighing"
        if on:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("DROP TRIGGER gradation_weighing_no_update" + on)

    assert missing_guards(connection) == ["gradation_weighing_no_update"]
    _guards.install(connection)
    assert missing_guards(connection) == []


def test_the_suite_itself_can_go_past_the_guards_and_puts_them_back(records):
    changed = tampering.run("UPDATE gradation_attachment SET name = 'other.txt'")

    assert changed == 1
    assert Attachment.objects.get().name == "other.txt"
    assert missing_guards(connection) == []
