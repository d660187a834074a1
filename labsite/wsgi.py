"""WSGI entry point for gunicorn: `gunicorn labsite.wsgi`."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labsite.settings.production")

application = get_wsgi_application()
