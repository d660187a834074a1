"""How logs and records tell where a request went, without what opens something."""

from __future__ import annotations

from django.http import HttpRequest

__all__ = ["told_path"]


def told_path(request: HttpRequest) -> str:
    """Give the path without the token of a reset link or of a calendar's address."""
    match = request.resolver_match
    token = match.kwargs.get("token") if match else None
    return request.path.replace(str(token), "...") if token else request.path
