"""What a gateway is told: which balance hangs on which port, at which bench, in which form.

Read from a TOML file. Every fault is named at once, with where it stands.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

from gradation.bench_io.lines import LineForm, form_named
from gradation.bench_io.own_form import OWN, own_form
from gradation.bench_io.ports import SerialSettings
from gradation.bench_io.settling import Settling

__all__ = ["BalancePlan", "ConfigFaults", "GatewayConfig", "parse_config", "parse_toml"]

_LOOPBACK = frozenset({"localhost", "127.0.0.1", "::1"})
_TOP = {"server", "token_file", "journal", "ca_file", "balance"}
_BALANCE = {
    "serial", "bench", "port", "form", "pattern", "default_unit", "stable_marks", "unstable_marks",
    "streams", "baud", "data_bits", "parity", "stop_bits",
}  # fmt: skip


class ConfigFaults(ValueError):
    """What is wrong with the settings, a sentence for each."""

    def __init__(self, faults: list[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = faults


@dataclass(frozen=True)
class BalancePlan:
    """One balance: its serial number, the bench its readings go to, its port and its lines."""

    serial: str
    bench: str
    port: str
    form: LineForm
    settling: Settling = field(default_factory=Settling)
    serial_settings: SerialSettings = field(default_factory=SerialSettings)


@dataclass(frozen=True)
class GatewayConfig:
    """Everything a gateway needs to know but its token."""

    server: str
    journal: str
    balances: tuple[BalancePlan, ...]
    token_file: str = ""
    ca_file: str = ""


def parse_toml(text: str) -> dict[str, Any]:
    """Read a TOML file's text; a fault of its form is told with its line."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        msg = f"The file of settings is no TOML: {error}."
        raise ConfigFaults([msg]) from error


def parse_config(given: Mapping[str, Any], *, needs_server: bool = True) -> GatewayConfig:
    """Read what a gateway is told; refuse with every fault that it has."""
    faults = _strange(given, _TOP, "")
    server = str(given.get("server", ""))
    faults += _server_faults(server) if needs_server else []
    rows = given.get("balance", [])
    if not isinstance(rows, list) or not rows:
        faults.append("No balance is named. Give each a [[balance]] with serial, bench and port.")
        rows = []
    plans = []
    for place, row in enumerate(rows, start=1):
        try:
            plans.append(_plan(row, f"balance {place}"))
        except ConfigFaults as more:
            faults += more.faults
    faults += _twice([plan.serial for plan in plans], "Balance")
    faults += _twice([plan.port for plan in plans], "Port")
    if faults:
        raise ConfigFaults(faults)
    words = {name: str(given.get(name, "")) for name in ("token_file", "ca_file")}
    return GatewayConfig(server.rstrip("/"), str(given.get("journal", "")), tuple(plans), **words)


def _server_faults(server: str) -> list[str]:
    parts = urlsplit(server)
    if parts.scheme == "https" and parts.hostname:
        return []
    if parts.scheme == "http" and parts.hostname in _LOOPBACK:
        return []
    if not server:
        return ["No server is named. Give its address, such as https://lab.example.org."]
    return [
        f"'{server}' is no https:// address. The token could be read on its way; http:// is taken "
        "for this machine only."
    ]


def _plan(row: object, where: str) -> BalancePlan:
    if not isinstance(row, Mapping):
        raise ConfigFaults([f"{where}: is not a table of settings."])
    faults = _strange(row, _BALANCE, f"{where}: ")
    faults += [
        f"{where}: {name} is missing."
        for name in ("serial", "bench", "port", "form")
        if not str(row.get(name, "")).strip()
    ]
    faults += _serial_faults(row, where)
    if faults:
        raise ConfigFaults(faults)
    settings = SerialSettings(
        **{name: row[name] for name in ("baud", "data_bits", "parity", "stop_bits") if name in row}
    )
    return BalancePlan(
        serial=str(row["serial"]).strip(),
        bench=str(row["bench"]).strip(),
        port=str(row["port"]).strip(),
        form=_form(row, where),
        settling=Settling(streams=row.get("streams") is True),
        serial_settings=settings,
    )


def _form(row: Mapping[str, Any], where: str) -> LineForm:
    name = str(row["form"]).strip()
    try:
        if name != OWN:
            return form_named(name)
        return own_form(
            str(row.get("pattern", "")),
            default_unit=str(row.get("default_unit", "g")),
            stable_marks=[str(mark) for mark in row.get("stable_marks", [])],
            unstable_marks=[str(mark) for mark in row.get("unstable_marks", [])],
        )
    except (TypeError, ValueError) as error:
        raise ConfigFaults([f"{where}: {error}"]) from error


def _serial_faults(row: Mapping[str, Any], where: str) -> list[str]:
    offered: dict[str, tuple[object, ...]] = {
        "data_bits": (7, 8),
        "stop_bits": (1, 2),
        "parity": ("none", "even", "odd"),
        "streams": (True, False),
    }
    faults = [
        f"{where}: {name} is {row[name]!r}; it can be {' or '.join(map(str, values))}."
        for name, values in offered.items()
        if name in row and row[name] not in values
    ]
    baud = row.get("baud", 9600)
    if isinstance(baud, bool) or not isinstance(baud, int) or not 300 <= baud <= 921_600:
        faults.append(f"{where}: baud is {baud!r}; it is a whole number from 300 to 921600.")
    return faults


def _strange(given: Mapping[str, Any], known: set[str], where: str) -> list[str]:
    return [
        f"{where}'{name}' is no setting. There are: {', '.join(sorted(known))}."
        for name in given
        if name not in known
    ]


def _twice(names: list[str], what: str) -> list[str]:
    again = sorted({name for name in names if names.count(name) > 1})
    return [f"{what} {name} is named twice." for name in again]
