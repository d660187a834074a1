"""Our own code keeps the rules of the house."""

import subprocess
from functools import cache
from pathlib import Path

import pytest

from tests.architecture import rules

ROOT = Path(__file__).resolve().parents[2]
CODE = {".py", ".html", ".css", ".js", ".toml", ".yml"}
TEXT = CODE | {".md", ".csv", ".json", ".svg", ".txt", ".lock", ".cfg", ".ini", ".sh", ""}
NOT_OURS = ("static/vendor/", "var/", ".venv/", "staticfiles/")
SELF = "tests/architecture/"  # holds the bad samples


@cache
def our_files():
    """Return the project's files: what git would take, or in a bare copy everything there."""
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    names = listed.stdout.splitlines() if listed.returncode == 0 else _all_below_root()
    kept = [name for name in names if not name.startswith(NOT_OURS)]
    return [ROOT / name for name in sorted(set(kept)) if (ROOT / name).is_file()]


def _all_below_root():
    hidden = {".git", "__pycache__", ".pytest_cache", ".mypy_cache", ".ruff_cache", ".hypothesis"}
    paths = (path.relative_to(ROOT) for path in ROOT.rglob("*") if path.is_file())
    return [path.as_posix() for path in paths if not hidden & set(path.parts)]


def below(*folders, suffixes=(".py",)):
    return [
        file
        for file in our_files()
        if file.suffix in suffixes and _name(file).startswith(tuple(folders))
    ]


def _name(file):
    return file.relative_to(ROOT).as_posix()


def faults(files, rule):
    return [
        f"{_name(file)}: {fault}"
        for file in files
        for fault in rule(file.read_text(encoding="utf-8"))
    ]


def test_the_search_for_files_finds_the_project():
    names = {_name(file) for file in our_files()}

    assert {"manage.py", "labsite/wsgi.py", "gradation/apps.py"} <= names


def test_pages_and_interface_write_nothing_to_the_database():
    assert faults(below("gradation/web/", "gradation/api/"), rules.write_calls) == []


def test_r51_nothing_but_the_services_writes_to_the_database():
    # Science, documents, charts and drivers know no rows: the import contract keeps them from it.
    known = ("api", "errors", "models", "policy", "queries", "web", "apps", "checks")
    files = below(*(f"gradation/{name}" for name in known))

    assert len(files) > 100
    assert faults(files, rules.row_writes) == []


def test_every_use_case_names_its_actor_asks_permission_and_writes_the_ledger():
    modules = [
        file for file in below("gradation/services/") if file.stem not in rules.NOT_A_USE_CASE
    ]

    assert faults(modules, rules.service_faults) == []


def test_every_public_function_of_science_has_all_sections():
    assert faults(below("gradation/science/"), rules.science_docstring_faults) == []


def test_every_row_of_a_science_table_has_a_source():
    tables = below("gradation/science/data/", suffixes=(".csv",))

    assert tables
    assert faults(tables, rules.rows_without_source) == []


def test_no_file_is_longer_than_can_be_read():
    # The first migration is written by Django and grows with the models.
    files = [file for file in _files_of(CODE) if "gradation/migrations/" not in _name(file)]
    long = [(_name(file), rules.length_fault(file.read_text())) for file in files]

    assert [entry for entry in long if entry[1]] == []


def test_nothing_points_to_the_machine_it_was_written_on():
    files = [file for file in _files_of(TEXT) if not _name(file).startswith(SELF)]

    assert faults(files, rules.forbidden_words) == []


def test_no_secret_is_kept_in_the_project():
    files = [file for file in _files_of(TEXT) if not _name(file).startswith(SELF)]

    assert faults(files, rules.secrets_in) == []


def test_migrations_import_no_live_code():
    assert faults(below("gradation/migrations/"), rules.live_imports) == []


@pytest.mark.parametrize("lock", ["requirements.lock", "tests/requirements.lock"])
def test_lock_files_pin_by_hash_and_record_no_address(lock):
    assert faults([ROOT / lock], rules.lock_faults) == []


def _files_of(suffixes):
    return [file for file in our_files() if file.suffix in suffixes]
