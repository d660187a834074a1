"""A laboratory's installation: everything that differs comes from the environment."""

from labsite.settings import environment
from labsite.settings.base import *  # noqa: F403 - Django settings modules complete one another

_address = environment.base_address()

DEBUG = False
SECRET_KEY = environment.secret_key()
SECRET_KEY_FALLBACKS = environment.secret_key_fallbacks()
DATABASES = {"default": environment.database()}

ALLOWED_HOSTS = [_address.host]
CSRF_TRUSTED_ORIGINS = [_address.origin]

SESSION_COOKIE_NAME = "__Host-gradation_session"
SESSION_COOKIE_SECURE = True
CSRF_COOKIE_NAME = "__Host-gradation_csrf"
CSRF_COOKIE_SECURE = True

# gunicorn itself believes X-Forwarded-Proto from the trusted proxies only (labsite.serving), so
# Django needs no header of its own that a stranger could forge.
SECURE_SSL_REDIRECT = True
SECURE_REDIRECT_EXEMPT = [r"^health/(live|ready)$"]
SECURE_HSTS_SECONDS = 2 * 365 * 24 * 3600
SECURE_HSTS_INCLUDE_SUBDOMAINS = True
SECURE_HSTS_PRELOAD = True

STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}

globals().update(environment.mail())

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"plain": {"format": "%(asctime)s %(levelname)s %(name)s %(message)s"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "plain"}},
    "root": {"handlers": ["stderr"], "level": "INFO"},
}
