"""The database entry for settings, the same for every installation of its kind."""

import sqlite3
from pathlib import Path
from typing import Any

# SQLite's waiting writers poll, so that whoever is unlucky waits for many others: at 5 s one of
# eight writers gave up on a machine that was busy with ten other processes.
SQLITE_BUSY_TIMEOUT_S = 30
POSTGRES_KEPT_S = 60  # how long a thread keeps its connection between requests
POSTGRES_LOCK_TIMEOUT_S = 5
# Releases from which, within their series, a write-ahead log may be reset while another
# connection copies it (sqlite.org/wal.html#walresetbug). Series not named here are judged by
# the newest fix.
WAL_RESET_FIXED = {(3, 44): 6, (3, 50): 7, (3, 51): 3}


def wal_reset_is_safe(version: tuple[int, int, int]) -> bool:
    """Tell whether this SQLite resets its log without the fault of 3.7.0 to 3.51.2."""
    series = version[:2]
    if series in WAL_RESET_FIXED:
        return version[2] >= WAL_RESET_FIXED[series]
    return series > max(WAL_RESET_FIXED)


def sqlite_database(path: Path, version: tuple[int, int, int] | None = None) -> dict[str, Any]:
    """Return the settings of the embedded database.

    Immediate transactions make writers queue instead of failing halfway with "database is
    locked"; FULL syncs every commit, because these are records.

    A SQLite with the log-reset fault copies its log only when the last connection closes: that
    copy holds the whole file, so no other connection can be writing, and the fault needs one
    that does. Connections then close after every request, which is Django's default.
    """
    pragmas = ["journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"]
    if not wal_reset_is_safe(version or sqlite3.sqlite_version_info):
        pragmas.append("wal_autocheckpoint=0")
    return {
        "ENGINE": "django.db.backends.sqlite3",
        "NAME": str(path),
        "CONN_MAX_AGE": 0,
        "OPTIONS": {
            "transaction_mode": "IMMEDIATE",
            "timeout": SQLITE_BUSY_TIMEOUT_S,
            "init_command": " ".join(f"PRAGMA {pragma};" for pragma in pragmas),
        },
    }


def postgres_database(entry: dict[str, Any]) -> dict[str, Any]:
    """Complete an entry parsed from an address: connections are kept, and tried before use.

    Who waits for a lock gives up after a while and says so, instead of holding a thread for ever.
    """
    options = {"options": f"-c lock_timeout={POSTGRES_LOCK_TIMEOUT_S}s"}
    return {
        **entry,
        "CONN_MAX_AGE": POSTGRES_KEPT_S,
        "CONN_HEALTH_CHECKS": True,
        "OPTIONS": options | entry.get("OPTIONS", {}),
    }
