"""What stands at the door: counts of tries, second factors, sessions, the first start."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q


class SignInTally(models.Model):
    """Tries under one key since the last that fitted: an account, a device, an address, a signer.

    The key is a keyed digest: what was typed as a name may have been a password.
    """

    key = models.CharField(max_length=80)
    tries = models.PositiveIntegerField(default=0, help_text="All, also those turned away.")
    judged = models.PositiveIntegerField(default=0, help_text="Those whose secret was looked at.")
    last_at = models.DateTimeField(null=True, blank=True)
    closed_until = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name_plural: ClassVar[str] = "sign-in tallies"
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["key"], name="signintally_key_unique"),
        ]

    def __str__(self) -> str:
        return self.key.partition("/")[0]


class SecondFactor(models.Model):
    """A person's generator of one-time codes (RFC 6238); its secret is kept encrypted."""

    person = models.OneToOneField(
        "gradation.User", on_delete=models.PROTECT, related_name="second_factor"
    )
    secret = models.CharField(max_length=240, help_text="Encrypted under the installation's key.")
    begun_at = models.DateTimeField()
    confirmed_at = models.DateTimeField(null=True, blank=True)
    last_step = models.BigIntegerField(
        default=-1, help_text="The time step of the newest code taken: no older one counts."
    )

    def __str__(self) -> str:
        return f"second factor of {self.person}"


class RecoveryCode(models.Model):
    """One code for the day the generator is lost; shown once, kept as a keyed digest."""

    person = models.ForeignKey(
        "gradation.User", on_delete=models.PROTECT, related_name="recovery_codes"
    )
    digest = models.CharField(max_length=64)
    made_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["person", "digest"], name="recoverycode_once"),
        ]

    def __str__(self) -> str:
        return f"recovery code of {self.person}"


class PersonSession(models.Model):
    """One browser in which a person signed in; the row stays when the session has ended."""

    person = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="sessions")
    session_key = models.CharField(max_length=40, blank=True)
    began_at = models.DateTimeField()
    address = models.CharField(max_length=64, blank=True)
    browser = models.CharField(max_length=200, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    end_reason = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        indexes: ClassVar[list[models.Index]] = [
            models.Index(fields=["session_key"], name="personsession_by_key"),
        ]

    def __str__(self) -> str:
        return f"session of {self.person}"


class SetUpCode(models.Model):
    """The one-time code of the first start: who has it enters the laboratory and its manager."""

    digest = models.CharField(max_length=64)
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(
                condition=Q(expires_at__gt=models.F("made_at")), name="setupcode_expires"
            ),
        ]

    def __str__(self) -> str:
        return f"set-up code of {self.made_at:%Y-%m-%d}"
