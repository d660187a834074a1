"""A pytest plugin that writes what `agrees` has asserted to a file, for the table."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

from tests.published.agreement import AGREEMENTS


def pytest_addoption(parser):
    """Take the name of the file."""
    parser.addoption("--agreements", metavar="FILE", help="write what was asserted to this file")


def pytest_sessionfinish(session):
    """Write every agreement of this run."""
    rows = [asdict(each) for each in AGREEMENTS]
    Path(session.config.getoption("--agreements")).write_text(json.dumps(rows), encoding="utf-8")
