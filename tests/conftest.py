"""What every test may ask for: databases, a browser, a PostgreSQL of its own.

A part that is missing on this machine is skipped by name; with CI=true it is a failure.
"""

import gc
import os
import shutil
from pathlib import Path

import pytest
from xdist.scheduler import LoadScopeScheduling

from labsite.bootstrap import postgres, system
from tests import tables

pytest_plugins = ["tests.fixtures_browser"]

DATABASE_FIXTURES = {"db", "transactional_db", "live_server", "django_db_reset_sequences"}
MISSING = "missing part: "
# What these files set up once takes longer than their tests: each goes to one process as a whole.
KEPT_TOGETHER = (
    "tests/browser/test_server_killed.py",
    "tests/commands/test_demo.py",
    "tests/commands/test_demo_scenario.py",
    "tests/deploy/test_production_server.py",
    "tests/published/test_nothing_left_out.py",
)
#: Files with single tests of ten seconds and more. They are handed out next, so that at the end no
#: process works on one of them alone; a name that is missing here costs time and nothing else.
BEGUN_EARLY = (
    "tests/migrations/test_bench_work.py",
    "tests/operations/test_backup.py",
    "tests/operations/test_upgrade.py",
    "tests/web/test_permissions.py",
    "tests/web/test_verification.py",
    "tests/commands/test_bench_gateway.py",
    "tests/commands/test_bootstrap.py",
    "tests/security/test_matrix.py",
    "tests/security/test_interface_matrix.py",
    "tests/documents/test_impact_report.py",
    "tests/services/test_impact.py",
    "tests/api/test_fuzzing.py",
    "tests/api/test_imports.py",
    "tests/browser/test_main_path.py",
)


class Spread(LoadScopeScheduling):
    """Hands out single tests, and before them the files that are kept together.

    The mark `xdist_group` is meant for this, but since pytest 9.2 it has no effect (pytest-xdist
    issue 1386): a test's name can no longer be changed to carry its group.
    """

    def _split_scope(self, nodeid):
        file = nodeid.partition("::")[0]
        return file if file in KEPT_TOGETHER else nodeid


@pytest.fixture(autouse=True)
def _nothing_kept_of_another_database(request):
    """Forget what is kept beside the database, where a test has one of its own."""
    if DATABASE_FIXTURES & set(request.fixturenames) or request.node.get_closest_marker(
        "django_db"
    ):
        from gradation.queries.settled import forget_settled
        from gradation.services.interface_calls import forget_counts

        forget_settled()
        forget_counts()


@pytest.fixture(scope="session")
def django_db_setup(django_test_environment, django_db_blocker, django_db_modify_db_settings):
    """Give each process of the run a database of its own, with tables copied from those kept.

    Stands in for the fixture of that name, which makes them migration by migration. `migrate` still
    runs, over tables that are there.
    """
    from django.db import connection
    from django.test.utils import setup_databases, teardown_databases

    create = connection.creation._create_test_db

    def create_with_tables(*args, **kwargs):
        name = create(*args, **kwargs)
        tables.put_into({**connection.settings_dict, "NAME": name})
        return name

    connection.creation._create_test_db = create_with_tables
    with django_db_blocker.unblock():
        known = setup_databases(verbosity=0, interactive=False, serialized_aliases=())
    yield
    with django_db_blocker.unblock():
        teardown_databases(known, verbosity=0)


@pytest.fixture(scope="session", autouse=True)
def _records_are_watched():
    """Watch every use-case; let the runner empty tables that the database keeps from it."""
    from tests.records.watching import watch_all
    from tests.tampering import let_tests_empty_tables

    let_tests_empty_tables()
    watch_all()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Spread the tests over the processes in the way of this house."""
    return Spread(config, log)


def pytest_collection():
    """Collect without looking for garbage: thousands of tests come into being, none goes."""
    gc.disable()


def pytest_collection_finish():
    """Look for garbage again, but no longer among what stays to the end."""
    gc.enable()
    gc.freeze()


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """Mark tests by what they touch, so that nobody has to remember to."""
    if os.environ.get("PYTEST_XDIST_WORKER"):
        items.sort(key=lambda item: not item.nodeid.startswith(BEGUN_EARLY))
    for item in items:
        fixtures = set(getattr(item, "fixturenames", ()))
        touches_database = item.get_closest_marker("django_db") or fixtures & DATABASE_FIXTURES
        if touches_database and not item.get_closest_marker("sqlite_only"):
            item.add_marker("database")
        if item.get_closest_marker("postgres_only") and not os.environ.get("TEST_DATABASE_URL"):
            item.add_marker(
                pytest.mark.skip(f"{MISSING}PostgreSQL (python3 manage.py test has it)")
            )
        folder = Path(item.path).parent.name
        if folder in {"load", "browser"}:
            item.add_marker(folder)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    """Turn a skip for a missing part into a failure where everything has to be there."""
    report = yield
    if report.skipped and MISSING in _reason(report) and os.environ.get("CI") == "true":
        report.outcome = "failed"
        report.longrepr = f"{_reason(report)} (CI=true: a missing part is a failure)"
    return report


def pytest_terminal_summary(terminalreporter):
    """Name what was skipped in the last lines, here and for the command that runs all passes."""
    lines = [f"{report.nodeid}: {_reason(report)}" for report in _skips(terminalreporter)]
    if not lines:
        return
    if kept := os.environ.get("GRADATION_TEST_SKIPS"):
        with Path(kept).open("a", encoding="utf-8") as file:
            file.writelines(f"{line}\n" for line in lines)
        return
    terminalreporter.section("not tested")
    for line in lines:
        terminalreporter.write_line(line)


def _skips(terminalreporter):
    reports = terminalreporter.stats.get("skipped", [])
    return [report for report in reports if not hasattr(report, "wasxfail")]


def _reason(report):
    if isinstance(report.longrepr, tuple):
        return str(report.longrepr[2]).removeprefix("Skipped: ")
    return str(report.longrepr)


@pytest.fixture(scope="session")
def postgres_url():
    """Return the address of an empty PostgreSQL database of this session's own."""
    if postgres.binaries() is None:
        pytest.skip(f"{MISSING}PostgreSQL")
    with postgres.throwaway_cluster() as cluster:
        yield cluster.url


@pytest.fixture(scope="session")
def pdftoppm():
    """Return the program that draws a PDF page as an image."""
    program = shutil.which("pdftoppm")
    if program is None:
        pytest.skip(f"{MISSING}pdftoppm (Debian package poppler-utils)")
    return program


@pytest.fixture(scope="session")
def pdf_libraries():
    """Skip by name where the libraries of WeasyPrint are not installed."""
    try:
        system.provide_libraries()
    except system.CannotGoOn:
        pytest.skip(f"{MISSING}Pango, which makes PDFs")
