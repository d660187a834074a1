"""The database itself refuses to change or remove what was recorded."""

from contextlib import contextmanager
from datetime import UTC, date, datetime
from decimal import Decimal
from uuid import UUID

import pytest
from django.apps import apps
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
    """Leave the records of a certificate, and what hangs on them."""
    material = factories.make_material(specification=factories.make_specification())
    certificate = factories.make_certificate(factories.make_sample(material=material))
    factories.make_drying_with_mass(technician)
    sieve = factories.make_sieve()
    attachments.attach_file(actor=keeper, equipment=sieve, name="sheet.txt", content=b"52.3 um")
    seals.seal_now(actor=signatory, occasion=seals.Occasion.ASKED)
    return certificate


def model_of(table):
    models = apps.get_models(include_auto_created=True)
    return next(model for model in models if model._meta.db_table == table)


def made_up(field, turn):
    """Give one of two different values that a column can hold."""
    kind = (field.target_field if field.is_relation else field).get_internal_type()
    if kind in {"CharField", "TextField", "EmailField"}:
        return "xy"[turn]
    return {
        "BooleanField": bool(turn),
        "DateTimeField": datetime(2020, 1, 1 + turn, tzinfo=UTC),
        "DateField": date(2020, 1, 1 + turn),
        "JSONField": {"turn": turn},
        "CanonicalJSONField": {"turn": turn},
        "BinaryField": bytes([turn]),
        "UUIDField": UUID(int=turn),
        "DecimalField": Decimal(turn + 1),
        "FloatField": float(turn + 1),
    }.get(kind, 987_654 + turn if field.primary_key or field.is_relation else turn + 1)


@contextmanager
def row_of(table):
    """Put one row into a table, whatever its checks and references ask for; then take it back."""
    model = model_of(table)
    fields = model._meta.local_concrete_fields
    with transaction.atomic(), connection.cursor() as cursor:
        without_checks(cursor, model)
        values = [field.get_db_prep_save(made_up(field, 0), connection) for field in fields]
        names = ", ".join(f'"{field.column}"' for field in fields)
        marks = ", ".join(["%s"] * len(fields))
        cursor.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", values)
        yield fields
        transaction.set_rollback(True)


def without_checks(cursor, model):
    if connection.vendor == "sqlite":
        cursor.execute("PRAGMA ignore_check_constraints = ON")
        return
    cursor.execute(
        "SELECT conname FROM pg_constraint WHERE contype = 'c' AND conrelid = %s::regclass",
        [model._meta.db_table],
    )
    for (name,) in cursor.fetchall():
        cursor.execute(f'ALTER TABLE {model._meta.db_table} DROP CONSTRAINT "{name}"')


@pytest.fixture
def with_checks(db):
    """Let SQLite mind its checks again after a test that put made-up rows in."""
    yield
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA ignore_check_constraints = OFF")


def may_change(table, column):
    return table in _guards.KEPT or column in _guards.SETTLED.get(table, ())


@pytest.mark.parametrize("table", [*_guards.APPEND_ONLY, *_guards.SETTLED, *_guards.KEPT])
def test_r53_no_column_changes_but_those_that_may_and_no_row_goes(table, with_checks):
    key = model_of(table)._meta.pk.column
    with row_of(table) as fields:
        for field in fields:
            other = field.get_db_prep_save(made_up(field, 1), connection)
            change = f'UPDATE {table} SET "{field.column}" = %s WHERE "{key}" = 987654'
            if may_change(table, field.column):
                with transaction.atomic():
                    if field.primary_key:
                        continue
                    assert execute(change, other) == 1
                    transaction.set_rollback(True)
                continue
            with pytest.raises(DatabaseError, match="append-only"):
                execute(change, other)
        with pytest.raises(DatabaseError, match="append-only"):
            execute(f"DELETE FROM {table}")


#: Why rows of these tables change, each change being told by the ledger.
CHANGES = {
    "balancelink": "how a balance speaks is set anew when it is replaced",
    "bench": "is named anew, or given up",
    "customer": "moves, and has new people; certificates keep what they printed",
    "equipment": "is used, checked, moved, taken out of service",
    "instrument": "its card is corrected",
    "laboratory": "its settings are its own",
    "material": "gets another procedure or specification",
    "nest": "is given up",
    "procedure": "its title is corrected",
    "procedureversion": "is drafted, proposed, released, retired",
    "referencelot": "is used up",
    "reportform": "is set anew; drafts freeze it",
    "run": "is weighed, handed over, returned, accepted",
    "runcheckpolicy": "how severe a check is, is the laboratory's own",
    "runimport": "tells how far it is",
    "sample": "goes from delivery to disposal",
    "secondfactor": "is confirmed and replaced, and counts the codes used",
    "sheetform": "is adapted to the table that it reads",
    "sieve": "its card is corrected",
    "source": "is named anew",
    "specification": "its title is corrected",
    "specificationversion": "is drafted, proposed, approved, ended",
    "study": "is a draft before it is kept",
    "testportion": "its moist mass and drying follow its division",
    "user": "has rights, a password and an end",
    "webhook": "is set anew, paused, rested",
}
#: Why rows of these tables may go.
GOES = {
    "procedureaperture": "the sizes of a draft are written anew",
    "specificationline": "the limits of a draft are written anew",
    "nestsieve": "is a part of a nest",
    "user_groups": "roles are given and taken; the ledger tells of both",
    "user_user_permissions": "is Django's own, and empty",
    "resultfigure": "is a copy of results, rebuilt at will",
    "benchplace": "is where the next reading of a balance goes",
    "signintally": "counts tries, for a while",
    "asktally": "counts questions, for a minute",
    "interfacekey": "an answer is kept for thirty days",
    "interfaceuse": "counts calls, for an hour",
}


def test_r53_every_table_is_guarded_or_says_why_it_changes():
    every = {
        model._meta.db_table
        for model in apps.get_app_config("gradation").get_models(include_auto_created=True)
    }
    of_a_certificate = {_guards.CERTIFICATE, *_guards.OF_A_CERTIFICATE}
    held = [_guards.APPEND_ONLY, _guards.ONLY_UP, _guards.SETTLED, _guards.KEPT, of_a_certificate]
    classed = [table for group in held for table in group]
    free = {f"gradation_{name}" for name in GOES}

    assert len(classed) == len(set(classed))
    assert every == {*classed, *free}, "say in _guards.py what may happen to its rows"
    assert not free & set(classed)
    assert {f"gradation_{name}" for name in CHANGES} == set(_guards.KEPT)


@pytest.mark.postgres_only
def test_r53_tables_of_the_record_cannot_be_emptied(records):
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
    alone = (*_guards.ONLY_UP, _guards.CERTIFICATE, *_guards.OF_A_CERTIFICATE)
    for table in (*_guards.APPEND_ONLY, *_guards.SETTLED, *_guards.KEPT, *alone):
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
    if column == "uncertainty_asked":
        return "NOT uncertainty_asked"
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
