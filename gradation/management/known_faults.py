"""Compares locked libraries with a list of known faults in the form of OSV.

Somebody brings the list: records, a folder of them, or the archive of an ecosystem. Which versions
a record touches is decided as its schema says (ossf.github.io/osv-schema, "Evaluation"); names are
compared by PEP 503, versions ordered by PEP 440. What cannot be judged is told, never left out.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zipfile import BadZipFile, ZipFile

from packaging.utils import canonicalize_name
from packaging.version import InvalidVersion, Version

__all__ = ["BrokenListError", "Fault", "Listed", "Part", "browser_parts", "compare", "locked_parts"]

PYTHON, BROWSER = "PyPI", "npm"
_PIN = re.compile(r"^([A-Za-z0-9._-]+)(?:\[[^\]]*\])?==([^\s;\\]+)", re.MULTILINE)
#: Where the bundled scripts of the browser say which version they are.
_BUNDLED = (
    ("htmx.org", "htmx.min.js", re.compile(r'version:"([\d.]+)"')),
    ("plotly.js", "plotly-basic.min.js", re.compile(r"^\* plotly\.js .* v([\d.]+)", re.MULTILINE)),
)
Record = dict[str, Any]


class BrokenListError(Exception):
    """A list that cannot be relied upon: it is no list, a part of one, or something else."""


@dataclass(frozen=True)
class Part:
    """One library as it is locked."""

    ecosystem: str
    name: str
    version: str

    def is_named(self, package: Record) -> bool:
        """Say whether a record speaks of this library."""
        if package["ecosystem"].partition(":")[0] != self.ecosystem:
            return False
        if self.ecosystem == PYTHON:
            return canonicalize_name(package["name"]) == canonicalize_name(self.name)
        return bool(package["name"] == self.name)


@dataclass(frozen=True)
class Fault:
    """What is known against a library: under which names, how grave, and since when mended."""

    part: Part
    names: tuple[str, ...]
    severity: str = ""
    mended: str = ""
    is_judged: bool = True

    def words(self) -> str:
        """Tell the fault in one line."""
        others = f" ({', '.join(self.names[1:])})" if self.names[1:] else ""
        judged = "" if self.is_judged else ", its versions cannot be ordered: read it"
        mended = f"mended in {self.mended}" if self.mended else "no mended version named"
        grave = f", {self.severity}" if self.severity else ""
        here = f"{self.part.name} {self.part.version}"
        return f"{here}: {self.names[0]}{others}{grave}, {mended}{judged}"


@dataclass
class Listed:
    """What a list held, and what of it touches the libraries here."""

    newest: datetime
    records: int = 0
    ecosystems: set[str] = field(default_factory=set)
    faults: list[Fault] = field(default_factory=list)


def locked_parts(text: str) -> list[Part]:
    """Read name and version of each library from a lock file."""
    return [Part(PYTHON, name, version) for name, version in _PIN.findall(text)]


def browser_parts(folder: Path) -> list[Part]:
    """Read the versions of the scripts that are bundled for the browser."""
    found = (
        (name, told.search((folder / file).read_text("utf-8"))) for name, file, told in _BUNDLED
    )
    return [Part(BROWSER, name, match[1]) for name, match in found if match]


def compare(parts: Iterable[Part], paths: Iterable[Path]) -> Listed:
    """Read every record and gather what touches a library; a broken list raises."""
    parts = list(parts)
    listed = Listed(datetime.min.replace(tzinfo=UTC))
    for path in paths:
        before = listed.records
        for name, text in _texts(path):
            _take(listed, parts, name, text)
        if listed.records == before:
            msg = f"{path} holds no record. Bring the whole list again."
            raise BrokenListError(msg)
    listed.faults.sort(key=lambda it: (it.part.name.lower(), it.names))
    return listed


def _texts(path: Path) -> Iterator[tuple[str, bytes]]:
    try:
        if path.is_dir():
            yield from ((str(file), file.read_bytes()) for file in sorted(path.rglob("*.json")))
        elif path.suffix == ".zip":
            with ZipFile(path) as archive:
                names = (name for name in archive.namelist() if name.endswith(".json"))
                yield from ((f"{path}: {name}", archive.read(name)) for name in names)
        else:
            yield str(path), path.read_bytes()
    except (OSError, BadZipFile) as error:
        msg = f"{path} cannot be read: {error}. Bring the whole list again."
        raise BrokenListError(msg) from error


def _take(listed: Listed, parts: list[Part], name: str, text: bytes) -> None:
    try:
        record = json.loads(text)
        modified = datetime.fromisoformat(record["modified"])
        faults = [] if record.get("withdrawn") else list(_faults(record, parts))
        for affected in record.get("affected", ()):
            listed.ecosystems.add(
                affected.get("package", {}).get("ecosystem", "").partition(":")[0]
            )
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        msg = (
            f"{name} is no record of a known fault as OSV writes them. Bring the whole list again."
        )
        raise BrokenListError(msg) from error
    listed.records += 1
    listed.newest = max(
        listed.newest, modified if modified.tzinfo else modified.replace(tzinfo=UTC)
    )
    for fault in faults:
        _add(listed.faults, fault)


def _add(faults: list[Fault], fault: Fault) -> None:
    """Keep one line for what two lists tell under different names."""
    for place, known in enumerate(faults):
        if known.part == fault.part and set(known.names) & set(fault.names):
            faults[place] = replace(
                known,
                names=tuple(dict.fromkeys((*known.names, *fault.names))),
                severity=known.severity or fault.severity,
                mended=_later(known.mended, fault.mended),
                is_judged=known.is_judged or fault.is_judged,
            )
            return
    faults.append(fault)


def _later(one: str, other: str) -> str:
    return max(filter(None, (one, other)), key=Version, default="")


def _faults(record: Record, parts: list[Part]) -> Iterator[Fault]:
    names = (record["id"], *record.get("aliases", ()))
    for affected in record.get("affected", ()):
        for part in parts:
            if "package" in affected and part.is_named(affected["package"]):
                touched, is_judged = _touches(part.version, affected)
                if touched:
                    mended = _mended(part.version, affected) if is_judged else ""
                    yield Fault(part, names, _severity(record, affected), mended, is_judged)


def _touches(version: str, affected: Record) -> tuple[bool, bool]:
    """Say whether a version is touched, and whether that could be judged."""
    if any(_is_same(version, other) for other in affected.get("versions", ())):
        return True, True
    try:
        here = Version(version)
        return any(_is_within(here, it["events"]) for it in _ranges(affected)), True
    except InvalidVersion:
        return True, False


def _ranges(affected: Record) -> list[Record]:
    # Ranges of commits say nothing about a released version; `versions` does then.
    return [it for it in affected.get("ranges", ()) if it["type"] != "GIT"]


def _is_same(version: str, other: str) -> bool:
    try:
        return Version(version) == Version(other)
    except InvalidVersion:
        return version == other


_ORDER = ("fixed", "introduced", "last_affected")


def _is_within(version: Version, events: list[dict[str, str]]) -> bool:
    limits = [event["limit"] for event in events if "limit" in event]
    if limits and not any(limit == "*" or version < Version(limit) for limit in limits):
        return False
    told = [(kind, event[kind]) for event in events for kind in _ORDER if kind in event]
    touched = False
    for kind, bound in sorted(told, key=lambda it: (_place(it[1]), _ORDER.index(it[0]))):
        if kind == "introduced" and (bound == "0" or version >= Version(bound)):
            touched = True
        elif (kind == "fixed" and version >= Version(bound)) or (
            kind == "last_affected" and version > Version(bound)
        ):
            touched = False
    return touched


def _place(bound: str) -> tuple[bool, Version]:
    """Put "0" before every version, as the schema says, also before what precedes a release."""
    return bound != "0", Version(bound)


def _mended(version: str, affected: Record) -> str:
    events = [event for it in _ranges(affected) for event in it["events"]]
    fixed = [event["fixed"] for event in events if "fixed" in event]
    try:
        later = [it for it in fixed if Version(it) > Version(version)]
        return min(later, key=Version, default="")
    except InvalidVersion:
        return ""


def _severity(record: Record, affected: Record) -> str:
    """Give the word of the list, else the score as it stands."""
    for it in (affected, record):
        word = it.get("database_specific", {}).get("severity")
        if isinstance(word, str):
            return word.lower()
    scores = [it["score"] for it in (*affected.get("severity", ()), *record.get("severity", ()))]
    return scores[0] if scores else ""
