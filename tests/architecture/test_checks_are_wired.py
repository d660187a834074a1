"""The checks of every change are called by one script, and the hooks call the same."""

import os
import subprocess
import tomllib
from pathlib import Path

import pytest
import yaml

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = ROOT / ".ci" / "run"
CHECKS = ["ruff check", "ruff format --check", "mypy", "lint-imports", "makemigrations --check"]


def test_the_script_can_be_run():
    assert os.access(SCRIPT, os.X_OK)
    assert subprocess.run(["sh", "-n", SCRIPT], check=False).returncode == 0


@pytest.mark.parametrize(
    "check", [*CHECKS, "python3 manage.py test", "check --deploy", "--cov-fail-under=100"]
)
def test_the_script_makes_the_check(check):
    assert check in SCRIPT.read_text()


@pytest.mark.parametrize("check", CHECKS)
def test_a_hook_makes_the_check_before_each_commit(check):
    hooks = yaml.safe_load((ROOT / ".pre-commit-config.yaml").read_text())["repos"][0]["hooks"]

    assert any(check in hook["entry"] for hook in hooks)


def test_no_comment_takes_a_line_of_the_science_out_of_its_coverage():
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["coverage"]

    assert settings["run"]["branch"] is True
    assert settings["report"]["exclude_lines"] == [r"^\s*if TYPE_CHECKING:"]
    assert settings["report"]["partial_branches"] == []
