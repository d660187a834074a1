"""What is done with certificates: signed, issued together, sent by e-mail, asked after."""

from __future__ import annotations

from datetime import datetime, timedelta
from enum import StrEnum
from typing import ClassVar

from django.db import models
from django.db.models import Q

from gradation.models.procedures import choices


class SigningPolicy(models.Model):
    """One version of what signatories bind themselves to (21 CFR 11.10(j)); never changed."""

    version = models.PositiveSmallIntegerField(unique=True)
    text = models.TextField()
    made_at = models.DateTimeField()
    made_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar[list[str]] = ["-version"]
        verbose_name_plural: ClassVar[str] = "signing policies"
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(condition=Q(text__gt=""), name="signingpolicy_has_text"),
        ]

    def __str__(self) -> str:
        return f"signing policy, version {self.version}"


class PolicyAcceptance(models.Model):
    """A person accepted one version of the signing policy."""

    policy = models.ForeignKey(SigningPolicy, on_delete=models.PROTECT, related_name="acceptances")
    person = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    accepted_at = models.DateTimeField()

    class Meta:
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["policy", "person"], name="policyacceptance_once"),
        ]

    def __str__(self) -> str:
        return f"{self.person} accepts {self.policy}"


class CertificateSignature(models.Model):
    """The electronic signature under a certificate: who, when, meaning what, bound to what it says.

    It gives the number and freezes the content; the file is drawn from it afterwards, outside any
    lock. It never changes. A signature whose certificate is still a draft waits for its file.
    """

    certificate = models.OneToOneField(
        "gradation.Certificate", on_delete=models.PROTECT, related_name="signature"
    )
    number = models.CharField(max_length=20, unique=True)
    verification_code = models.CharField(max_length=40, unique=True)
    person = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    person_name = models.CharField(max_length=120)
    meaning = models.CharField(max_length=160)
    policy_version = models.PositiveSmallIntegerField(null=True, blank=True)
    signed_at = models.DateTimeField()
    content = models.JSONField()
    content_sha256 = models.CharField(max_length=64)
    digest = models.CharField(max_length=64, help_text="Binds all of the above to one another.")

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(
                condition=Q(meaning__gt="", person_name__gt=""),
                name="certificatesignature_says_who_and_what",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}, signed by {self.person_name}"


class IssueBatch(models.Model):
    """Several drafts signed and issued one after the other under one signature of a person."""

    class State(StrEnum):
        """How far it is."""

        RUNNING = "running"
        DONE = "done"
        STOPPED = "stopped"

    #: Work without a sign of life for so long is taken to have ended with its server.
    SILENT_AFTER: ClassVar[timedelta] = timedelta(seconds=120)

    state = models.CharField(max_length=10, choices=choices(State), default=State.RUNNING.value)
    meaning = models.CharField(max_length=160)
    sends_mail = models.BooleanField(default=False)
    done = models.PositiveIntegerField(default=0)
    stop_asked = models.BooleanField(default=False)
    begun_at = models.DateTimeField()
    begun_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    beat_at = models.DateTimeField(help_text="Last sign of life.")
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        verbose_name_plural: ClassVar[str] = "issue batches"

    def __str__(self) -> str:
        return f"issue of {self.begun_at:%d %b %Y %H:%M}"

    @property
    def work_name(self) -> str:
        """Name its work among what this server does beside requests."""
        return f"issue-{self.pk}"

    @property
    def is_running(self) -> bool:
        """Say whether it goes on."""
        return self.state == self.State.RUNNING

    def is_silent(self, now: datetime) -> bool:
        """Say whether the server that did it has stopped."""
        return self.is_running and now - self.beat_at > self.SILENT_AFTER


class IssueBatchItem(models.Model):
    """One draft of a batch: waiting, issued, or not, and why."""

    class State(StrEnum):
        """What became of it."""

        WAITING = "waiting"
        ISSUED = "issued"
        FAILED = "failed"

    batch = models.ForeignKey(IssueBatch, on_delete=models.PROTECT, related_name="items")
    certificate_id = models.BigIntegerField(help_text="A draft may be discarded afterwards.")
    named = models.CharField(max_length=120, help_text="The sample, or the number once issued.")
    state = models.CharField(max_length=8, choices=choices(State), default=State.WAITING.value)
    said = models.TextField(blank=True, help_text="Why it was not issued.")

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["batch", "certificate_id"], name="issuebatchitem_once"),
            models.CheckConstraint(
                condition=~Q(state="failed") | Q(said__gt=""), name="issuebatchitem_says_why"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.named}: {self.state}"


class CertificateMail(models.Model):
    """One message that carries a certificate to a customer, and what became of it."""

    class State(StrEnum):
        """How far it is."""

        WAITING = "waiting"
        SENT = "sent"
        FAILED = "failed"

    certificate = models.ForeignKey(
        "gradation.Certificate", on_delete=models.PROTECT, related_name="mails"
    )
    address = models.EmailField()
    state = models.CharField(max_length=8, choices=choices(State), default=State.WAITING.value)
    tries = models.PositiveSmallIntegerField(default=0)
    said = models.CharField(max_length=400, blank=True, help_text="What the mail server said.")
    asked_at = models.DateTimeField()
    asked_by = models.ForeignKey("gradation.User", on_delete=models.PROTECT, related_name="+")
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]

    def __str__(self) -> str:
        return f"{self.certificate} to {self.address}"


class AskTally(models.Model):
    """How often an address outside asked in the present minute; shared by all workers."""

    key = models.CharField(max_length=64, primary_key=True)
    minute = models.BigIntegerField()
    count = models.PositiveIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.key}: {self.count}"
