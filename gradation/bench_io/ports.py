"""Ports of balances: opened, read, and opened again after a cable was pulled.

Serial, USB-serial and TCP alike, by the addresses of pySerial: /dev/ttyUSB0, COM3,
socket://192.0.2.7:4001, rfc2217://192.0.2.7:4001.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from threading import Event
from typing import Protocol

import serial

from gradation.bench_io.stream import LineStream

__all__ = ["OpenPort", "Port", "PortReader", "SerialSettings", "open_serial"]

_READ_S = 0.05
_READ_BYTES = 4096
_FIRST_PAUSE_S, _LONGEST_PAUSE_S = 0.2, 5.0
_PARITIES = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}


@dataclass(frozen=True)
class SerialSettings:
    """How bytes travel on the wire; a TCP socket has no need of it."""

    baud: int = 9600
    data_bits: int = 8
    parity: str = "none"
    stop_bits: int = 1


class Port(Protocol):
    """What is read from."""

    def read(self, size: int = ..., /) -> bytes:
        """Give the bytes that came within a moment, perhaps none."""

    def close(self) -> None:
        """Let go of it."""


OpenPort = Callable[[str, SerialSettings], Port]


def open_serial(url: str, settings: SerialSettings) -> Port:
    """Open a port for reading, alone where the system can see to that."""
    opened: Port = serial.serial_for_url(
        url,
        baudrate=settings.baud,
        bytesize=settings.data_bits,
        parity=_PARITIES[settings.parity],
        stopbits=settings.stop_bits,
        timeout=_READ_S,
        exclusive=True,
    )
    return opened


@dataclass
class PortReader:
    """Reads one port until told to stop. A port that is gone is opened again, later and later.

    `silent_s`: a balance that sends all the time and is silent for so long has lost its line, as a
    TCP connection does without a word.
    """

    url: str
    settings: SerialSettings
    on_lines: Callable[[list[str]], None]
    tell: Callable[..., None]
    open_port: OpenPort = open_serial
    streams: bool = False
    silent_s: float = 60.0

    def run(self, stop: Event) -> None:
        """Read until `stop` is set."""
        failures = 0
        while not stop.is_set():
            began_s = time.monotonic()
            try:
                self._read_one_opening(stop)
            except (OSError, ValueError) as error:  # SerialException is an OSError
                lasted_s = time.monotonic() - began_s
                failures = 0 if lasted_s > _LONGEST_PAUSE_S else failures + 1
                pause_s = min(_LONGEST_PAUSE_S, _FIRST_PAUSE_S * 2 ** min(failures, 8))
                self.tell("port gone", port=self.url, why=str(error), pause_s=pause_s)
                stop.wait(pause_s)

    def _read_one_opening(self, stop: Event) -> None:
        port = self.open_port(self.url, self.settings)
        try:
            self.tell("port open", port=self.url)
            self._read(port, stop)
        finally:
            port.close()

    def _read(self, port: Port, stop: Event) -> None:
        lines = LineStream(from_the_middle=self.streams)
        heard_s = time.monotonic()
        while not stop.is_set():
            data = port.read(_READ_BYTES)
            now_s = time.monotonic()
            if data:
                heard_s = now_s
            elif self.streams and now_s - heard_s > self.silent_s:
                msg = f"Nothing came for {self.silent_s:.0f} s from a balance that sends always."
                raise ConnectionError(msg)
            whole = list(lines.feed(data))
            if whole:
                self.on_lines(whole)
