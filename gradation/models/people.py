"""People and systems that act. Accounts are deactivated, never deleted: records keep names."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.utils.functional import cached_property

#: The account that set-up and scheduled work act as; nobody signs in with it.
SYSTEM_NAME = "system"


@dataclass(frozen=True)
class Origin:
    """Where an act came from: the door, the address and the request it belongs to."""

    door: str = "system"
    address: str = ""
    request_id: str = ""


class User(AbstractUser):
    """One person or system account. `full_name` is printed on records as it was at that time."""

    full_name = models.CharField(max_length=120)
    customer = models.ForeignKey(
        "gradation.Customer", on_delete=models.PROTECT, null=True, blank=True, related_name="users"
    )

    must_set_password = models.BooleanField(
        default=False, help_text="Somebody else knows the password: nothing is signed with it."
    )

    #: Set by the door that lets the person in (middleware, command); read by the ledger.
    origin: Origin = Origin()

    REQUIRED_FIELDS: ClassVar[list[str]] = ["full_name"]

    class Meta:
        ordering: ClassVar[list[str]] = ["username"]

    def __str__(self) -> str:
        return self.full_name or self.username

    @property
    def is_system(self) -> bool:
        """Say whether this is the account that the installation itself acts as."""
        return self.username == SYSTEM_NAME

    @cached_property
    def role_names(self) -> frozenset[str]:
        """Names of the groups this person belongs to, read once per request."""
        return frozenset(self.groups.values_list("name", flat=True))

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        """Refuse: an account with records is deactivated so that its name stays on them."""
        msg = f"{self.username} has records. Deactivate the account; accounts are never deleted."
        raise models.ProtectedError(msg, {self})
