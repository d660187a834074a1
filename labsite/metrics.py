"""Figures of operation in the text exposition format that monitoring systems read."""

from __future__ import annotations

import ipaddress
import os

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils.crypto import constant_time_compare
from prometheus_client import (
    CONTENT_TYPE_LATEST,
    REGISTRY,
    CollectorRegistry,
    Counter,
    Histogram,
    generate_latest,
    multiprocess,
)

METRICS = "/metrics"

_requests = Counter("gradation_requests_total", "Answered requests.", ["method", "route", "status"])
_seconds = Histogram(
    "gradation_request_seconds",
    "Time until a request was answered.",
    ["route"],
    buckets=(0.01, 0.025, 0.05, 0.1, 0.3, 1, 3, 10, 30),
)
METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})


def count_request(method: str, route: str, status: int, seconds: float) -> None:
    """Count one answered request under its route's name, never under its address."""
    _requests.labels(method if method in METHODS else "other", route, str(status)).inc()
    _seconds.labels(route).observe(seconds)


def may_read(request: HttpRequest) -> bool:
    """Let in whoever has the token, or a program on this machine that came through no proxy."""
    if settings.METRICS_TOKEN:
        sent = request.headers.get("Authorization", "")
        return constant_time_compare(sent, f"Bearer {settings.METRICS_TOKEN}")
    address = str(request.META.get("REMOTE_ADDR", ""))
    came_through = any(name.startswith("HTTP_X_FORWARDED") for name in request.META)
    return not came_through and _is_this_machine(address)


def _is_this_machine(address: str) -> bool:
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def answer(request: HttpRequest) -> HttpResponse:
    """Give the figures of all server processes."""
    if not may_read(request):
        return HttpResponse("Not for you.\n", status=403, content_type="text/plain; charset=utf-8")
    registry = REGISTRY
    if os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
        registry = CollectorRegistry()
        multiprocess.MultiProcessCollector(registry)  # type: ignore[no-untyped-call]
    return HttpResponse(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)
