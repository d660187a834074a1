"""Reads balances and sends what they weigh to the site; runs beside the balances, for ever."""

from __future__ import annotations

import json
import os
import signal
import stat
from argparse import ArgumentParser
from datetime import UTC, datetime
from pathlib import Path
from threading import Event, Lock
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from gradation.bench_io.gateway import Gateway
from gradation.bench_io.gateway_config import (
    ConfigFaults,
    GatewayConfig,
    parse_config,
    parse_toml,
)
from gradation.bench_io.http_transport import http_transport
from gradation.bench_io.journal import Journal, JournalTaken, State
from gradation.bench_io.lines import FORMS
from gradation.bench_io.own_form import OWN
from gradation.bench_io.sender import Answer, Transport

_ONE_BALANCE = ("balance", "bench", "port", "form", "pattern", "baud", "data_bits", "parity",
                "stop_bits")  # fmt: skip


class Command(BaseCommand):
    """Read balances over serial, USB-serial or TCP and send settled readings to their bench."""

    help = "Read balances and send their settled readings to the site; nothing is lost on the way."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take a file of settings, or one balance by options."""
        parser.add_argument("--config", help="TOML file with server, token_file and balances")
        parser.add_argument("--server", help="address of the site, https://lab.example.org")
        parser.add_argument("--token-file", help="file with the token, readable by its owner only")
        parser.add_argument("--journal", help="file that keeps what is not sent yet")
        parser.add_argument("--ca-file", help="certificate of the laboratory's own authority")
        parser.add_argument("--balance", help="serial number of one balance")
        parser.add_argument("--bench", help="bench that its readings go to")
        parser.add_argument("--port", help="/dev/ttyUSB0, COM3, socket://192.0.2.7:4001")
        parser.add_argument("--form", help="form of its lines; see --list-forms")
        parser.add_argument("--pattern", help="own line, with {number}, {unit}, {mark}")
        parser.add_argument("--streams", action="store_true", help="it sends all the time")
        parser.add_argument("--baud", type=int)
        parser.add_argument("--data-bits", type=int)
        parser.add_argument("--parity")
        parser.add_argument("--stop-bits", type=int)
        parser.add_argument("--list-forms", action="store_true", help="name the forms and stop")
        parser.add_argument("--show-journal", action="store_true", help="print what it holds, stop")
        parser.add_argument("--dry-run", action="store_true", help="print readings, send nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        """Do one of the three: name forms, show the journal, work."""
        self._lock = Lock()
        if options["list_forms"]:
            self._list_forms()
            return
        dry = options["dry_run"]
        config = _config(options, needs_server=not (dry or options["show_journal"]))
        journal = _journal(config, dry=dry)
        try:
            if options["show_journal"]:
                self._show(journal)
            else:
                self._work(config, journal, dry=dry)
        finally:
            journal.close()

    def _list_forms(self) -> None:
        for form in FORMS:
            self.stdout.write(f"{form.name:18} {form.words}")
        self.stdout.write(f"{OWN:18} your own line: --pattern 'N {{mark}} {{number}} {{unit}}'")

    def _show(self, journal: Journal) -> None:
        for state in State:
            self.stdout.write(f"{state.value}: {journal.count(state)}")
        for entry in [*journal.entries(State.REFUSED), *journal.entries(State.UNSENT)]:
            self.stdout.write(
                json.dumps(
                    [entry.state, entry.observed_at, entry.balance, entry.line, entry.answer]
                )
            )

    def _work(self, config: GatewayConfig, journal: Journal, *, dry: bool) -> None:
        stop = Event()
        for name in (signal.SIGTERM, signal.SIGINT):
            signal.signal(name, lambda *_: stop.set())
        transport = _pretended if dry else _transport(config)
        gateway = Gateway(config.balances, journal, transport, self.tell)
        self.tell("gateway started", balances=[plan.serial for plan in config.balances])
        gateway.run(stop)
        if gateway.is_broken:
            msg = "A reader broke; what was read before is in the journal. See the lines above."
            raise CommandError(msg)

    def tell(self, event: str, **facts: object) -> None:
        """Write one event as one line of JSON, whatever stands in it."""
        line = {"at": datetime.now(UTC).isoformat(timespec="milliseconds"), "event": event, **facts}
        with self._lock:
            self.stdout.write(json.dumps(line, default=str))
            self.stdout.flush()


def _config(options: dict[str, Any], *, needs_server: bool) -> GatewayConfig:
    given: dict[str, Any] = {}
    try:
        if options["config"]:
            given = parse_toml(Path(options["config"]).read_text(encoding="utf-8"))
        given |= {
            name: options[name]
            for name in ("server", "token_file", "journal", "ca_file")
            if options[name]
        }
        if options["port"]:
            given["balance"] = [_one_balance(options)]
        return parse_config(given, needs_server=needs_server)
    except ConfigFaults as error:
        raise CommandError(str(error)) from error
    except OSError as error:
        msg = f"The file of settings cannot be read: {error}."
        raise CommandError(msg) from error


def _one_balance(options: dict[str, Any]) -> dict[str, Any]:
    row = {name: options[name] for name in _ONE_BALANCE if options[name] is not None}
    row["serial"] = row.pop("balance", "")
    return row | {"streams": options["streams"]}


def _journal(config: GatewayConfig, *, dry: bool) -> Journal:
    if not dry and not config.journal:
        msg = "Name a journal, a file on this computer's own disk: journal = '...' or --journal."
        raise CommandError(msg)
    try:
        return Journal(":memory:" if dry else config.journal)
    except JournalTaken as error:
        raise CommandError(str(error)) from error


def _transport(config: GatewayConfig) -> Transport:
    try:
        return http_transport(config.server, _token(config), config.ca_file)
    except OSError as error:
        msg = f"The file of the authority {config.ca_file} cannot be read: {error}."
        raise CommandError(msg) from error


def _token(config: GatewayConfig) -> str:
    if not config.token_file:
        token = str(getattr(settings, "BENCH_TOKEN", ""))
        if not token:
            msg = "No token is given. Name a token_file, or set GRADATION_BENCH_TOKEN."
            raise CommandError(msg)
        return token
    path = Path(config.token_file)
    try:
        open_to_others = path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO)
        token = path.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError) as error:
        msg = f"The token's file cannot be read: {error}."
        raise CommandError(msg) from error
    if open_to_others and os.name == "posix":
        msg = f"Others on this computer may read {path}. Close it first: chmod 600 {path}"
        raise CommandError(msg)
    return token


def _pretended(bench: str, readings: list[dict[str, str]]) -> Answer:
    """Answer as if everything had been taken: a dry run sends nothing."""
    results = [{"key": one["key"], "outcome": "dry run"} for one in readings]
    return Answer(200, {"results": results})
