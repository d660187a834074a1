"""The checks of every change are called by one script, and the hooks call the same."""

import os
import subprocess
from pathlib import Path

import pytest
import yaml

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = ROOT / ".ci" / "run"
CHECKS = ["ruff check", "ruff format --check", "mypy", "lint-imports", "makemigrations --check"]


def test_the_script_can_be_run():
    assert os.access(SCRIPT, os.X_OK)
    assert subprocess.run(["sh", "-n", SCRIPT], check=False).returncode == 0


@pytest.mark.parametrize("check", [*CHECKS, "python3 manage.py test", "check --deploy"])
def test_the_script_makes_the_check(check):
    assert check in SCRIPT.read_text()


@pytest.mark.parametrize("check", CHECKS)
def test_a_hook_makes_the_check_before_each_commit(check):
    hooks = yaml.safe_load((ROOT / ".pre-commit-config.yaml").read_text())["repos"][0]["hooks"]

    assert any(check in hook["entry"] for hook in hooks)
