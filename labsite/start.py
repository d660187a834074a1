"""What is looked at before the first request: the tables, and whether anybody has an account."""

import logging

import django
from django.db import DatabaseError, connections
from django.db.migrations.executor import MigrationExecutor

from gradation.checks import missing_guards, stale_collation

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
        unguarded = [] if pending else missing_guards(connections["default"])
        stale = stale_collation(connections["default"])
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
    refuse_unguarded(unguarded)
    refuse_stale_collation(stale)


def refuse_unguarded(missing: list[str]) -> None:
    """End the start with one sentence when guards of the records do not stand in the database."""
    if missing:
        raise SystemExit(
            f"Gradation cannot start: the database lacks {len(missing)} of the guards that keep "
            f"records from being changed, first {missing[0]}. Run: python manage.py migrate"
        )


def refuse_stale_collation(change: str) -> None:
    """End the start with one sentence when the system sorts otherwise than the indexes do."""
    if change:
        name = connections["default"].settings_dict["NAME"]
        raise SystemExit(
            f"Gradation cannot start: the system under PostgreSQL changed how letters are sorted "
            f"(collation version {change}), so that indexes may let doubles in. As the owner run: "
            f'REINDEX DATABASE "{name}"; ALTER DATABASE "{name}" REFRESH COLLATION VERSION;'
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
