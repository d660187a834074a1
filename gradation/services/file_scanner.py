"""Files from outside are shown to a scanner for malicious content, where the installation has one.

It is spoken to as clamd is: `zINSTREAM`, the file in chunks with their length before them, and one
line of answer (clamd's manual page, INSTREAM). Nothing is kept of a file that it names.
"""

from __future__ import annotations

import contextlib
import logging
import socket
from collections.abc import Iterator

from django.conf import settings

from gradation.errors import Invalid, Unavailable

__all__ = ["refuse_malicious"]

#: A scanner that says nothing for so long [s] is as good as none.
PATIENCE_S = 20.0
_CHUNK_BYTES = 65_536
_MOST_ANSWER_BYTES = 4_096

_log = logging.getLogger("gradation.files")


def refuse_malicious(content: bytes, field: str = "file") -> None:
    """Refuse (`Invalid`) a file that the scanner calls malicious; without one, let it pass.

    Refuses (`Unavailable`) every file while the scanner that was named does not answer: what is
    not looked at is not taken.
    """
    if settings.SCANNER is None:
        return
    try:
        said = _said_by(settings.SCANNER, content)
    except OSError as error:
        _log.exception("the scanner for files does not answer")
        raise _no_answer() from error
    if said == "OK":
        return
    if said.endswith(" FOUND"):
        found = said.removesuffix(" FOUND")
        _log.warning("a file was refused: the scanner found %s", found)
        msg = f"The scanner found {found} in this file. It is not kept; tell who looks after it."
        raise Invalid.one(field, msg, code="malicious")
    _log.error("the scanner for files answers: %s", said)
    raise _no_answer()


def _said_by(place: str | tuple[str, int], content: bytes) -> str:
    """Send a file and give the verdict, without the name of the stream before it."""
    with _connected(place) as scanner:
        scanner.sendall(b"zINSTREAM\0")
        for start in range(0, len(content), _CHUNK_BYTES):
            chunk = content[start : start + _CHUNK_BYTES]
            scanner.sendall(len(chunk).to_bytes(4, "big") + chunk)
        scanner.sendall(bytes(4))
        answer = b""
        while not answer.endswith(b"\0") and len(answer) < _MOST_ANSWER_BYTES:
            more = scanner.recv(_MOST_ANSWER_BYTES)
            if not more:
                break
            answer += more
    return answer.rstrip(b"\0").decode("utf-8", "replace").removeprefix("stream: ").strip()


@contextlib.contextmanager
def _connected(place: str | tuple[str, int]) -> Iterator[socket.socket]:
    if isinstance(place, str):
        with socket.socket(socket.AF_UNIX) as scanner:
            scanner.settimeout(PATIENCE_S)
            scanner.connect(place)
            yield scanner
    else:
        with socket.create_connection(place, timeout=PATIENCE_S) as scanner:
            yield scanner


def _no_answer() -> Unavailable:
    msg = (
        "Files are scanned before they are kept, and the scanner does not answer. Try again later, "
        "or tell who looks after the installation. Nothing was kept."
    )
    return Unavailable(msg, code="scanner")
