"""Tells other systems what the outbox holds; runs beside the server for as long as it does."""

from __future__ import annotations

import signal
import time
from threading import Event as Flag
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.db import close_old_connections, connections
from django.db.utils import OperationalError

from gradation.services.delivering import deliver_due
from gradation.services.interface_keys import forget_old_keys

_HOUR_S = 3600


class Command(BaseCommand):
    """Deliver webhooks until told to stop. Several may run; any may be killed at any moment."""

    help = "Deliver webhooks. Several may run side by side; any may be stopped at any moment."

    def add_arguments(self, parser: CommandParser) -> None:
        """Declare the options."""
        parser.add_argument("--once", action="store_true", help="Try what is due now, then end.")
        parser.add_argument("--every", type=float, default=2.0, help="Seconds between two looks.")

    def handle(self, *args: Any, **options: Any) -> None:
        """Try what is due, again and again."""
        if options["once"]:
            self._forget()
            self.stdout.write(f"{deliver_due()} tried.")
            return
        stop = Flag()
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: stop.set())
        self.stdout.write("Delivering. Stop with Ctrl+C.")
        forget_at = 0.0
        while not stop.is_set():
            self._look()
            if time.monotonic() >= forget_at:
                forget_at = time.monotonic() + _HOUR_S
                self._forget()
            stop.wait(options["every"])

    def _look(self) -> None:
        """Try what is due; a database that is away for a moment ends nothing."""
        close_old_connections()
        try:
            tried = deliver_due(limit=100)
        except OperationalError as error:
            self.stderr.write(f"The database did not answer ({error}). Trying again.")
        else:
            if tried:
                self.stdout.write(f"{tried} tried.")
        finally:
            connections.close_all()

    def _forget(self) -> None:
        """Forget old keys of requests of the interface; tomorrow will do as well."""
        try:
            forget_old_keys()
        except OperationalError as error:
            self.stderr.write(f"Old keys of requests stay for now ({error}).")
        finally:
            if not connections["default"].in_atomic_block:
                connections.close_all()
