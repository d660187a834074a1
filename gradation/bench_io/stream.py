"""Bytes from a port or a socket, cut into lines: whole ones only, whatever the pieces."""

from __future__ import annotations

import re
from collections.abc import Iterator

__all__ = ["LineStream"]

_ENDS = re.compile(rb"[\r\n]+")


class LineStream:
    """Collects bytes and gives whole lines; noise without an end is thrown away in time."""

    def __init__(self, longest: int = 200) -> None:
        self.longest = longest
        self._rest = b""
        self._is_skipping = False

    def feed(self, data: bytes) -> Iterator[str]:
        """Give the lines that are whole now; what is left waits for its end."""
        *whole, self._rest = _ENDS.split(self._rest + data)
        for line in whole:
            if self._is_skipping:
                self._is_skipping = False
            elif line.strip():
                yield line[: self.longest].decode("ascii", errors="replace")
        if len(self._rest) > self.longest:
            self._rest, self._is_skipping = b"", True
