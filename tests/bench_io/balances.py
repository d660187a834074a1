"""Balances for tests: one on a pair of pseudo-terminals, one behind a TCP socket."""

import contextlib
import os
import socket
import threading
import tty


class PtyBalance:
    """A balance at the end of a serial cable; its port keeps its name when the cable is pulled."""

    def __init__(self, path):
        self.path = path
        self.master = None
        self.plug()

    def plug(self):
        """Connect the cable: a new pair of terminals under the same name."""
        self.master, slave = os.openpty()
        tty.setraw(slave)
        with contextlib.suppress(FileNotFoundError):
            self.path.unlink()
        self.path.symlink_to(os.ttyname(slave))
        self._slave = slave  # held open, so that the master does not see an early end

    def unplug(self):
        """Pull the cable."""
        for end in (self.master, self._slave):
            os.close(end)
        self.path.unlink()
        self.master = None

    def send(self, *lines, end=b"\r\n"):
        """Send whole lines."""
        for line in lines:
            self.send_bytes(line.encode() + end)

    def send_bytes(self, data):
        """Send bytes as they are."""
        while data:
            data = data[os.write(self.master, data) :]

    def close(self):
        """Pull the cable if it is in."""
        if self.master is not None:
            self.unplug()


class TcpBalance:
    """A balance behind a serial device server: one caller at a time."""

    def __init__(self):
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self.url = f"socket://127.0.0.1:{self.port}"
        self._caller = None
        self.called = threading.Event()
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self):
        with contextlib.suppress(OSError):
            while True:
                caller, _ = self._listener.accept()
                self._caller = caller
                self.called.set()

    def send(self, *lines, end=b"\r\n"):
        """Send whole lines."""
        self.send_bytes(b"".join(line.encode() + end for line in lines))

    def send_bytes(self, data):
        """Send bytes as they are, once somebody has called."""
        assert self.called.wait(10)
        self._caller.sendall(data)

    def hang_up(self):
        """End the call; the next caller is heard again."""
        self.called.clear()
        self._caller.shutdown(socket.SHUT_RDWR)
        self._caller.close()

    def close(self):
        """Listen no more."""
        self._listener.close()
        if self._caller is not None:
            self._caller.close()
