"""From the first release's tables to those of the bench: what was there stays as it was."""

from datetime import UTC, datetime
from uuid import uuid4

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from gradation.migrations import _guards
from tests import tables

BEFORE = [("gradation", "0002_roles")]
AFTER = [("gradation", "0003_bench_work_and_charts")]
AT = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def migrate(target):
    _guards.lift(connection)  # as the command does: tables do not change under them
    executor = MigrationExecutor(connection)
    executor.migrate(target)
    return MigrationExecutor(connection).loader.project_state(target).apps


@pytest.fixture
def first_release(transactional_db, tmp_path):
    """Work in a database that has the first release's tables; give its models."""
    with tables.apart("0002", tmp_path):
        yield MigrationExecutor(connection).loader.project_state(BEFORE).apps


def make_run(apps):
    """Write one run with a reading straight into the old tables."""

    def row(noun, /, **values):
        return apps.get_model("gradation", noun).objects.create(**values)

    person = row("User", username="ilka", full_name="Ilka Vendrup")
    procedure = row("Procedure", code="GP-1", title="Dry sieving")
    version = row(
        "ProcedureVersion",
        procedure=procedure,
        version=1,
        standard_reference="ASTM C136/C136M",
        edition="2014",
        basis="initial_dry",
        loss_limit_pct="0.3",
        end_point="Shake ten minutes.",
    )
    sample = row(
        "Sample",
        number="26-0001",
        customer=row("Customer", name="Tarnholt Quarry"),
        material=row("Material", name="Washed sand"),
        procedure_version=version,
        received_at=AT,
        received_by=person,
        condition="dry",
    )
    portion = row(
        "TestPortion",
        sample=sample,
        label="26-0001-A",
        divided_how="riffle, 3 passes, left half",
        prepared_at=AT,
        prepared_by=person,
    )
    run = row(
        "Run",
        portion=portion,
        procedure_version=version,
        bench=row("Bench", name="Bench 1"),
        technician=person,
        opened_at=AT,
    )
    row(
        "Weighing",
        run=run,
        slot="dry mass",
        mass_g="512.40",
        entered_text="512,40",
        decimals=2,
        key=uuid4(),
        made_at=AT,
        made_by=person,
    )


def test_a_run_of_the_first_release_keeps_its_readings_and_counts(first_release):
    make_run(first_release)

    apps = migrate(AFTER)

    run = apps.get_model("gradation", "Run").objects.get()
    reading = apps.get_model("gradation", "Weighing").objects.get()
    portion = apps.get_model("gradation", "TestPortion").objects.get()
    version = apps.get_model("gradation", "ProcedureVersion").objects.get()
    assert (reading.entered_text, str(reading.mass_g)) == ("512,40", "512.4000")
    assert run.counts
    assert portion.divided_how == "riffle, 3 passes, left half"
    assert version.end_point == "Shake ten minutes."
    assert version.end_point_form == "not asked for"
