"""How a printing child and the one who asks speak: a head in JSON, then bytes as they are.

JSON both ways: whatever a hostile document did to the child, its answer is only data.
"""

import json
import struct
from collections.abc import Callable
from typing import Any

_LENGTHS = struct.Struct(">IQ")
MOST_BYTES = 256 * 1024 * 1024

Head = dict[str, Any]


class Broken(EOFError):
    """The other side went away in the middle of a message, or said what no message is."""


def packed(head: Head, body: bytes = b"") -> bytes:
    """Return a message as bytes."""
    text = json.dumps(head, ensure_ascii=False).encode()
    return _LENGTHS.pack(len(text), len(body)) + text + body


def unpacked(read: Callable[[int], bytes]) -> tuple[Head, bytes]:
    """Return the message that `read` gives, asked for exactly the bytes that are to come."""
    head_length, body_length = _LENGTHS.unpack(read(_LENGTHS.size))
    if head_length + body_length > MOST_BYTES:
        raise Broken("The message is larger than any document.")
    head = json.loads(read(head_length))
    if not isinstance(head, dict):
        raise Broken("The message has no head.")
    return head, read(body_length)
