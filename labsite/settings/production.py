"""A laboratory's installation: everything that differs comes from the environment."""

from labsite.settings import environment
from labsite.settings.base import *  # noqa: F403 - Django settings modules complete one another

_address = environment.base_address()

DEBUG = False
SECRET_KEY = environment.secret_key()
SECRET_KEY_FALLBACKS = environment.secret_key_fallbacks()
DATABASES = {"default": environment.database()}

BASE_URL = _address.origin
SIGNING_KEY_FILE = environment.signing_key_file()
SCANNER = environment.scanner()
SIGNING_KEY_PASSPHRASE = environment.signing_key_passphrase()
ALLOWED_HOSTS = [_address.host]
TRUSTED_PROXIES = environment.trusted_proxies()
METRICS_TOKEN = environment.metrics_token()
SESSION_IDLE_S = environment.session_idle_s()
SESSION_COOKIE_AGE = environment.session_age_s()
CSRF_TRUSTED_ORIGINS = [_address.origin]

COOKIE_PREFIX = "__Host-"
SESSION_COOKIE_NAME = "__Host-gradation_session"
SESSION_COOKIE_SECURE = True
CSRF_COOKIE_NAME = "__Host-gradation_csrf"
CSRF_COOKIE_SECURE = True

# gunicorn itself believes X-Forwarded-Proto from the trusted proxies only (labsite.serving), so
# Django needs no header of its own that a stranger could forge.
SECURE_SSL_REDIRECT = True
SECURE_REDIRECT_EXEMPT = [r"^health/(live|ready|connection)$", r"^metrics$"]
SECURE_HSTS_SECONDS = 2 * 365 * 24 * 3600
SECURE_HSTS_INCLUDE_SUBDOMAINS = True
SECURE_HSTS_PRELOAD = True

STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}

WEBHOOK_NETWORKS = environment.webhook_networks()
INTERFACE_CALLS_PER_MINUTE = environment.interface_calls_per_minute(INTERFACE_CALLS_PER_MINUTE)

globals().update(environment.mail())
