#!/usr/bin/env python3
"""Command line of the site; `demo` and `test` first make the environment they need."""

import os
import sys

OLDEST_PYTHON = (3, 11)


def main() -> int:
    """Prepare the environment where the command asks for it, then hand over to Django."""
    if sys.version_info < OLDEST_PYTHON:
        found = ".".join(map(str, sys.version_info[:3]))
        print(
            f"Gradation needs Python 3.11 or newer; this is {found} ({sys.executable}). "
            "Start again with a newer one, for example: python3.11 manage.py demo",
            file=sys.stderr,
        )
        return 1
    if sys.argv[1:2] in (["demo"], ["test"]):
        from labsite import bootstrap

        bootstrap.main(sys.argv)
    if sys.argv[1:2] == ["bench_gateway"]:  # it knows no database, whatever this computer serves
        os.environ["DJANGO_SETTINGS_MODULE"] = "labsite.settings.gateway"
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labsite.settings.development")
    try:
        from django.core.management import execute_from_command_line
    except ImportError:
        print(
            f"Django is not installed for {sys.executable}. Run "
            "'python3 manage.py demo --no-serve' once, then use .venv/bin/python manage.py ...",
            file=sys.stderr,
        )
        return 1
    execute_from_command_line(sys.argv)
    return 0


if __name__ == "__main__":
    sys.exit(main())
