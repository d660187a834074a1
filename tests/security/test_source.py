"""What the source must never do, held against the source itself."""

import ast
import re
from pathlib import Path

import pytest

from gradation.web.forms.certificates import WithdrawForm
from gradation.web.forms.door import ChangePasswordForm, ConfirmForm, NewPasswordForm, SignInForm
from labsite.logs import LOGGING

ROOT = Path(__file__).resolve().parents[2]
SOURCE = [file for part in ("gradation", "labsite") for file in sorted((ROOT / part).rglob("*.py"))]
SCRIPTS = sorted((ROOT / "static/js").glob("*.js"))
INVENTORY = (ROOT / "docs/security.md").read_text(encoding="utf-8")
#: What runs a text, or whatever a text was made from.
RUNS = {"eval", "exec", "compile", "__import__"}
UNPACKS = {"pickle", "marshal", "shelve", "dill", "jsonpickle", "yaml"}
#: By which secrets are made, kept, signed or compared.
OF_SECRETS = {
    *("hmac", "secrets", "cryptography", "pyhanko"),
    *("salted_hmac", "signing", "default_token_generator", "set_signed_cookie"),
}


def trees():
    for file in SOURCE:
        yield file, ast.parse(file.read_text(encoding="utf-8"))


def imported(tree):
    """Name the modules and names that a file imports, by their first and last words."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for each in node.names:
                yield each.name.partition(".")[0]
        if isinstance(node, ast.ImportFrom) and not (node.module or "").startswith("gradation"):
            yield (node.module or "").partition(".")[0]
            yield from (each.name for each in node.names)


def libraries(tree):
    """Name the libraries that a file imports from."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (each.name.partition(".")[0] for each in node.names)
        if isinstance(node, ast.ImportFrom):
            yield (node.module or "").partition(".")[0]


def test_the_search_finds_the_source():
    assert len(SOURCE) > 300
    assert len(SCRIPTS) > 10


def test_nothing_runs_text_as_a_program():
    found = []
    for file, tree in trees():
        found += [(file.name, name) for name in UNPACKS & set(imported(tree))]
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call):
                continue
            name = node.func.id if isinstance(node.func, ast.Name) else ""
            shell = [word for word in node.keywords if word.arg == "shell"]
            place = ast.unparse(node.func)
            if name in RUNS or shell or place in {"os.system", "os.popen"}:
                found.append((file.name, place))
    assert found == []


def test_only_sound_algorithms_are_named():
    weak = re.compile(
        r"\b(md5|sha1|SHA1|MD5|md4|DES|TripleDES|ARC4|RC4|Blowfish|ECB|PKCS1v15|SECP192R1)\b"
    )
    named = {
        (file.name, word)
        for file in SOURCE
        if file.name != "test.py"  # the settings of this suite, whose passwords cost nothing
        for word in weak.findall(file.read_text(encoding="utf-8"))
    }
    hashes = {
        word
        for file in SOURCE
        for word in re.findall(r"hashlib\.(\w+)\(", file.read_text(encoding="utf-8"))
    }
    assert named == set()
    assert hashes == {"sha256", "file_digest"}  # each file_digest names sha256


def test_cryptography_is_that_of_known_libraries():
    used = {
        word
        for _, tree in trees()
        for word in libraries(tree)
        if word in {"hmac", "cryptography", "pyhanko", "Crypto", "nacl", "rsa", "ecdsa", "OpenSSL"}
    }
    assert used == {"hmac", "cryptography", "pyhanko"}


def test_chance_for_secrets_comes_from_the_system():
    drawn = [
        file.relative_to(ROOT).as_posix() for file, tree in trees() if "random" in imported(tree)
    ]
    # The demonstration's scenario draws its masses from numpy under a fixed seed.
    assert [name for name in drawn if not name.startswith("gradation/management/")] == []


def test_every_module_that_keeps_secrets_stands_in_the_inventory():
    keeping = {
        "/".join(file.parts[-2:])
        for file, tree in trees()
        if OF_SECRETS & (set(imported(tree)) | called(tree))
    }
    assert len(keeping) > 10
    assert sorted(name for name in keeping if f"{name}`" not in INVENTORY) == []


def called(tree):
    """Name the methods that a file calls."""
    return {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}


def test_no_certificate_goes_unchecked():
    unchecked = re.compile(
        r"CERT_NONE|_create_unverified|check_hostname *= *False|verify *= *False"
    )

    assert [file.name for file in SOURCE if unchecked.search(file.read_text("utf-8"))] == []


def test_the_log_goes_to_standard_error_and_nowhere_else():
    assert {each["class"] for each in LOGGING["handlers"].values()} == {"logging.StreamHandler"}
    assert LOGGING["handlers"].keys() == {"stderr"}
    assert all("logging.FileHandler" not in file.read_text("utf-8") for file in SOURCE)


def test_scripts_run_no_text_and_hear_no_other_window():
    never = re.compile(
        r"\beval\(|new Function\(|document\.write|insertAdjacentHTML|outerHTML *="
        r"|addEventListener\(\s*[\"']message|window\.onmessage|set(?:Timeout|Interval)\(\s*[\"']"
        r"|ActiveX|<applet|<embed|jsonp"
    )
    for script in SCRIPTS:
        text = script.read_text(encoding="utf-8")
        assert never.findall(text) == [], script.name


def test_scripts_merge_nothing_into_objects_by_given_names():
    for script in SCRIPTS:
        text = script.read_text(encoding="utf-8")
        assert not re.search(r"__proto__|\.constructor\b|\.prototype\b", text), script.name


def test_every_page_offers_signing_out():
    base = (ROOT / "templates/base.html").read_text(encoding="utf-8")
    form = re.search(r"{% if user.is_authenticated %}(.*?){% endif %}\s+</div>", base, re.DOTALL)

    assert "{% url 'web:sign-out' %}" in form[1]
    for page in sorted((ROOT / "templates/web").rglob("*_show.html")):
        assert '{% extends "' in page.read_text(encoding="utf-8"), page


@pytest.mark.parametrize(
    "form", [SignInForm, ConfirmForm, ChangePasswordForm, NewPasswordForm, WithdrawForm]
)
def test_password_fields_hide_what_is_typed_and_take_what_is_pasted(form):
    page = form().as_p()
    fields = re.findall(r"<input[^>]*autocomplete=\"(?:current|new)-password\"[^>]*>", page)

    assert fields
    assert all('type="password"' in field for field in fields)
    assert "onpaste" not in page
    assert all("paste" not in script.read_text(encoding="utf-8") for script in SCRIPTS)


def test_every_text_that_is_answered_names_its_character_set():
    sent = re.compile(r"content_type=\"(text/[^\"]+)\"")
    found = [kind for file in SOURCE for kind in sent.findall(file.read_text(encoding="utf-8"))]

    assert found
    assert [kind for kind in found if not kind.endswith("; charset=utf-8")] == []
