"""The laboratory's signing key: a file outside the database, named by a setting.

Without one certificates are issued unsigned, and say so.
"""

from __future__ import annotations

import contextlib
import os
from functools import lru_cache
from pathlib import Path

from django.conf import settings

from gradation.documents.pdf_signature import KeyFault, SigningKey, key_from_pem, new_key_pem
from gradation.errors import Unavailable
from gradation.models import Laboratory
from gradation.services import clock

__all__ = ["laboratory_key", "make_key_once"]


def laboratory_key() -> SigningKey | None:
    """Give the key with which files are signed; None when the installation has none.

    Refuses (`Unavailable`) a key that cannot be read or whose certificate is out of date, so that
    no certificate is issued unsigned by mistake.
    """
    if not settings.SIGNING_KEY_FILE:
        return None
    file = Path(settings.SIGNING_KEY_FILE)
    try:
        changed = file.stat().st_mtime_ns
        key = _read(file, changed, settings.SIGNING_KEY_PASSPHRASE)
    except (OSError, KeyFault) as fault:
        msg = f"The signing key {file.name} cannot be used: {fault}. Tell who looks after it."
        raise Unavailable(msg, code="signing-key") from fault
    if key.expires_at < clock.now():
        msg = f"The certificate of the signing key ended on {key.expires_at:%d %b %Y}. Renew it."
        raise Unavailable(msg, code="signing-key-expired")
    return key


@lru_cache(maxsize=2)
def _read(file: Path, changed: int, passphrase: str) -> SigningKey:
    return key_from_pem(file.read_bytes(), passphrase.encode() or None)


def make_key_once(file: Path, laboratory: Laboratory) -> bool:
    """Make a key that signs its own certificate in the laboratory's name, unless a file is there.

    Only its owner may read the file. It is no record of the laboratory and has no ledger entry.
    """
    file.parent.mkdir(parents=True, exist_ok=True)
    with contextlib.suppress(FileExistsError):
        descriptor = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "wb") as out:
            out.write(new_key_pem(laboratory.name, clock.now()))
        return True
    return False
