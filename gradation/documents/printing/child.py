"""The program of a child: takes orders on its standard input until that ends.

`python -m gradation.documents.printing.child print|read`. It bounds its own memory and processor
time, opens no socket, starts no program and reads no file but those of its own libraries.
"""

import os
import resource
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, BinaryIO

from gradation.documents.printing import wire
from gradation.documents.printing.terms import (
    EmbeddedFile,
    NotBundled,
    NotPrinted,
    Order,
    TooMuch,
)

Work = Callable[[wire.Head, bytes], tuple[wire.Head, bytes]]

CPU_SECONDS = 20
MEMORY_BYTES = 1024 * 1024 * 1024  # of address space; warm it takes about a quarter
_NO_ACT = ("socket.", "subprocess.", "os.system", "os.exec", "os.posix_spawn", "os.fork", "ctypes.")
_WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT


def main() -> None:
    """Serve orders one after the other."""
    answers = os.fdopen(os.dup(1), "wb")  # nothing that a library prints gets between the answers
    os.dup2(2, 1)
    work = _printing() if sys.argv[1] == "print" else _reading()
    _shut_in()
    answers.write(wire.packed({"state": "ready"}))
    answers.flush()
    while (message := _next_order(sys.stdin.buffer)) is not None:
        _allow_time()
        answers.write(_answer(work, *message))
        answers.flush()


def _next_order(orders: BinaryIO) -> tuple[wire.Head, bytes] | None:
    def read(count: int) -> bytes:
        data = orders.read(count)
        if len(data) < count:
            raise wire.Broken
        return data

    try:
        return wire.unpacked(read)
    except wire.Broken:
        return None


def _printing() -> Work:
    from gradation.documents.printing.press import Press  # late: readers do without

    press = Press()
    press.print(Order('<html lang="en"><p>warm</p>'))
    return lambda head, body: ({}, press.print(_order(head, body)))


def _reading() -> Work:
    from gradation.documents.printing.reading import found_in  # late: printers do without

    return lambda head, body: ({"found": found_in(body)}, b"")


def _answer(work: Work, head: wire.Head, body: bytes) -> bytes:
    try:
        found, made = work(head, body)
    except NotBundled as refusal:
        return wire.packed({"state": "not bundled", "says": str(refusal)})
    except TooMuch as refusal:
        return wire.packed({"state": "too much", "says": str(refusal)})
    except NotPrinted as refusal:
        return wire.packed({"state": "not printed", "says": str(refusal)})
    except (MemoryError, RecursionError):
        os._exit(3)  # what is left of this process is not to be trusted with another document
    return wire.packed({"state": "done", **found}, made)


def _order(head: wire.Head, body: bytes) -> Order:
    return Order(
        html=body.decode(),
        page_css=head["page_css"],
        embedded=[EmbeddedFile(*each) for each in head["embedded"]],
        pictures=head["pictures"],
    )


def _allow_time() -> None:
    """Give the next order its processor time; the system ends this process when it is used up."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    limit = int(used.ru_utime + used.ru_stime) + CPU_SECONDS + 1
    hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
    resource.setrlimit(resource.RLIMIT_CPU, (limit, hard))


def _shut_in() -> None:
    """Take from this process what printing does not need."""
    guard = _guard(_own_folders())  # first: finding the folder of temporary files writes one
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    sys.addaudithook(guard)


def _own_folders() -> tuple[str, ...]:
    libraries = {sys.prefix, sys.base_prefix, str(Path(os.__file__).parent), *sys.path}
    resolved = {str(Path(folder).resolve()) for folder in libraries if folder}
    fonts = tempfile.gettempdir() + "/weasyprint"
    return (*(folder + "/" for folder in resolved | libraries if folder), fonts)


def _guard(folders: tuple[str, ...]) -> Callable[[str, tuple[Any, ...]], None]:
    """Make the hook that refuses sockets, programs, writing, and reading outside the libraries."""

    def refuse(event: str, given: tuple[Any, ...]) -> None:
        if event.startswith(_NO_ACT) and event not in {"ctypes.dlsym", "ctypes.cdata"}:
            raise PermissionError(f"A printing process does not {event}.")
        if event == "open" and not isinstance(given[0], int):
            _refuse_file(os.fsdecode(given[0]), given[2] or 0, folders)

    return refuse


def _refuse_file(path: str, flags: int, folders: tuple[str, ...]) -> None:
    if flags & _WRITES or not str(Path(path).absolute()).startswith(folders):
        raise PermissionError(f"A printing process does not open {path}.")


if __name__ == "__main__":
    main()
