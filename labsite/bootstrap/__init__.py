"""Makes what `python3 manage.py demo` and `python3 manage.py test` need on a bare machine.

Nothing but the standard library is imported here: this runs before anything is installed.
Whatever cannot be had ends in one sentence that says what to type, never in a traceback.
"""

import os
import sys
from pathlib import Path

from labsite.bootstrap import environment, suite, system
from labsite.bootstrap.refusal import CannotGoOn

__all__ = ["CannotGoOn", "main"]

ROOT = Path(__file__).resolve().parents[2]


def main(argv: list[str]) -> None:
    """Prepare for `demo` and come back inside the environment; or run the whole of `test`."""
    try:
        if argv[1] == "test":
            sys.exit(suite.run(ROOT, argv[2:]))
        _prepare_demo(argv)
    except CannotGoOn as refusal:
        sys.exit(f"\n{refusal}")
    except KeyboardInterrupt:
        sys.exit("\nStopped.")


def _prepare_demo(argv: list[str]) -> None:
    """Return only when this process runs inside a complete environment."""
    system.provide_libraries(also=environment.missing_packages(ROOT))
    python = environment.provide(ROOT, ["requirements.lock"])
    if not environment.is_running_in(ROOT):
        sys.stdout.flush()
        os.execv(python, [str(python), *argv])  # noqa: S606 - our own interpreter, our own arguments
