"""What the interface remembers of its callers: answers under their keys, calls by the minute."""

from __future__ import annotations

from typing import ClassVar

from django.db import models


class InterfaceKey(models.Model):
    """One request that a caller marked with a key of its own, and the answer it was given.

    Written in the transaction of what the request did, so that there is never the one without the
    other. `caller` names a token or a person: nobody finds the keys of another.
    """

    caller = models.CharField(max_length=40, help_text="Such as 'token 12' or 'user 3'.")
    key = models.CharField(max_length=255)
    route = models.CharField(max_length=400, help_text="Method and address.")
    body_digest = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(default=0)
    headers = models.JSONField(default=dict)
    answer = models.TextField(blank=True)
    made_at = models.DateTimeField()

    class Meta:
        indexes: ClassVar[list[models.Index]] = [
            models.Index(fields=["made_at"], name="interfacekey_by_age"),
        ]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["caller", "key"], name="interfacekey_once"),
        ]

    def __str__(self) -> str:
        return f"{self.route} ({self.key})"


class InterfaceUse(models.Model):
    """How often one caller asked within one minute, counted over all worker processes."""

    caller = models.CharField(max_length=40)
    minute = models.BigIntegerField(help_text="Minutes since 1970, UTC.")
    calls = models.PositiveIntegerField(default=0)

    class Meta:
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["caller", "minute"], name="interfaceuse_once"),
        ]

    def __str__(self) -> str:
        return f"{self.caller}: {self.calls} in minute {self.minute}"
