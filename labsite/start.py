"""What is looked at before the first request: the tables, and whether anybody has an account."""

import logging

import django
from django.db import DatabaseError, connections
from django.db.migrations.executor import MigrationExecutor

log = logging.getLogger("gradation.start")


def pending_migrations() -> list[str]:
    """List the changes of the tables that this program needs and the database has not had."""
    executor = MigrationExecutor(connections["default"])
    plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
    return [f"{migration.app_label}.{migration.name}" for migration, _ in plan]


def refuse_pending_migrations() -> None:
    """End the start with one sentence when the tables do not fit the program.

    A database that cannot be reached yet is no reason: `/health/ready` says so until it can.
    """
    django.setup()
    try:
        pending = pending_migrations()
    except DatabaseError as error:
        log.warning("the database does not answer yet: %s", error)
        return
    finally:
        connections.close_all()
    if pending:
        raise SystemExit(
            f"Gradation cannot start: the database lacks {len(pending)} changes of its tables, "
            f"first {pending[0]}. Run: python manage.py upgrade"
        )


def tell_set_up_code() -> None:
    """Print the one-time code with which the laboratory is set up, while nobody has an account."""
    from gradation.services.people import system_account
    from gradation.services.set_up import offer_code

    try:
        code = offer_code(actor=system_account())
    except DatabaseError as error:
        log.warning("no set-up code could be made: %s", error)
        return
    finally:
        connections.close_all()
    if code is not None:
        log.warning("Nobody has an account yet. Set the laboratory up with the code %s", code)
