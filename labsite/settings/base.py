"""What every installation has in common; nothing here reads the environment."""

from pathlib import Path
from typing import Any

from csp.constants import NONCE, NONE, SELF

from labsite import logs

BASE_DIR = Path(__file__).resolve().parents[2]

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.forms",
    "csp",
    "rest_framework",
    "drf_spectacular",
    "gradation",
]

MIDDLEWARE = [
    "labsite.requests.RequestMiddleware",
    "csp.middleware.CSPMiddleware",
    "labsite.threshold.ThresholdMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "labsite.health.HealthMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "gradation.web.sessions.SessionAgeMiddleware",
    "gradation.web.middleware.OriginMiddleware",
    "gradation.web.middleware.ZoneMiddleware",
    "gradation.web.middleware.TurnedAwayMiddleware",
    "labsite.steady_clock.SteadyClockMiddleware",
    "labsite.faults.FaultMiddleware",
    "gradation.web.middleware.RefusalMiddleware",
    "gradation.web.middleware.DutiesMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "labsite.headers.PrivateAnswersMiddleware",
    "labsite.headers.DevicesMiddleware",
]

ROOT_URLCONF = "labsite.urls"
WSGI_APPLICATION = "labsite.wsgi.application"
ASGI_APPLICATION = "labsite.asgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "csp.context_processors.nonce",
                "gradation.web.context.site",
            ],
            "builtins": [
                "gradation.web.templatetags.notebook",
                "gradation.web.templatetags.charting",
                "gradation.web.templatetags.balances",
                "gradation.web.templatetags.run_rows",
                "django.templatetags.static",
            ],
        },
    },
]

AUTH_USER_MODEL = "gradation.User"
LOGIN_URL = "web:sign-in"
LOGIN_REDIRECT_URL = "web:home"
LOGOUT_REDIRECT_URL = "web:sign-in"
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.ScryptPasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "gradation.services.password_words.WordsOfThePlace"},
]

# Where links in messages and codes on certificates lead, whatever host a request names.
BASE_URL = "http://localhost:8000"
# Whose X-Forwarded-For is believed.
TRUSTED_PROXIES: list[str] = []
METRICS_TOKEN = ""

# The laboratory's key and its certificate, a PEM file outside the database. Without one,
# certificates are issued unsigned, and say so.
SIGNING_KEY_FILE = ""
SIGNING_KEY_PASSPHRASE = ""

# Where files are looked at before they are kept: a socket's path, or host and port; None: nowhere.
SCANNER: str | tuple[str, int] | None = None

LANGUAGE_CODE = "en-gb"
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"  # what is stored; pages and documents show the laboratory's own zone

STATIC_URL = "/static/"
STATICFILES_DIRS = [BASE_DIR / "static"]
STATIC_ROOT: Path | None = BASE_DIR / "staticfiles"

DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# Messages are written to the console until an installation names its mail server.
EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
EMAIL_TIMEOUT = 30  # seconds; a mail server that does not answer must not hold a timer for ever

# The digest of nothing: the chart library adds an empty style element and fills it by rules, which
# no injected text could do.
EMPTY_STYLE = "'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='"

# Script and style come from our own files only; a page that needs more gets a nonce.
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF, NONCE],
        "style-src": [SELF, NONCE, EMPTY_STYLE],
        "img-src": [SELF, "data:", "blob:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "object-src": [NONE],
        "frame-src": [SELF],
        "manifest-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    },
}
# For browsers that do not know frame-ancestors. Two views let our own pages frame them, the
# previews of a certificate and of a report form: `framed_by_own_pages`.
X_FRAME_OPTIONS = "DENY"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"

# Before the names of our own cookies, which bench and which device; see gradation/web/devices.py.
COOKIE_PREFIX = ""
SESSION_COOKIE_AGE = 12 * 3600  # one long shift; then everybody signs in again
SESSION_IDLE_S = 30 * 60  # without any request of a person's own
SESSION_FRESH_S = 10 * 60  # for acts on accounts, second factors and tokens
PASSWORD_RESET_TIMEOUT = 3600
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_HTTPONLY = True
CSRF_COOKIE_SAMESITE = "Lax"

# Networks that webhooks may call beside the public ones; see gradation/services/outgoing.py.
WEBHOOK_NETWORKS: list[str] = []

REST_FRAMEWORK = {
    "EXCEPTION_HANDLER": "gradation.api.problems.answer",
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "gradation.api.tokens.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["gradation.api.contract.parsing.StrictJSONParser"],
    "DEFAULT_PERMISSION_CLASSES": [
        "rest_framework.permissions.IsAuthenticated",
        "gradation.api.tokens.InScope",
    ],
}

LOGGING: dict[str, Any] = logs.LOGGING
# How often one token or person may ask in a minute, all worker processes together.
INTERFACE_CALLS_PER_MINUTE = 600

SPECTACULAR_SETTINGS = {
    "TITLE": "Gradation",
    "VERSION": "v1",
    "DESCRIPTION": (
        "The interface of a laboratory that tests the size of particles by sieving. Other systems "
        "do here what people do on the screens, except signing.\n\n"
        "Measurements are decimal text, with the unit in the name of the field: mass_g, "
        "aperture_um. Times are ISO 8601; answers are in UTC.\n\n"
        "Send Authorization: Bearer with a token that the quality manager makes under Settings. "
        "What a system does stands in the records as that system's, acting for the token's "
        "owner.\n\n"
        "Send an Idempotency-Key with every POST. When no answer comes, send the same again: the "
        "first answer is given again for 30 days, and nothing is done twice.\n\n"
        "Read a thing before changing it and send its ETag as If-Match.\n\n"
        "Lists go from new to old; follow the Link with rel=next. A refusal is a problem document "
        "(RFC 9457) whose type never changes its meaning.\n\n"
        "Within v1 fields, filters and addresses are added and none is taken away; what is to go "
        "says so by the headers Deprecation and Sunset for at least a year."
    ),
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "COMPONENT_SPLIT_REQUEST": False,
    "COMPONENT_NO_READ_ONLY_REQUIRED": True,
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,
    "ENUM_ADD_EXPLICIT_BLANK_NULL_CHOICE": False,
    "SORT_OPERATIONS": False,
    "POSTPROCESSING_HOOKS": ["gradation.api.contract.schema.shape_contract"],
    "AUTHENTICATION_WHITELIST": ["gradation.api.tokens.TokenAuthentication"],
}
