"""Watches every use-case at work: what it writes to the database, and what the ledger then says.

Every public use-case of `gradation.services`, found in the code, is wrapped once for the whole
suite. So each call that any test makes, through a page, the interface, a command or straight, is
held against the one rule: whatever rows a use-case writes, the ledger tells of them, once.
"""

import functools
import inspect
import re
import sys
from collections import Counter
from contextlib import contextmanager
from importlib import import_module
from pkgutil import iter_modules
from threading import local

from django.apps import apps
from django.db import connection

#: Written as a consequence: counters, heads and leaves of the ledger itself, copies rebuilt at
#: will, how often was tried or asked, the field of a bench where the next reading of a balance
#: goes, and what waits to be told to other systems of an entry.
MACHINERY = {
    *("gradation_ledgerentry", "gradation_chainhead", "gradation_counter"),
    *("gradation_sealedhead", "gradation_resultfigure"),
    *("gradation_signintally", "gradation_asktally", "gradation_benchplace"),
    *("gradation_announcement", "gradation_delivery", "gradation_deliverytry"),
}
#: Rows that are told with another thing, because they are a part of it.
TOLD_WITH = {
    "runsieve": {"run", "runimport"},
    "runinstrument": {"run", "runimport"},
    "runcheckfinding": {"run"},
    "runcheckanswer": {"runcheckanswer", "run"},
    "result": {"run"},
    "assessment": {"run"},
    "weighing": {"weighing", "run"},  # a table taken in tells its readings with each run
    "procedureaperture": {"procedureversion"},
    "specificationline": {"specificationversion"},
    "nestsieve": {"nest"},
    "issuebatchitem": {"issuebatch", "certificate"},
    "certificate_runs": {"certificate"},
    "certificate_further_samples": {"certificate"},
    "certificate_further_specifications": {"certificate"},
    "user_groups": {"user"},
    "recoverycode": {"secondfactor"},
    "equipment": {"equipment", "sieve", "instrument", "run", "check", "drying"},
}
#: Use-cases that mark a code as used: the sign-in or the signature that it was given for is told.
USES_A_CODE = {"sign_in.judge_code", "identity.confirm_identity"}
_WRITE = re.compile(r'\s*(INSERT(?: OR IGNORE)? INTO|UPDATE|DELETE FROM) "(gradation_\w+)"')
_SAVEPOINT = re.compile(r'(SAVEPOINT|ROLLBACK TO SAVEPOINT) "?(\w+)"?')
_state = local()
#: What was seen: (model, use-case) and how often.
cells = Counter()


def use_cases():
    """Find every public use-case in the code, by the name of its module and its own."""
    import gradation.services as package

    found = {}
    for info in iter_modules(package.__path__):
        module = import_module(f"gradation.services.{info.name}")
        for name, function in vars(module).items():
            is_own = getattr(function, "__module__", "") == module.__name__
            if name.startswith("_") or not is_own or not inspect.isfunction(function):
                continue
            parameter = inspect.signature(function).parameters.get("actor")
            if parameter is not None and parameter.kind is parameter.KEYWORD_ONLY:
                found[f"{info.name}.{name}"] = function
    return found


def watch_all():
    """Put a watch around every use-case, wherever it was imported to."""
    watched = {function: _watched(name, function) for name, function in use_cases().items()}
    for module in list(sys.modules.values()):
        if not getattr(module, "__name__", "").startswith(("gradation", "tests")):
            continue
        for name, value in list(vars(module).items()):
            if inspect.isfunction(value) and value in watched:
                setattr(module, name, watched[value])


def _watched(name, function):
    @functools.wraps(function)
    def inner(*args, **kwargs):
        if getattr(_state, "inside", False):
            return function(*args, **kwargs)
        _state.inside, written = True, []
        _state.savepoints = {}
        try:
            last = _last_entry()
            with (
                _forgetting(written),
                connection.execute_wrapper(functools.partial(_note, written)),
            ):
                answer = function(*args, **kwargs)
        finally:
            _state.inside = False
        if written:
            _hold_against_ledger(name, written, last)
        return answer

    return inner


@contextmanager
def _forgetting(written):
    """Forget what was written in a transaction that is taken back as a whole."""
    take_back = connection._rollback

    def forget():
        written.clear()
        return take_back()

    connection._rollback = forget
    try:
        yield
    finally:
        del connection._rollback


def _note(written, execute, sql, params, many, context):
    """Note a table that was written; what is rolled back to a savepoint was not written."""
    answer = execute(sql, params, many, context)
    at = _SAVEPOINT.match(sql)
    if at and at.group(1) == "SAVEPOINT":
        _state.savepoints[at.group(2)] = len(written)
    elif at:
        del written[_state.savepoints.get(at.group(2), len(written)) :]
    found = _WRITE.match(sql)
    # SQLite counts the rows of an INSERT that gives back its key only after they are fetched.
    if found and (found.group(1).startswith("INSERT") or context["cursor"].rowcount):
        written.append(found.group(2))
    return answer


def _last_entry():
    with connection.cursor() as cursor:
        cursor.execute("SELECT max(id) FROM gradation_ledgerentry")
        return cursor.fetchone()[0] or 0


def _entries_after(last):
    """Give thing, its key and act of every newer entry; asked for thousands of times."""
    columns = "subject_type, subject_id, action"
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {columns} FROM gradation_ledgerentry WHERE id > %s", [last])
        return cursor.fetchall()


def _hold_against_ledger(name, written, last):
    kinds = {table.removeprefix("gradation_") for table in written if table not in MACHINERY}
    if name in USES_A_CODE:
        kinds -= {"secondfactor", "recoverycode"}
    entries = _entries_after(last)
    told = Counter(kind for kind, _, _ in entries)
    untold = [kind for kind in sorted(kinds) if not told.keys() & TOLD_WITH.get(kind, {kind})]
    untold = [kind for kind in untold if not _is_base_of_told(kind, told)]
    assert not untold, f"{name} wrote {', '.join(untold)}, and the ledger tells nothing of it"
    acts = Counter(entries)
    twice = [act for act, times in acts.items() if times > 1]
    assert not twice, f"{name} told the same thing twice: {twice}"
    cells.update((kind, name) for kind in kinds)


def _is_base_of_told(kind, told):
    """Say whether a table belongs to a thing told under the name of its child or parent."""
    models = {
        model._meta.model_name: model for model in apps.get_app_config("gradation").get_models()
    }
    if kind not in models:
        return False
    kin = {parent._meta.model_name for parent in models[kind]._meta.get_parent_list()}
    kin |= {name for name, model in models.items() if issubclass(model, models[kind])}
    return bool(kin & told.keys())
