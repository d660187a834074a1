"""Where secret keys come from, and which ones are refused."""

import os
import secrets
from pathlib import Path


def kept_secret_key(path: Path) -> str:
    """Return the key in the file, made at the first start and kept with the data.

    Made for this installation alone, so that no key is ever shipped with the code.
    """
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        _create_once(path, secrets.token_urlsafe(64))
    return path.read_text(encoding="ascii").strip()


def _create_once(path: Path, key: str) -> None:
    """Write the key for the owner's eyes only, unless another process was first."""
    draft = path.with_name(f"{path.name}.{os.getpid()}")
    descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w", encoding="ascii") as file:
        file.write(key)
    try:
        os.link(draft, path)
    except FileExistsError:
        pass
    finally:
        draft.unlink()
