"""Files handed in to be kept: what they are is told by their bytes, never by their name."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import PurePosixPath

from gradation.errors import Invalid

__all__ = ["ENDINGS", "LARGEST_BYTES", "KeptFile", "judged_file", "kept_name"]

LARGEST_BYTES = 10_000_000

#: What a file is, told by how it begins and not by its name.
_BEGINNINGS = (
    (b"%PDF-", "application/pdf"),
    (b"\x89PNG\r\n\x1a\n", "image/png"),
    (b"\xff\xd8\xff", "image/jpeg"),
)

#: How a file of a kind may end; another ending is one a program might run.
ENDINGS = {
    "application/pdf": (".pdf",),
    "image/png": (".png",),
    "image/jpeg": (".jpg", ".jpeg"),
    "text/plain": (".txt", ".csv", ".tsv", ".log", ".md"),
}


@dataclass(frozen=True)
class KeptFile:
    """A file as it is kept: under the name, of the kind, with the digest."""

    name: str
    media_type: str
    size: int
    sha256: str
    file: bytes


def judged_file(name: str, content: bytes) -> KeptFile:
    """Take PDF, PNG, JPEG and plain text up to 10 MB; refuse others (`Invalid`, field `file`)."""
    media_type = _media_type(content)
    digest = hashlib.sha256(content).hexdigest()
    return KeptFile(kept_name(name, media_type), media_type, len(content), digest, content)


def _media_type(content: bytes) -> str:
    if not content:
        raise Invalid.one("file", "The file is empty. Choose it again.", code="empty-file")
    if len(content) > LARGEST_BYTES:
        msg = f"The file has more than {LARGEST_BYTES // 1_000_000} MB. Save it smaller."
        raise Invalid.one("file", msg, code="too-large")
    for beginning, media_type in _BEGINNINGS:
        if content.startswith(beginning):
            return media_type
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError:
        text = "\x00"
    if any(ord(sign) < 32 and sign not in "\t\r\n" for sign in text):
        msg = "Only PDF, PNG, JPEG and plain text are kept. Save the file as one of them."
        raise Invalid.one("file", msg, code="unknown-kind")
    return "text/plain"


def kept_name(name: str, media_type: str) -> str:
    """Keep the file's own name without folders and signs that nobody sees, with a fitting ending.

    >>> kept_name("scans/rim.png", "image/png"), kept_name("rim.html", "text/plain")
    ('rim.png', 'rim.html.txt')
    """
    last = PurePosixPath(name.replace("\\", "/")).name
    shown = "".join(sign for sign in last if sign.isprintable()).strip() or "file"
    fitting = ENDINGS[media_type]
    return shown[-160:] if shown.casefold().endswith(fitting) else shown[-150:] + fitting[0]
