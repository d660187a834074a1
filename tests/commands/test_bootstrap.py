"""What the two start commands do before anything is installed."""

import ast
import os
import runpy
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from labsite.bootstrap import CannotGoOn, environment, postgres, suite, system

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def project(tmp_path):
    """A project whose lock file asks for nothing, so that no index is needed."""
    (tmp_path / "requirements.lock").write_text("# nothing\n")
    return tmp_path


def test_environment_is_made_once_and_renewed_when_the_lock_changes(project, capsys):
    python = environment.provide(project, ["requirements.lock"])
    first = capsys.readouterr().out
    environment.provide(project, ["requirements.lock"])
    second = capsys.readouterr().out
    (project / "requirements.lock").write_text("# nothing, but otherwise\n")
    environment.provide(project, ["requirements.lock"])
    third = capsys.readouterr().out

    assert python.exists()
    assert "Making the Python environment" in first
    assert "Installing the locked dependencies" in first
    assert second == ""
    assert "Making" not in third
    assert "Installing the locked dependencies" in third


def test_environment_whose_interpreter_is_gone_is_made_again(project):
    python = environment.provide(project, ["requirements.lock"])
    python.unlink()
    python.symlink_to("/nowhere/python")

    environment.provide(project, ["requirements.lock"])

    assert subprocess.run([python, "-c", "import pip"], check=False).returncode == 0


def test_a_lock_file_that_cannot_be_installed_ends_in_a_sentence(project):
    (project / "requirements.lock").write_text("no requirement at all !\n")

    with pytest.raises(CannotGoOn, match=r"requirements\.lock could not be installed.*said:"):
        environment.provide(project, ["requirements.lock"])


def test_without_rights_the_exact_line_to_type_is_given(monkeypatch):
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr("shutil.which", lambda name: f"/usr/bin/{name}")

    with pytest.raises(CannotGoOn) as refusal:
        system.provide_packages(["libpango-1.0-0"], purpose="to make PDFs", elsewhere="brew")

    assert "\n    sudo apt-get install --yes libpango-1.0-0\n" in str(refusal.value)


def test_nothing_missing_asks_for_nothing():
    system.provide_packages([], purpose="to make PDFs", elsewhere="brew")


def test_an_old_python_is_told_so_in_a_sentence(monkeypatch, capsys):
    monkeypatch.setattr(sys, "version_info", (3, 10, 4))
    monkeypatch.setattr(sys, "argv", ["manage.py", "demo"])

    with pytest.raises(SystemExit) as end:
        runpy.run_path(str(ROOT / "manage.py"), run_name="__main__")

    assert end.value.code == 1
    assert "Gradation needs Python 3.11 or newer; this is 3.10.4" in capsys.readouterr().err


def test_an_old_python_can_at_least_read_manage_py():
    ast.parse((ROOT / "manage.py").read_text(), feature_version=(3, 7))


def test_the_start_commands_import_the_standard_library_only():
    code = "import sys; sys.path.insert(0, '.'); import labsite.bootstrap"

    done = subprocess.run([sys.executable, "-I", "-S", "-c", code], cwd=ROOT, check=False)

    assert done.returncode == 0


def test_a_refusal_leaves_manage_py_without_a_traceback(project):
    for name in ("manage.py", "labsite"):
        (project / name).symlink_to(ROOT / name)
    code = textwrap.dedent("""
        import sys
        from labsite import bootstrap
        def refuse(**_): raise bootstrap.CannotGoOn("Type this line: x")
        bootstrap.system.provide_libraries = refuse
        bootstrap.main(["manage.py", "demo"])
    """)

    done = subprocess.run(
        [sys.executable, "-c", code], cwd=project, capture_output=True, text=True, check=False
    )

    assert done.returncode == 1
    assert done.stderr.strip() == "Type this line: x"


@pytest.mark.skipif(postgres.binaries() is None, reason="missing part: PostgreSQL")
def test_throwaway_cluster_is_gone_even_when_the_tests_fail():
    with pytest.raises(RuntimeError), postgres.throwaway_cluster() as cluster:  # noqa: PT012
        process = int((cluster.directory / "data" / "postmaster.pid").read_text().split()[0])
        raise RuntimeError

    assert not cluster.directory.exists()
    assert not _is_running(process)


def _is_running(process):
    state = Path(f"/proc/{process}/stat")
    return state.exists() and state.read_text().rsplit(")", 1)[1].split()[0] != "Z"


@pytest.mark.parametrize(
    ("arguments", "rest", "selection"),
    [
        (["-k", "loss"], ["-k", "loss"], ""),
        (["-x", "-m", "browser", "tests/web"], ["-x", "tests/web"], "browser"),
    ],
)
def test_a_selection_of_markers_is_taken_from_the_arguments(arguments, rest, selection):
    assert suite._take_selection(arguments) == (rest, selection)


@pytest.mark.parametrize(
    ("codes", "missing", "ci", "expected"),
    [
        ([0, 5, 0, 5], [], "true", 0),
        ([0, 5, 1, 5], [], "", 1),
        ([5, 5, 5, 5], [], "", 5),
        ([0, 5], ["PostgreSQL"], "", 0),
        ([0, 5], ["PostgreSQL"], "true", 1),
        ([2, 0], ["PostgreSQL"], "true", 2),
    ],
)
def test_the_exit_code_is_honest(monkeypatch, codes, missing, ci, expected):
    monkeypatch.setenv("CI", ci)

    assert suite._verdict(codes, missing, []) == expected


@pytest.mark.parametrize(("ci", "code"), [("", 0), ("true", 1)])
def test_a_skip_for_a_missing_part_is_named_and_fails_where_everything_must_be(tmp_path, ci, code):
    (tmp_path / "test_part.py").write_text(
        "import pytest\ndef test_part():\n    pytest.skip('missing part: a balance')\n"
    )

    done = subprocess.run(
        [
            *(sys.executable, "-m", "pytest", "-p", "tests.conftest", "-p", "no:cacheprovider"),
            *("-c", str(ROOT / "pyproject.toml"), f"--rootdir={ROOT}", str(tmp_path)),
        ],
        cwd=ROOT, capture_output=True, text=True, check=False,
        env={**_without_skips(), "CI": ci},
    )  # fmt: skip

    assert done.returncode == code, done.stdout
    assert "missing part: a balance" in done.stdout[-600:]


def _without_skips():
    return {key: value for key, value in os.environ.items() if key != "GRADATION_TEST_SKIPS"}
