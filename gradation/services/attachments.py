"""Attachments: photographs and certificates kept with an item or a check, never changed."""

from __future__ import annotations

import hashlib
from pathlib import PurePosixPath

from django.db import transaction

from gradation.errors import Conflict, Invalid
from gradation.models import Attachment, Check, Equipment, User
from gradation.policy import Action, require
from gradation.services import clock, ledger
from gradation.services.checking import cleaned, locked

__all__ = ["LARGEST_BYTES", "attach_file"]

LARGEST_BYTES = 10_000_000

#: What a file is, told by how it begins and not by its name.
_BEGINNINGS = (
    (b"%PDF-", "application/pdf"),
    (b"\x89PNG\r\n\x1a\n", "image/png"),
    (b"\xff\xd8\xff", "image/jpeg"),
)


def attach_file(
    *, actor: User, equipment: Equipment, name: str, content: bytes, check: Check | None = None
) -> Attachment:
    """Keep a file with an item, or with one of its checks; equipment keepers may.

    Takes PDF, PNG, JPEG and plain text up to 10 MB. Refuses (`Invalid`, field `file`) other files,
    (`Conflict`) a file that the item has already. Ledger: file attached, with its digest.
    """
    require(actor, Action.KEEP_EQUIPMENT)
    media_type = _media_type(content)
    digest = hashlib.sha256(content).hexdigest()
    with transaction.atomic():
        item = locked(equipment)
        if check is not None and check.equipment_id != item.pk:
            msg = f"This check is not one of {item}."
            raise Invalid.one("check", msg, code="other-item")
        known = Attachment.objects.filter(equipment=item.pk, sha256=digest).first()
        if known is not None:
            msg = f"{item} has this very file already, as {known.name}."
            raise Conflict(msg, code="attached-already")
        attachment = Attachment(
            equipment_id=item.pk,
            check_made=check,
            name=_plain_name(name),
            media_type=media_type,
            size=len(content),
            sha256=digest,
            file=content,
            added_at=clock.now(),
            added_by=actor,
        )
        cleaned(attachment).save(force_insert=True)
        ledger.write(actor=actor, action="file attached", subject=attachment)
    return attachment


def _media_type(content: bytes) -> str:
    if not content:
        raise Invalid.one("file", "The file is empty. Choose it again.", code="empty-file")
    if len(content) > LARGEST_BYTES:
        msg = f"The file has more than {LARGEST_BYTES // 1_000_000} MB. Save it smaller."
        raise Invalid.one("file", msg, code="too-large")
    for beginning, media_type in _BEGINNINGS:
        if content.startswith(beginning):
            return media_type
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError:
        text = "\x00"
    if any(ord(sign) < 32 and sign not in "\t\r\n" for sign in text):
        msg = "Only PDF, PNG, JPEG and plain text are kept. Save the file as one of them."
        raise Invalid.one("file", msg, code="unknown-kind")
    return "text/plain"


def _plain_name(name: str) -> str:
    """Keep the file's own name without folders and signs that nobody sees."""
    last = PurePosixPath(name.replace("\\", "/")).name
    shown = "".join(sign for sign in last if sign.isprintable()).strip()
    return (shown or "file")[-160:]
