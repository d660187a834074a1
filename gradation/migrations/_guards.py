"""The guards in the database itself: what was recorded can be added to, never changed or removed.

`install` may be called at any time and as often as one likes: by the migration that brought the
guards, and after every later one, because SQLite drops a table's triggers when Django rebuilds it.
It looks at the tables as they are, so it fits every stage of the migrations.
"""

from collections.abc import Iterator
from dataclasses import dataclass

#: Rows that are written once and for ever.
APPEND_ONLY = (
    "gradation_ledgerentry",
    "gradation_weighing",
    "gradation_dryingmass",
    "gradation_result",
    "gradation_assessment",
    "gradation_attachment",
    "gradation_seal",
    "gradation_sealedhead",
)
#: Counters and heads of chains: they only go up.
ONLY_UP = {"gradation_chainhead": "sequence", "gradation_counter": "last"}
#: Of an issued certificate; state and withdrawal may follow.
CERTIFICATE = "gradation_certificate"
FROZEN_AT_ISSUE = (
    *("id", "number", "sample_id", "remarks", "content", "pdf", "pdf_sha256"),
    *("verification_code", "drafted_at", "drafted_by_id", "issued_at", "issued_by_id"),
    *("issued_by_name", "meaning", "amends_id", "reason"),
)
CERTIFICATE_RUNS = "gradation_certificate_runs"

_SAYS = "{table} is append-only: what was recorded is never changed or removed"


@dataclass(frozen=True)
class Guard:
    """One trigger: on which table, before which act, under which condition it refuses."""

    table: str
    act: str
    when: str = ""

    @property
    def name(self) -> str:
        return f"{self.table}_no_{self.act.lower()}"


def guards(connection) -> list[Guard]:
    """Give the guards of the tables that exist, for the dialect of the connection."""
    with connection.cursor() as cursor:
        there = set(connection.introspection.table_names(cursor))
        columns = _columns(connection, cursor) if CERTIFICATE in there else set()
    acts = (
        ("UPDATE", "DELETE") if connection.vendor == "sqlite" else ("UPDATE", "DELETE", "TRUNCATE")
    )
    wanted = [Guard(table, act) for table in APPEND_ONLY for act in acts]
    for table, column in ONLY_UP.items():
        wanted.append(Guard(table, "UPDATE", f"NEW.{column} < OLD.{column}"))
        wanted += [Guard(table, act) for act in acts[1:]]
    if columns:
        wanted += _of_certificates(connection, columns, acts)
    if "gradation_seal" not in there:  # before the migration that brought the guards
        return []
    return [guard for guard in wanted if guard.table in there]


def _columns(connection, cursor) -> set[str]:
    described = connection.introspection.get_table_description(cursor, CERTIFICATE)
    return {column.name for column in described}


def _of_certificates(connection, columns, acts) -> Iterator[Guard]:
    differs = "IS NOT" if connection.vendor == "sqlite" else "IS DISTINCT FROM"
    frozen = [f"NEW.{name} {differs} OLD.{name}" for name in FROZEN_AT_ISSUE if name in columns]
    back = "NEW.state = 'draft' OR (OLD.state <> 'issued' AND NEW.state <> OLD.state)"
    issued = "OLD.state <> 'draft'"
    yield Guard(CERTIFICATE, "UPDATE", f"{issued} AND ({' OR '.join([*frozen, back])})")
    yield Guard(CERTIFICATE, "DELETE", issued)
    for act in ("INSERT", "UPDATE", "DELETE"):
        row = "NEW" if act == "INSERT" else "OLD"
        drafted = f"(SELECT state FROM {CERTIFICATE} WHERE id = {row}.certificate_id)"  # noqa: S608 - constants of this file
        yield Guard(CERTIFICATE_RUNS, act, f"{drafted} <> 'draft'")
    for act in acts[2:]:
        yield Guard(CERTIFICATE, act)
        yield Guard(CERTIFICATE_RUNS, act)


def install(connection) -> None:
    """Put every guard in its place; those that stand there are renewed."""
    wanted = guards(connection)
    with connection.cursor() as cursor:
        for guard in wanted:
            for statement in _statements(connection, guard):
                cursor.execute(statement)


def lift(connection) -> None:
    """Take every guard away: for going back before the migration that brought them."""
    with connection.cursor() as cursor:
        for guard in guards(connection):
            cursor.execute(_drop(connection, guard))


def missing(connection) -> list[str]:
    """Name the guards that should stand in the database and do not, or stand switched off."""
    with connection.cursor() as cursor:
        cursor.execute(_STANDING[connection.vendor])
        standing = {name for (name,) in cursor.fetchall()}
    return [guard.name for guard in guards(connection) if guard.name not in standing]


_STANDING = {
    "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
    "postgresql": "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'",
}


def _statements(connection, guard: Guard) -> Iterator[str]:
    yield _drop(connection, guard)
    says = _SAYS.format(table=guard.table)
    if connection.vendor == "sqlite":
        when = f"WHEN {guard.when} " if guard.when else ""
        yield (
            f"CREATE TRIGGER {guard.name} BEFORE {guard.act} ON {guard.table} FOR EACH ROW {when}"
            f"BEGIN SELECT RAISE(ABORT, '{says}'); END"
        )
        return
    refuses = f"RAISE EXCEPTION '{says}' USING ERRCODE = 'insufficient_privilege';"
    if guard.when and "SELECT" in guard.when:  # a trigger's WHEN holds no query
        refuses, when = f"IF {guard.when} THEN {refuses} END IF;", ""
    else:
        when = f"WHEN ({guard.when}) " if guard.when else ""
    given = "OLD" if guard.act == "DELETE" else "NEW"
    yield (
        f"CREATE OR REPLACE FUNCTION {guard.name}() RETURNS trigger LANGUAGE plpgsql AS "
        f"$guard$ BEGIN {refuses} RETURN {given}; END $guard$"
    )
    each = "STATEMENT" if guard.act == "TRUNCATE" else "ROW"
    yield (
        f"CREATE TRIGGER {guard.name} BEFORE {guard.act} ON {guard.table} "
        f"FOR EACH {each} {when}EXECUTE FUNCTION {guard.name}()"
    )


def _drop(connection, guard: Guard) -> str:
    on = "" if connection.vendor == "sqlite" else f" ON {guard.table}"
    return f"DROP TRIGGER IF EXISTS {guard.name}{on}"
