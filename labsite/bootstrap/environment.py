"""The virtual environment: made once, renewed whenever a lock file changes."""

import contextlib
import hashlib
import importlib.util
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from labsite.bootstrap.refusal import CannotGoOn

VENV = ".venv"
LAST_LINES = 8


def provide(root: Path, locks: list[str]) -> Path:
    """Return the environment's Python, with everything in the lock files installed.

    Parameters
    ----------
    root : the project's directory
    locks : lock files relative to it; each is installed once per content
    """
    python = python_of(root)
    if not all(_is_installed(root, lock) for lock in locks) or not python.exists():
        with _one_at_a_time(root):
            _make(root)
            for lock in locks:
                if not _is_installed(root, lock):
                    _install(root, lock)
    return python


def python_of(root: Path) -> Path:
    """Return where the environment's interpreter is, or will be."""
    folder, name = ("Scripts", "python.exe") if sys.platform == "win32" else ("bin", "python")
    return root / VENV / folder / name


def is_running_in(root: Path) -> bool:
    """Tell whether this very process is the environment's interpreter."""
    return Path(sys.prefix).resolve() == (root / VENV).resolve()


def missing_packages(root: Path) -> list[str]:
    """Name the Debian package for making environments, where it is needed and not there.

    Debian ships Python without that part.
    """
    is_here = importlib.util.find_spec("venv") and importlib.util.find_spec("ensurepip")
    if is_here or python_of(root).exists():
        return []
    return [f"python{sys.version_info.major}.{sys.version_info.minor}-venv"]


@contextlib.contextmanager
def _one_at_a_time(root: Path) -> Iterator[None]:
    """Let a second start wait until the first has finished installing."""
    try:
        import fcntl
    except ImportError:  # Windows: the second start would only repeat work
        yield
        return
    (root / "var").mkdir(exist_ok=True)
    with (root / "var" / "environment.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _make(root: Path) -> None:
    """Make the environment unless a sound one is there."""
    python = python_of(root)
    if python.exists() and _is_sound(python):
        return
    print("Making the Python environment in .venv ...", flush=True)
    _run(
        [sys.executable, "-m", "venv", "--clear", str(root / VENV)],
        "The Python environment could not be made in .venv. Delete that directory and try again.",
    )


def _is_sound(python: Path) -> bool:
    """Tell whether the interpreter still starts; it does not after a system upgrade."""
    command = [str(python), "-c", "import pip, sys; sys.exit(sys.version_info < (3, 11))"]
    try:
        return subprocess.run(command, capture_output=True, check=False).returncode == 0
    except OSError:
        return False


def _install(root: Path, lock: str) -> None:
    """Install exactly what the lock file names; a file with another hash is refused."""
    print(f"Installing the locked dependencies of {lock} (a few minutes once) ...", flush=True)
    _run(
        [
            *(str(python_of(root)), "-m", "pip", "install", "--disable-pip-version-check"),
            *("--no-input", "--quiet", "--require-hashes", "--requirement", str(root / lock)),
        ],
        f"The dependencies in {lock} could not be installed. Is there a way to the package index?",
    )
    _stamp(root, lock).write_text(_digest(root, lock), encoding="ascii")


def _is_installed(root: Path, lock: str) -> bool:
    stamp = _stamp(root, lock)
    return stamp.exists() and stamp.read_text(encoding="ascii") == _digest(root, lock)


def _stamp(root: Path, lock: str) -> Path:
    return root / VENV / f"installed-{lock.replace('/', '-')}.sha256"


def _digest(root: Path, lock: str) -> str:
    return hashlib.sha256((root / lock).read_bytes()).hexdigest()


def _run(command: list[str], complaint: str) -> None:
    """Run a command; when it fails, give the complaint and the end of what it said."""
    done = subprocess.run(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False
    )
    if done.returncode:
        last = "\n".join(f"    {line}" for line in done.stdout.splitlines()[-LAST_LINES:])
        raise CannotGoOn(f"{complaint} It said:\n\n{last}\n")
