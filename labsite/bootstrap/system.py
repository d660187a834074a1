"""System libraries and programs: what is missing, and how this machine can have it."""

import ctypes
import os
import shutil
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from labsite.bootstrap.refusal import CannotGoOn


@dataclass(frozen=True)
class Library:
    """A shared library that WeasyPrint loads, and where to get it."""

    names: tuple[str, ...]
    package: str


# Measured on Debian 12: these bring all that WeasyPrint 70 needs, and without the last of them
# a certificate takes three times as long.
LIBRARIES = (
    Library(("libpango-1.0.so.0", "libpango-1.0.dylib"), "libpango-1.0-0"),
    Library(("libpangoft2-1.0.so.0", "libpangoft2-1.0.dylib"), "libpangoft2-1.0-0"),
    Library(("libharfbuzz-subset.so.0", "libharfbuzz-subset.dylib"), "libharfbuzz-subset0"),
)
HOMEBREW = Path("/opt/homebrew/lib")  # where Macs keep it, outside the loader's usual search


def provide_libraries(*, also: Iterable[str] = ()) -> None:
    """Install the libraries the certificate PDF needs, or say what to type.

    Parameters
    ----------
    also : further packages to ask for in the same line
    """
    provide_packages(
        [*(library.package for library in LIBRARIES if not _loads(library)), *also],
        purpose="to make the Python environment and certificate PDFs",
        elsewhere="brew install pango python",
    )


def _loads(library: Library) -> bool:
    """Try the library under each of its names."""
    return any(_opens(name) or _opens(str(HOMEBREW / name)) for name in library.names)


def _opens(name: str) -> bool:
    try:
        ctypes.CDLL(name)
    except OSError:
        return False
    return True


def provide_packages(packages: Iterable[str], *, purpose: str, elsewhere: str) -> None:
    """Install Debian packages when this may be done; otherwise stop with the line to type.

    Parameters
    ----------
    packages : names of Debian packages; none means nothing to do
    purpose : what they are needed for, as in "to make certificate PDFs"
    elsewhere : the line to type on a Mac
    """
    wanted = list(packages)
    if not wanted:
        return
    if not can_install():
        raise CannotGoOn(
            f"Missing on this machine, {purpose}: {', '.join(wanted)}.\n"
            f"Type this line, then start again:\n\n    {_line_to_type(wanted, elsewhere)}\n"
        )
    print(f"Installing {', '.join(wanted)} {purpose} (apt-get, as root) ...", flush=True)
    _apt_install(wanted)


def can_install() -> bool:
    """Tell whether this is root on Debian, Ubuntu or kin."""
    return is_root() and shutil.which("apt-get") is not None


def is_root() -> bool:
    """Tell whether this process has all rights."""
    return hasattr(os, "geteuid") and os.geteuid() == 0


def _line_to_type(packages: list[str], elsewhere: str) -> str:
    if sys.platform == "darwin":
        return elsewhere
    if shutil.which("apt-get"):
        return f"sudo apt-get install --yes {' '.join(packages)}"
    return f"(with your system's package manager) install what Debian calls: {' '.join(packages)}"


def _apt_install(packages: list[str]) -> None:
    """Install with the lists at hand; fetch newer lists when those are missing or stale."""
    install = ["apt-get", "install", "--yes", "--no-install-recommends", *packages]
    if _succeeds(install):
        return
    _succeeds(["apt-get", "update"])
    if not _succeeds(install):
        raise CannotGoOn(
            f"apt-get could not install {', '.join(packages)}. See what it says with:\n\n"
            f"    apt-get update && {' '.join(install)}\n"
        )


def _succeeds(command: list[str]) -> bool:
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    done = subprocess.run(command, env=environment, capture_output=True, check=False)
    return done.returncode == 0
