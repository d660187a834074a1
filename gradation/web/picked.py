"""The bench that this browser stands at: picked once, kept whoever signs in."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse

from gradation.models import Bench
from gradation.queries.equipment import bench_list
from gradation.web.devices import cookie_name

_COOKIE = "bench"
_YEAR_S = 365 * 24 * 3600


def picked_bench_name(request: HttpRequest) -> str:
    """Give the name of the bench, or '' when none was picked."""
    return _kept(request).partition(":")[2]


def picked_bench(request: HttpRequest) -> Bench | None:
    """Give the bench, if one was picked and is still in use."""
    key = _kept(request).partition(":")[0]
    return bench_list().filter(pk=int(key)).first() if key else None


def keep_bench(request: HttpRequest, response: HttpResponse, bench: Bench) -> HttpResponse:
    """Let this browser remember its bench."""
    response.set_signed_cookie(
        cookie_name(_COOKIE),
        f"{bench.pk}:{bench.name}",
        max_age=_YEAR_S,
        secure=request.is_secure(),
        httponly=True,
        samesite="Lax",
    )
    return response


def _kept(request: HttpRequest) -> str:
    return request.get_signed_cookie(cookie_name(_COOKIE), default="") or ""
