"""The words of documents in other languages: what is to be said, what is said, and its compiling.

`python -m tests.catalogues` compiles every `gradation/locale/*/LC_MESSAGES/django.po` into the
`.mo` beside it, needs no gettext tools, and says what is missing.
"""

from __future__ import annotations

import ast
import re
import struct
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
LOCALE = ROOT / "gradation" / "locale"
LANGUAGES = ("de", "fr", "es")

_TEMPLATES = ("certificate.html", "parts/result_table.html", "parts/test_conditions.html")
_TRANSLATE = re.compile(r'{%\s*translate\s+"([^"]*)"(?:\s+context\s+"([^"]*)")?[^%]*%}')
_BLOCK = re.compile(r"{%\s*blocktranslate[^%]*%}(.*?){%\s*endblocktranslate\s*%}", re.DOTALL)
_VARIABLE = re.compile(r"{{\s*(\w+)\s*}}")
_CALLS = frozenset({"gettext", "gettext_noop", "_", "_noop"})
_IN_CODE = ("language.py", "charts", "documents", "queries", "services")
CONTEXT = "\x04"

Messages = dict[str, str]


def wanted() -> set[str]:
    """Return every message that a document may ask for."""
    return set(_of_templates()) | set(_of_code())


def _of_templates() -> Iterator[str]:
    for name in _TEMPLATES:
        text = (ROOT / "templates" / "documents" / name).read_text(encoding="utf-8")
        for message, context in _TRANSLATE.findall(text):
            said = message.replace("%", "%%")  # as the template tag asks for it
            yield f"{context}{CONTEXT}{said}" if context else said
        for block in _BLOCK.findall(text):
            yield _VARIABLE.sub(r"%(\1)s", block.replace("%", "%%"))


def _of_code() -> Iterator[str]:
    for part in _IN_CODE:
        place = ROOT / "gradation" / part
        files = [place] if place.is_file() else sorted(place.rglob("*.py"))
        for file in files:
            text = file.read_text(encoding="utf-8")
            if "django.utils.translation" in text:
                yield from _called(ast.parse(text))


def _called(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name):
            continue
        if node.func.id in _CALLS and node.args and isinstance(node.args[0], ast.Constant):
            yield str(node.args[0].value)


def catalogue(language: str) -> Path:
    """Return the file that a translator edits."""
    return LOCALE / language / "LC_MESSAGES" / "django.po"


def read(path: Path) -> Messages:
    """Return a catalogue's messages: what is to be said, and how it is said."""
    messages: Messages = {}
    for block in path.read_text(encoding="utf-8").split("\n\n"):
        parts = _parts(block)
        if "msgid" in parts:
            context = parts.get("msgctxt")
            key = f"{context}{CONTEXT}{parts['msgid']}" if context else parts["msgid"]
            messages[key] = parts.get("msgstr", "")
    return messages


def _parts(block: str) -> dict[str, str]:
    found: dict[str, str] = {}
    name = ""
    for line in block.splitlines():
        if line.startswith("#") or not line.strip():
            continue
        if not line.startswith('"'):
            name, _space, line = line.partition(" ")
        found[name] = found.get(name, "") + ast.literal_eval(line)
    return found


def compiled(messages: Messages) -> bytes:
    """Return the catalogue as gettext reads it (GNU gettext manual, 10.3): sorted, unhashed."""
    kept = sorted((key.encode(), text.encode()) for key, text in messages.items() if text)
    count = len(kept)
    keys_at, texts_at = 28, 28 + 8 * count
    place = 28 + 16 * count
    tables: list[list[int]] = []
    body = b""
    for side in (0, 1):
        table: list[int] = []
        for pair in kept:
            table += [len(pair[side]), place + len(body)]
            body += pair[side] + b"\x00"
        tables.append(table)
    head = struct.pack("<7I", 0x950412DE, 0, count, keys_at, texts_at, 0, place)
    return head + b"".join(struct.pack(f"<{2 * count}I", *table) for table in tables) + body


def main() -> None:
    """Compile every catalogue and say what it lacks."""
    for language in LANGUAGES:
        path = catalogue(language)
        messages = read(path)
        path.with_suffix(".mo").write_bytes(compiled(messages))
        missing = sorted(wanted() - {key for key, text in messages.items() if text})
        print(f"{language}: {len(messages) - 1} messages, {len(missing)} missing")
        for message in missing:
            print(f"  {message!r}")


if __name__ == "__main__":
    main()
