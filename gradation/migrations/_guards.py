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
    "gradation_dryingcontainer",
    "gradation_shaking",
    "gradation_runinstrument",
    "gradation_runcheckfinding",
    "gradation_runcheckanswer",
    "gradation_result",
    "gradation_assessment",
    "gradation_trailreview",
    "gradation_transcription",
    "gradation_scan",
    "gradation_papercomparison",
    "gradation_check",
    "gradation_tare",
    "gradation_attachment",
    "gradation_samplingrecord",
    "gradation_externalresult",
    "gradation_certificatesignature",
    "gradation_signingpolicy",
    "gradation_policyacceptance",
    "gradation_editiondecision",
    "gradation_impactdecision",
    "gradation_blendrecord",
    "gradation_maintenance",
    "gradation_announcement",
    "gradation_deliverytry",
    "gradation_seal",
    "gradation_sealedhead",
)
#: Counters and heads of chains: they only go up.
ONLY_UP = {"gradation_chainhead": "sequence", "gradation_counter": "last"}
#: Rows written once, of which these columns alone follow later: how it went on, or how it ended.
SETTLED = {
    "gradation_balancereading": (
        *("outcome", "code", "reason", "weighing_id", "drying_mass_id", "decided_at"),
        "decided_by_id",
    ),
    "gradation_chartnote": ("cause", "done", "answered_at", "answered_by_id"),
    "gradation_controlchart": ("closed_at", "closed_by_id", "closed_reason"),
    "gradation_frozenlimits": ("ended_at", "ended_by_id", "ended_reason"),
    "gradation_studyfollowup": ("cause", "done", "answered_at", "answered_by_id"),
    "gradation_samplehold": ("lifted_at", "lifted_by_id", "lift_reason"),
    "gradation_drying": ("container_g", "ended_at", "end_reason", "version"),
    "gradation_runsieve": ("in_use", "is_split"),
    "gradation_impactassessment": ("state", "conclusion", "closed_at", "closed_by_id"),
    "gradation_incident": ("closed_at", "closed_by_id", "cause", "correction"),
    "gradation_competence": ("withdrawn_on", "withdrawn_reason"),
    "gradation_certificatemail": ("state", "said", "tries", "sent_at"),
    "gradation_issuebatch": ("state", "done", "stop_asked", "beat_at", "ended_at"),
    "gradation_issuebatchitem": ("state", "named", "said"),
    "gradation_delivery": (*("state", "tries", "due_at", "claim", "claimed_until", "ended_at"),),
    "gradation_apitoken": ("last_used_at", "secret_digest", "revoked_at", "revoke_reason"),
    "gradation_personsession": ("session_key", "ended_at", "end_reason"),
    "gradation_recoverycode": ("used_at",),
    "gradation_setupcode": ("used_at",),
}
#: Rows that go on changing, each change in the ledger, and that are never removed.
KEPT = (
    "gradation_balancelink",
    "gradation_bench",
    "gradation_customer",
    "gradation_equipment",
    "gradation_instrument",
    "gradation_laboratory",
    "gradation_material",
    "gradation_nest",
    "gradation_procedure",
    "gradation_procedureversion",
    "gradation_referencelot",
    "gradation_reportform",
    "gradation_run",
    "gradation_runcheckpolicy",
    "gradation_runimport",
    "gradation_sample",
    "gradation_secondfactor",
    "gradation_sheetform",
    "gradation_sieve",
    "gradation_source",
    "gradation_specification",
    "gradation_specificationversion",
    "gradation_study",
    "gradation_testportion",
    "gradation_user",
    "gradation_webhook",
)
#: Of an issued certificate; state and withdrawal may follow.
CERTIFICATE = "gradation_certificate"
FROZEN_AT_ISSUE = (
    *("id", "number", "sample_id", "report_form_id", "uncertainty_asked", "remarks", "content"),
    *("pdf", "pdf_sha256", "verification_code", "drafted_at", "drafted_by_id", "issued_at"),
    *("issued_by_id", "issued_by_name", "meaning", "amends_id", "reason"),
)
#: What belongs to a certificate: it comes and goes with the draft, and stays once that is issued.
OF_A_CERTIFICATE = (
    "gradation_certificate_runs",
    "gradation_certificate_further_samples",
    "gradation_certificate_further_specifications",
    "gradation_certificateomission",
    "gradation_certificateopinion",
)

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
        columns = _columns(connection, cursor)
    if "gradation_seal" not in columns:  # before the migration that brought the guards
        return []
    removing = ("DELETE",) if connection.vendor == "sqlite" else ("DELETE", "TRUNCATE")
    differs = "IS NOT" if connection.vendor == "sqlite" else "IS DISTINCT FROM"
    wanted = [Guard(table, act) for table in APPEND_ONLY for act in ("UPDATE", *removing)]
    for table, column in ONLY_UP.items():
        wanted.append(Guard(table, "UPDATE", f"NEW.{column} < OLD.{column}"))
    for table, later in SETTLED.items():
        settled = sorted(columns.get(table, set()) - set(later))
        wanted.append(Guard(table, "UPDATE", _any_differs(settled, differs)))
    wanted += [Guard(table, act) for table in (*ONLY_UP, *SETTLED, *KEPT) for act in removing]
    wanted += _of_certificates(columns.get(CERTIFICATE, set()), removing, differs)
    return [guard for guard in wanted if guard.table in columns]


def _columns(connection, cursor) -> dict[str, set[str]]:
    """Give the columns of each table; Django's own introspection reads far more, and slowly."""
    cursor.execute(_COLUMNS[connection.vendor])
    columns: dict[str, set[str]] = {}
    for table, column in cursor.fetchall():
        columns.setdefault(table, set()).add(column)
    return columns


_COLUMNS = {
    "sqlite": (
        "SELECT m.name, c.name FROM sqlite_master m, pragma_table_info(m.name) c "
        "WHERE m.type = 'table'"
    ),
    "postgresql": (
        "SELECT table_name, column_name FROM information_schema.columns "
        "WHERE table_schema = current_schema()"
    ),
}


def _any_differs(columns, differs) -> str:
    return " OR ".join(f'NEW."{name}" {differs} OLD."{name}"' for name in columns)


def _of_certificates(columns, removing, differs) -> Iterator[Guard]:
    frozen = _any_differs([name for name in FROZEN_AT_ISSUE if name in columns], differs)
    back = "NEW.state = 'draft' OR (OLD.state <> 'issued' AND NEW.state <> OLD.state)"
    issued = "OLD.state <> 'draft'"
    yield Guard(CERTIFICATE, "UPDATE", f"{issued} AND ({frozen} OR {back})")
    yield Guard(CERTIFICATE, "DELETE", issued)
    for table in OF_A_CERTIFICATE:
        for act in ("INSERT", "UPDATE", "DELETE"):
            row = "NEW" if act == "INSERT" else "OLD"
            state = f"(SELECT state FROM {CERTIFICATE} WHERE id = {row}.certificate_id)"  # noqa: S608 - constants of this file
            yield Guard(table, act, f"{state} <> 'draft'")
    for table in (CERTIFICATE, *OF_A_CERTIFICATE):
        for act in removing[1:]:
            yield Guard(table, act)


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
