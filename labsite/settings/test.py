"""The test suite: as development, with a key and passwords that cost nothing."""

import os
import tempfile
from pathlib import Path

import environ

from labsite.settings.base import *  # noqa: F403 - Django settings modules complete one another
from labsite.settings.base import LOGGING
from labsite.settings.databases import sqlite_database

SECRET_KEY = "for the test suite only, guards nothing"  # noqa: S105 - no installation uses it
DEBUG = False
STATIC_ROOT = None
WHITENOISE_USE_FINDERS = True
ALLOWED_HOSTS = ["localhost", "127.0.0.1", "testserver"]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]

_url = environ.Env().str("TEST_DATABASE_URL", default="")
if _url:
    DATABASES = {"default": environ.Env.db_url_config(_url)}
else:
    # A file, not memory: threads must meet each other's locks as they do at the bench. Its name
    # carries the process, so that two test runs on one machine do not share it.
    _folder = environ.Env().str("GRADATION_TEST_FOLDER", default=tempfile.gettempdir())
    _path = Path(_folder) / f"gradation-test-{os.getpid()}.sqlite3"
    _database = sqlite_database(_path)
    _database["TEST"] = {"NAME": str(_path)}
    DATABASES = {"default": _database}

# One line a request is of no use among thousands.
LOGGING = {**LOGGING, "root": {"handlers": ["stderr"], "level": "CRITICAL"}}
# Tests ask as fast as they can; those of the limit set their own.
INTERFACE_CALLS_PER_MINUTE = 1_000_000

# Certificates are unsigned unless a test, or a measurement in another process, names a key.
SIGNING_KEY_FILE = environ.Env().str("GRADATION_TEST_SIGNING_KEY", default="")
