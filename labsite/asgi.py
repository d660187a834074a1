"""ASGI entry point, for a laboratory that prefers an asynchronous server."""

import os

from django.core.asgi import get_asgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labsite.settings.production")

application = get_asgi_application()
