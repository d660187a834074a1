"""Tokens of client systems: the list for the settings, one by its public part."""

from __future__ import annotations

from django.db.models import QuerySet

from gradation.models import ApiToken, User

__all__ = ["find_token", "token_list", "token_owners"]


def token_list() -> QuerySet[ApiToken]:
    """List the tokens, newest first."""
    return ApiToken.objects.select_related("owner", "bench", "created_by")


def find_token(public_id: str) -> ApiToken | None:
    """Find a token by the part that is no secret."""
    return ApiToken.objects.select_related("owner", "bench").filter(public_id=public_id).first()


def token_owners() -> QuerySet[User]:
    """List the people a system may act for."""
    return User.objects.filter(is_active=True).exclude(groups=None).order_by("full_name").distinct()
