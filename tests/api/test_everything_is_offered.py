"""What the screens can do, the interface can do: gaps are named here, each with its reason."""

import ast
import inspect
from pathlib import Path

from gradation.api import urls
from tests.architecture.rules import NOT_A_USE_CASE

SERVICES = Path("gradation/services")
#: Use-cases that no address of the interface calls, and why.
NOT_OFFERED = {
    # Signatures: a person's second act, with a password.
    "issue_certificate": "signing needs a person",
    "withdraw_certificate": "signing needs a person",
    "give_up_signature": "signing needs a person",
    "sign_draft": "signing needs a person",
    "finish_certificate": "goes with the signature, or a command of the server",
    "begin_batch": "signing needs a person",
    "do_batch": "signing needs a person",
    "stop_batch": "who signed stops it on the screen",
    "accept_policy": "accepting needs a person",
    "set_signing_policy": "people are bound on the screen",
    "retry_mail": "the log of messages is on the screen",
    "deliver_mail": "follows the asking",
    # Accounts and tokens: a token must not make itself another door.
    "add_person": "a password is given on the screen",
    "set_roles": "a token must not widen what it may",
    "deactivate_person": "people are kept on the screen",
    "create_token": "a token must not make tokens",
    "revoke_token": "a token must not revoke others",
    "set_up_laboratory": "before it, there is nobody whom a token could act for",
    # Commands of the server.
    "send_due_digest": "a command, by the clock",
    "look_at_charts": "runs with each review, and as a command",
    # Parts of the import of tables.
    "look_through": "look_in_background is its way through the interface",
    "take_in": "take_in_background is its way through the interface",
    "begin_look": "part of look_in_background",
    "begin_take_in": "part of take_in_background",
    "do_work": "what goes on in the background",
    # A person at a browser: passwords, codes, sessions, the first beginning.
    **dict.fromkeys(
        (
            *("ask_reset", "finish_reset", "open_password", "change_password", "change_email"),
            *("make_reset_path", "refuse_system", "refuse_taken_email", "refuse_weak"),
            *("begin_factor", "confirm_factor", "revoke_factor", "renew_recovery_codes"),
            *("needs_factor", "confirm_identity", "judge_code", "judge_password"),
            *("begin_session", "end_session", "end_this_session", "end_all_sessions"),
            "rename_session",
            *("begin_laboratory", "is_set_up", "offer_code", "note_refused"),
        ),
        "a person at a browser, never a token",
    ),
    # The installation: commands and the screen of who keeps it.
    **dict.fromkeys(
        (
            *("make_backup", "restore_backup", "note_maintenance", "try_mail"),
            *("seal_now", "send_seal", "record_incident", "close_incident"),
        ),
        "keeping the installation",
    ),
    # Parts of others.
    "add_procedure": "drafting the first version of a code adds the procedure",
    "add_specification": "drafting the first version of a code adds the specification",
    "prepare_portion": "one of prepare_portions",
    "system_account": "is no act",
}


def _use_cases():
    for file in SERVICES.glob("*.py"):
        if file.stem in NOT_A_USE_CASE:
            continue
        for node in ast.parse(file.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                yield node.name


def _called_by_the_interface():
    acts = {
        act.service.__name__
        for pattern in urls.urlpatterns
        for act in getattr(getattr(pattern.callback, "view_class", None), "does", {}).values()
    }
    modules = Path("gradation/api").rglob("*.py")
    words = {
        node.attr if isinstance(node, ast.Attribute) else node.id
        for file in modules
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute | ast.Name)
    }
    return acts | words


def test_every_use_case_is_offered_or_has_its_reason():
    missing = set(_use_cases()) - _called_by_the_interface()

    assert missing - set(NOT_OFFERED) == set()
    assert set(NOT_OFFERED) - missing == set()  # no reason that is no longer needed


def test_every_act_says_what_it_does_in_its_own_words():
    silent = [
        (pattern.name, method)
        for pattern in urls.urlpatterns
        for method, act in getattr(
            getattr(pattern.callback, "view_class", None), "does", {}
        ).items()
        if not inspect.getdoc(act.service)
    ]

    assert silent == []
