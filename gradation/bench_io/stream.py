"""Bytes from a port or a socket, cut into lines: whole ones only, whatever the pieces."""

from __future__ import annotations

import re
from collections.abc import Iterator

__all__ = ["LineStream"]

_ENDS = re.compile(rb"[\r\n]+")
_CONTROLS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")


class LineStream:
    """Collects bytes and gives whole lines; noise without an end is thrown away in time.

    With `from_the_middle` the first line is left out: a port that is opened while a balance sends
    gives the end of a line first, which may look like a smaller mass.
    """

    def __init__(self, longest: int = 200, *, from_the_middle: bool = False) -> None:
        self.longest = longest
        self._rest = b""
        self._is_skipping = from_the_middle

    def feed(self, data: bytes) -> Iterator[str]:
        """Give the lines that are whole now; what is left waits for its end."""
        *whole, self._rest = _ENDS.split(self._rest + data)
        for line in whole:
            if self._is_skipping:
                self._is_skipping = False
            elif line.strip():
                yield written(line)[: self.longest]
        if len(self._rest) > self.longest:
            self._rest, self._is_skipping = b"", True


def written(line: bytes) -> str:
    """Write a line so that nothing of it is lost: what is no letter or figure as its code."""
    text = line.decode("ascii", errors="backslashreplace")
    return _CONTROLS.sub(lambda sign: f"\\x{ord(sign[0]):02x}", text)
