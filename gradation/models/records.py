"""What proves the rest: counters without gaps, the ledger of every write, and its seals."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from gradation.models.fields import CanonicalJSONField


class Counter(models.Model):
    """The last number given out under a name; locked while the next is given."""

    name = models.CharField(max_length=40, primary_key=True)
    last = models.PositiveIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.name}: {self.last}"


class ChainHead(models.Model):
    """The newest ledger entry of one chain; locked while an entry is added to that chain."""

    chain = models.CharField(max_length=80, primary_key=True)
    sequence = models.PositiveIntegerField(default=0)
    digest = models.CharField(max_length=64, blank=True)

    def __str__(self) -> str:
        return f"{self.chain} #{self.sequence}"


class LedgerEntry(models.Model):
    """One write: who, when, what, before, after, why, from where; linked to the entry before it."""

    chain = models.CharField(max_length=80)
    sequence = models.PositiveIntegerField()
    at = models.DateTimeField()
    actor = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    actor_name = models.CharField(max_length=120)
    action = models.CharField(max_length=60)
    subject_type = models.CharField(max_length=40)
    subject_id = models.BigIntegerField()
    subject = models.CharField(max_length=80)
    before = CanonicalJSONField(null=True, encoder=DjangoJSONEncoder)
    after = CanonicalJSONField(null=True, encoder=DjangoJSONEncoder)
    reason = models.CharField(max_length=400, blank=True)
    door = models.CharField(max_length=16)
    address = models.CharField(max_length=64, blank=True)
    request_id = models.CharField(max_length=40, blank=True)
    previous_digest = models.CharField(max_length=64, blank=True)
    digest = models.CharField(max_length=64)

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        verbose_name_plural: ClassVar[str] = "ledger entries"
        indexes: ClassVar[list[models.Index]] = [
            models.Index(fields=["subject_type", "subject_id", "-id"], name="ledger_by_subject"),
            models.Index(fields=["actor", "-id"], name="ledger_by_actor"),
        ]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["chain", "sequence"], name="ledgerentry_in_order"),
        ]

    def __str__(self) -> str:
        return f"{self.chain} #{self.sequence} {self.action}"


class Seal(models.Model):
    """One seal over the records: the root of the tree of all heads of chains ever sealed.

    The tree only grows (RFC 6962): the leaves of an older seal are the first leaves of every later
    one. A copy of number, size and root kept outside the database is the anchor that shows a cut
    or rewritten history.
    """

    class Occasion(StrEnum):
        """Why the records were sealed."""

        DAILY = "daily"
        CERTIFICATE = "certificate"
        ASKED = "asked for"

    number = models.PositiveIntegerField()
    occasion = models.CharField(
        max_length=12, choices=[(each.value, each.value) for each in Occasion]
    )
    about = models.CharField(max_length=80, blank=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    size = models.PositiveBigIntegerField(help_text="Leaves of the tree, from the first seal on.")
    root = models.CharField(max_length=64)
    frontier = models.JSONField(help_text="Roots of the full subtrees, from which the tree grows.")

    class Meta:
        ordering: ClassVar[list[str]] = ["-number"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["number"], name="seal_number_unique"),
        ]

    def __str__(self) -> str:
        return f"seal {self.number}"


class SealedHead(models.Model):
    """One leaf of the tree: the head that a chain had when a seal was made."""

    seal = models.ForeignKey(Seal, on_delete=models.PROTECT, related_name="heads")
    place = models.PositiveBigIntegerField(help_text="Its place among all leaves, from 0.")
    chain = models.CharField(max_length=80)
    sequence = models.PositiveIntegerField()
    digest = models.CharField(max_length=64)

    class Meta:
        ordering: ClassVar[list[str]] = ["place"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["place"], name="sealedhead_place_unique"),
            models.UniqueConstraint(fields=["chain", "sequence"], name="sealedhead_once"),
        ]

    def __str__(self) -> str:
        return f"{self.chain} #{self.sequence}"
