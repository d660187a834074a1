"""One machine, one SQLite file under var/: the demo and everyday work on the code."""

import environ

from labsite.settings.base import *  # noqa: F403 - Django settings modules complete one another
from labsite.settings.base import BASE_DIR, LOGGING
from labsite.settings.databases import sqlite_database
from labsite.settings.environment import networks
from labsite.settings.secrets import kept_secret_key

DATA_DIR = BASE_DIR / "var"

# Off unless asked for, so that the demo shows a laboratory's error pages; never served beyond
# this machine either way.
DEBUG = environ.Env().bool("GRADATION_DEBUG", default=False)
BASE_URL = environ.Env().str("GRADATION_DEMO_URL", default="http://127.0.0.1:8000")
ALLOWED_HOSTS = ["localhost", "127.0.0.1", "[::1]"]
SECRET_KEY = kept_secret_key(DATA_DIR / "secret_key")
SIGNING_KEY_FILE = str(DATA_DIR / "signing_key.pem")
DATABASES = {"default": sqlite_database(DATA_DIR / "gradation.sqlite3")}

WEBHOOK_NETWORKS = networks("GRADATION_WEBHOOK_NETWORKS", default=[])

SESSION_COOKIE_NAME = "gradation_session"
CSRF_COOKIE_NAME = "gradation_csrf"

# Nobody reads a line about each request on this machine.
LOGGING = {**LOGGING, "root": {"handlers": ["stderr"], "level": "WARNING"}}

# Files are served from static/ as they are: no collectstatic, and a change shows at once.
STATIC_ROOT = None
WHITENOISE_USE_FINDERS = True
