"""gunicorn's configuration: `gunicorn --config python:labsite.serving labsite.wsgi`.

Settings are read here first, in the parent process, so that an installation that may not start
ends with one sentence instead of a loop of dying workers.
"""

import gc
import os
import ssl
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

# Before the figures are first counted: each process keeps its own in a file, and all are added up.
os.environ.setdefault("PROMETHEUS_MULTIPROC_DIR", tempfile.mkdtemp(prefix="gradation-figures-"))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labsite.settings.production")

from django.conf import settings
from django.template.loader import get_template
from django.urls import get_resolver
from prometheus_client import multiprocess

from labsite import start
from labsite.settings import environment

_is_embedded = settings.DATABASES["default"]["ENGINE"].endswith("sqlite3")

bind = environment.listen()
worker_class = "gthread"
workers = environment.web_processes(is_embedded=_is_embedded)
threads = environment.web_threads()
# Whatever forwards requests from elsewhere is a stranger: its X-Forwarded-Proto is ignored.
forwarded_allow_ips = ",".join(environment.trusted_proxies())
secure_scheme_headers = {"X-FORWARDED-PROTO": "https"}
_memory = Path("/dev/shm")  # noqa: S108 - where gunicorn is advised to keep its heartbeat files
worker_tmp_dir = str(_memory) if _memory.is_dir() else None
timeout = 60
# A request makes and drops some ten thousand objects; looked through after every 700, as Python
# does, they take a tenth of its time.
GARBAGE_AFTER = (20_000, 10, 10)
graceful_timeout = 30
keepalive = 5
_tls = environment.inner_tls()
if _tls is not None:
    certfile, keyfile = _tls.certificate, _tls.key
    if _tls.callers:  # only who shows a certificate of this authority gets an answer
        ca_certs, cert_reqs = _tls.callers, ssl.CERT_REQUIRED


def ssl_context(config: object, make: Callable[[], ssl.SSLContext]) -> ssl.SSLContext:
    """Speak no TLS before 1.2 (RFC 8996)."""
    context = make()
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    return context


def post_worker_init(worker: object) -> None:
    """Load what the first reading needs before it comes, and set aside all that was loaded.

    Whoever weighs first after a start would wait most of a second for views, science and templates
    to be read; looking through all of it for garbage again and again costs the tail.
    """
    get_resolver().url_patterns  # noqa: B018 - to read them is what is wanted: it imports the views
    get_template("web/bench/live.html")
    gc.collect()
    gc.freeze()
    gc.set_threshold(*GARBAGE_AFTER)


accesslog = None  # labsite.requests writes a line about each request
errorlog = "-"
logconfig_dict = {
    **settings.LOGGING,
    "loggers": {
        **settings.LOGGING["loggers"],
        "gunicorn.error": {"handlers": ["stderr"], "level": "INFO", "propagate": False},
    },
}


def on_starting(server: object) -> None:
    """Refuse to serve tables that do not fit the program; print the code of the first start."""
    start.refuse_pending_migrations()
    start.tell_set_up_code()


class Ended(Protocol):
    """A worker process that has ended."""

    pid: int


def child_exit(server: object, worker: Ended) -> None:
    """Leave out what a worker that has ended was doing just now."""
    multiprocess.mark_process_dead(worker.pid)  # type: ignore[no-untyped-call]
