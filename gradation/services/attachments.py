"""Attachments: photographs and certificates kept with an item or a check, never changed."""

from __future__ import annotations

from dataclasses import asdict

from django.db import transaction

from gradation.errors import Conflict, Invalid
from gradation.models import Attachment, Check, Equipment, User
from gradation.policy import Action, require
from gradation.services import clock, ledger
from gradation.services.checking import cleaned, locked
from gradation.services.file_scanner import refuse_malicious
from gradation.services.kept_files import judged_file

__all__ = ["attach_file"]


def attach_file(
    *, actor: User, equipment: Equipment, name: str, content: bytes, check: Check | None = None
) -> Attachment:
    """Keep a file with an item, or with one of its checks; equipment keepers may.

    Takes PDF, PNG, JPEG and plain text up to 10 MB. Refuses (`Invalid`, field `file`) other files,
    (`Conflict`) a file that the item has already. Ledger: file attached, with its digest.
    """
    require(actor, Action.KEEP_EQUIPMENT)
    given = judged_file(name, content)
    refuse_malicious(content)
    with transaction.atomic():
        item = locked(equipment)
        if check is not None and check.equipment_id != item.pk:
            msg = f"This check is not one of {item}."
            raise Invalid.one("check", msg, code="other-item")
        known = Attachment.objects.filter(equipment=item.pk, sha256=given.sha256).first()
        if known is not None:
            msg = f"{item} has this very file already, as {known.name}."
            raise Conflict(msg, code="attached-already")
        attachment = Attachment(
            equipment_id=item.pk,
            check_made=check,
            **asdict(given),
            added_at=clock.now(),
            added_by=actor,
        )
        cleaned(attachment).save(force_insert=True)
        ledger.write(actor=actor, action="file attached", subject=attachment)
    return attachment
