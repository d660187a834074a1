"""A computer beside the balances that runs `bench_gateway` only: no database, no pages."""

import secrets

from labsite.settings import environment
from labsite.settings.base import *  # noqa: F403 - Django settings modules complete one another

DEBUG = False
SECRET_KEY = secrets.token_urlsafe(64)  # signs nothing; Django wants one
ALLOWED_HOSTS: list[str] = []
DATABASES = {"default": {"ENGINE": "django.db.backends.dummy"}}
BENCH_TOKEN = environment.bench_token()
