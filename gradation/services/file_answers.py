"""What the register says of a file that somebody got as a certificate.

The register decides, not the program that shows the file: a file is genuine when its digest is the
one that was kept at issue, whatever its own signature says.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from gradation.documents.printing import pool
from gradation.errors import NotFound, Unavailable
from gradation.queries.certificate_register import (
    Standing,
    answer_on_code,
    issued_file,
    standing_of_file,
)

__all__ = ["FileAnswer", "Likeness", "answer_on_file", "compared"]


class Likeness(StrEnum):
    """How a file compares with the one that was issued."""

    SAME = "authentic"
    CHANGED = "changed"
    APPENDED = "added to"
    CUT = "cut"
    UNSIGNED = "signature removed"
    OTHER = "another file"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class FileAnswer:
    """What the register says of a file: how it compares, with what, and what its signature says."""

    likeness: Likeness
    standing: Standing | None = None
    sha256: str = ""
    says: str = ""
    signature: str = ""


def answer_on_file(given: bytes, code: str = "") -> FileAnswer:
    """Say whether a file is one that was issued; where it is not, what is known of the difference.

    With a code it is held against that certificate, without one against all; `NotFound` for a code
    that none has. Reading an altered file happens in a process of its own.
    """
    asked = answer_on_code(code) if code else None
    sha256 = hashlib.sha256(given).hexdigest()
    standing = standing_of_file(sha256)
    if standing is not None:
        if asked is not None and asked.number != standing.number:
            says = (
                f"It is the unaltered file of certificate {standing.number}, not of {asked.number}."
            )
            return FileAnswer(Likeness.OTHER, asked, sha256, says)
        return FileAnswer(Likeness.SAME, standing, sha256)
    return _on_altered(given, sha256, asked)


def _on_altered(given: bytes, sha256: str, asked: Standing | None) -> FileAnswer:
    try:
        found = pool.read(given)
    except Unavailable:
        found = {"is_pdf": False, "data": "", "signature": "none", "signed_bytes": 0}
    standing = asked or _named_in(found["data"])
    if standing is None:
        says = "It is not a file of this laboratory, or so altered that nothing tells which it was."
        return FileAnswer(Likeness.UNKNOWN, None, sha256, says)
    issued = issued_file(standing.number)
    likeness, says = compared(issued, given, is_same_document=_is_of(found["data"], standing))
    return FileAnswer(likeness, standing, sha256, says, _signature_words(found, given, standing))


def _named_in(data: str) -> Standing | None:
    """Find the certificate that the data inside a file name by their code."""
    try:
        return answer_on_code(str(_data(data)["verification_code"]))
    except (NotFound, KeyError):
        return None


def _data(text: str) -> dict[str, Any]:
    try:
        data = json.loads(text)
    except ValueError:
        return {}
    return data if isinstance(data, dict) else {}


def _is_of(data: str, standing: Standing) -> bool:
    return _data(data).get("verification_code") == standing.code


def compared(issued: bytes, given: bytes, *, is_same_document: bool) -> tuple[Likeness, str]:
    """Tell two files that differ apart: what was done to the issued one to get the given one."""
    if given.startswith(issued):
        more = len(given) - len(issued)
        return Likeness.APPENDED, f"{more} bytes were added after the end of the issued file."
    if issued.startswith(given) and given:
        if _ends_as_pdf(given):
            says = "The laboratory's signature was removed; what is left stands in the issued file."
            return Likeness.UNSIGNED, says
        fewer = len(issued) - len(given)
        return Likeness.CUT, f"The last {fewer} bytes of the issued file are missing."
    if len(given) == len(issued):
        places = [at for at in range(len(given)) if given[at] != issued[at]]
        if len(places) < len(issued) // 2:
            count = "1 byte differs" if len(places) == 1 else f"{len(places)} bytes differ"
            return Likeness.CHANGED, f"{count} from the issued file, the first at {places[0]}."
    if is_same_document or given.startswith(issued[: len(issued) // 2]):
        return Likeness.CHANGED, "The file was changed and saved anew; it is not the issued one."
    return Likeness.OTHER, "It is another file; nothing in it comes from this certificate."


def _ends_as_pdf(given: bytes) -> bool:
    return given.rstrip().endswith(b"%%EOF")


def _signature_words(found: dict[str, Any], given: bytes, standing: Standing) -> str:
    """Say what the file's own signature says; it proves less than the register does."""
    if found["signature"] == "intact" and found["signed_bytes"] < len(given):
        return "Its signature is intact for what was signed; something was added to it afterwards."
    words = {
        "intact": "Its signature is intact, but it is not the laboratory's file.",
        "broken": "Its signature is broken.",
    }
    missing = "It bears no signature; the issued file does." if standing.is_signed else ""
    return words.get(found["signature"], missing)
