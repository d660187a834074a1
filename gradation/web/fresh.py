"""Acts on accounts, factors and tokens want a password typed lately (ASVS 5.0, 7.5.1)."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse

from gradation.errors import NotAllowed
from gradation.web.sessions import is_fresh

View = Callable[..., HttpResponseBase]


def fresh(view: View) -> View:
    """Send who only looks to the password first, and refuse (403) what was sent without it."""

    @wraps(view)
    def inner(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not request.user.is_authenticated or is_fresh(request):
            return view(request, *args, **kwargs)
        if request.method == "GET":
            query = urlencode({"next": request.get_full_path()})
            return redirect(f"{reverse('account:identity-confirm')}?{query}")
        msg = "Type your password once more first, then send this again: see under your name."
        raise NotAllowed(msg, code="not-fresh")

    return inner
