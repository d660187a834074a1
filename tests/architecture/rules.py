"""House rules as functions from source text to the faults found in it.

Each takes text, not files, so that a test can show it a good and a bad sample.
"""

import ast
import csv
import io
import itertools
import re
from collections.abc import Iterator

LONGEST_FILE = 500
WRITE_CALLS = {
    "save", "create", "delete", "bulk_create", "bulk_update", "get_or_create", "update_or_create",
    "save_base", "executemany", "set_password", "acreate", "asave", "adelete", "aupdate",
}  # fmt: skip
WRITES_OF_A_QUERYSET = {"update", "execute"}  # also words of dicts: only a fault on a queryset
QUERYSET_WORDS = {"objects", "filter", "exclude", "all", "cursor", "select_for_update", "_set"}
SCIENCE_SECTIONS = ("Parameters", "Returns", "Raises", "Notes", "References", "Examples")
# Tools of the use-cases.
NOT_A_USE_CASE = {"ledger", "numbering", "clock", "checking", "results", "run_setup"} | {
    "bulk_rows",
    "row_cleaning",
    "check_evidence",
    "dry_mass_of_run",
    "observed",
    "sieve_sheet",
    "certificate_drafting",
    "certificate_facts",
    "certificate_gates",
    "logo_checks",
    "certificate_lots",
    "certificate_verdicts",
    "recomputing",
    "file_answers",
    "signing_keys",
    "signing_act",
    "signature_drafting",
    "asking",
    "certificate_tables",
    "certificate_values",
    "impact_content",
    "finding_records",
    "reading_checks",
    "blend_content",
    "answering",
    "study_content",
    "sheet_grid",
    "sheet_table",
    "sheet_kinds",
    "order_sheet_rows",
    "order_storing",
    "sample_writing",
    "specification_checks",
    "procedure_checks",
    "procedure_reading",
    "version_approval",
    "specification_reading",
    "drying_checks",
    "token_secrets",
    "balance_forms",
    "balance_judging",
    "long_work",
    "result_figures",
    "run_sheet_rows",
    "run_import_storing",
    "run_import_checks",
    "sheet_faults",
    "secret_keeping",
    "sign_in_tally",
    "factor_codes",
    "password_words",
    "archive_rows",
    "archive_sequences",
    "archive_snapshot",
    "archive_file",
    "archive_writing",
    "outbox",
    "outgoing",
    "delivering",
    "webhook_secrets",
    "interface_keys",
    "interface_calls",
    "kept_files",
    "file_scanner",
}
# The actor of last resort itself; questions and checks that write nothing.
WITHOUT_ACTOR = {"system_account", "needs_factor", "is_set_up"} | {
    "refuse_weak",
    "refuse_system",
    "refuse_taken_email",
    "make_reset_path",
    "dictionary_of",
}

Function = ast.FunctionDef | ast.AsyncFunctionDef


def write_calls(source: str) -> Iterator[str]:
    """Yield each call that writes to the database."""
    for node in ast.walk(ast.parse(source)):
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)):
            continue
        name = node.func.attr
        is_on_queryset = QUERYSET_WORDS & set(_words(node.func.value))
        if name in WRITE_CALLS or (name in WRITES_OF_A_QUERYSET and is_on_queryset):
            yield f"line {node.lineno}: .{name}()"


#: Ways to write rows, many-to-many ones too; of words that sets and dicts have as well, only those
#: asked of a manager or a queryset.
ROW_WRITES = {"save", "bulk_create", "bulk_update", "get_or_create", "update_or_create"}
ROW_WRITES_OF_A_MANAGER = {"create", "update", "delete", "add", "set", "remove", "clear"}
MANAGER_WORDS = QUERYSET_WORDS | {"groups", "runs", "user_permissions", "_default_manager"}


def row_writes(source: str) -> Iterator[str]:
    """Yield each call that writes rows, many-to-many ones too, outside the services."""
    for node in ast.walk(ast.parse(source)):
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)):
            continue
        name = node.func.attr
        asked = node.func.value
        of_manager = isinstance(asked, ast.Attribute | ast.Call) and MANAGER_WORDS & set(
            _words(asked)
        )
        if name in ROW_WRITES or (name in ROW_WRITES_OF_A_MANAGER and of_manager):
            yield f"line {node.lineno}: .{name}()"


def _words(expression: ast.expr) -> Iterator[str]:
    """Yield the attribute and variable names in an expression."""
    for node in ast.walk(expression):
        if isinstance(node, ast.Attribute):
            yield node.attr
        elif isinstance(node, ast.Name):
            yield node.id


def service_faults(source: str) -> Iterator[str]:
    """Yield what keeps a public function from being a use-case of the house's shape."""
    functions = {node.name: node for node in _functions(source)}
    for name, function in functions.items():
        if name.startswith("_") or name in WITHOUT_ACTOR:
            continue
        if function.args.args or function.args.posonlyargs or function.args.vararg:
            yield f"{name} takes arguments without their names"
        if "actor" not in {argument.arg for argument in function.args.kwonlyargs}:
            yield f"{name} does not say who acts (actor)"
        if not ast.get_docstring(function):
            yield f"{name} has no docstring"
        called = _called(function, functions)
        if "atomic" not in called:
            yield f"{name} opens no transaction"
        if "require" not in called:
            yield f"{name} asks no permission (require)"
        if not called & {"ledger", "write", "note_maintenance"}:
            yield f"{name} writes nothing in the ledger"


def _functions(source: str) -> list[Function]:
    return [node for node in ast.parse(source).body if isinstance(node, Function)]


def _called(function: Function, others: dict[str, Function]) -> set[str]:
    """Return all names in a function and in the functions of its module that it calls."""
    seen: set[str] = set()
    waiting = [function]
    while waiting:
        found = {
            node.attr if isinstance(node, ast.Attribute) else node.id
            for node in ast.walk(waiting.pop())
            if isinstance(node, ast.Attribute | ast.Name)
        }
        waiting += [others[name] for name in (found - seen) & others.keys()]
        seen |= found
    return seen


def science_docstring_faults(source: str) -> Iterator[str]:
    """Yield each section that a public function of science leaves out."""
    for function in _functions(source):
        if function.name.startswith("_"):
            continue
        headings = set(_headings(ast.get_docstring(function) or ""))
        takes_arguments = bool(function.args.args or function.args.kwonlyargs)
        wanted = SCIENCE_SECTIONS if takes_arguments else SCIENCE_SECTIONS[1:]
        missing = [section for section in wanted if section not in headings]
        if missing:
            yield f"{function.name} lacks {', '.join(missing)}"


def _headings(docstring: str) -> Iterator[str]:
    """Yield numpydoc headings: a line underlined with as many dashes."""
    lines = docstring.splitlines()
    for heading, underline in itertools.pairwise(lines):
        if heading.strip() and underline.strip() == "-" * len(heading.strip()):
            yield heading.strip()


def rows_without_source(table: str) -> Iterator[str]:
    """Yield the rows of a CSV table that do not say where they come from."""
    reader = csv.DictReader(io.StringIO(table))
    if "source" not in (reader.fieldnames or ()):
        yield "there is no column 'source'"
        return
    for row in reader:
        if not (row["source"] or "").strip():
            yield f"line {reader.line_num} has no source"


def length_fault(text: str) -> str:
    """Return a complaint about a file that nobody reads to the end, or nothing."""
    lines = text.count("\n")
    return f"{lines} lines, more than {LONGEST_FILE}" if lines > LONGEST_FILE else ""


# Places of one machine, and addresses of package indexes: neither belongs in the project.
FORBIDDEN = (
    re.compile(r"(?<![\w.\-])/(work|root|home/\w+|Users/\w+)/"),
    re.compile(r"(?<!\w)shared/"),
    re.compile(r"https?://[\w.\-]*(pypi|pythonhosted|registry\.npmjs)", re.IGNORECASE),
)
SECRETS = (
    re.compile(r"-----BEGIN [A-Z ]*PRIVATE KEY-----"),
    re.compile(r"\bAKIA[0-9A-Z]{16}\b"),
    re.compile(r"\bgh[pousr]_[A-Za-z0-9]{36}\b"),
    re.compile(r"SECRET_KEY\s*=\s*[\"'](?=[^\"' ]{30,}[\"'])"),
    re.compile(r"\b(postgres|postgresql|amqp|redis)://[^\s:@/$]+:(?!password@)[^\s@$]{3,}@"),
)


def forbidden_words(text: str) -> Iterator[str]:
    """Yield places and addresses that mean something on one machine only."""
    yield from _matches(text, FORBIDDEN)


def secrets_in(text: str) -> Iterator[str]:
    """Yield what looks like a key or a password."""
    yield from _matches(text, SECRETS)


def _matches(text: str, patterns: tuple[re.Pattern[str], ...]) -> Iterator[str]:
    for number, line in enumerate(text.splitlines(), start=1):
        for pattern in patterns:
            if found := pattern.search(line):
                yield f"line {number}: {found.group()}"


LIVE_CODE = ("services", "queries", "science", "policy", "documents", "charts", "web", "api")


def live_imports(source: str) -> Iterator[str]:
    """Yield imports by which a migration would change its meaning when the code changes."""
    for node in ast.walk(ast.parse(source)):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        for name in names:
            if name.startswith(tuple(f"gradation.{part}" for part in LIVE_CODE)):
                yield f"line {node.lineno}: {name}"


def lock_faults(text: str) -> Iterator[str]:
    """Yield what makes a lock file less than a lock: an address, or a line without a hash."""
    if "://" in text:
        yield "it records an address"
    for requirement in re.split(r"\n(?=[a-z0-9])", text.strip()):
        name = requirement.split("\n", 1)[0]
        if "==" not in name:
            yield f"not pinned: {name}"
        if "--hash=sha256:" not in requirement:
            yield f"without a hash: {name}"
