"""Settings of a server that a test may kill: the suite's own, on the database of the test."""

import json
import os

from labsite.settings.test import *  # noqa: F403 - Django settings modules complete one another

DATABASES = {"default": json.loads(os.environ.get("KILLED_SITE_DATABASE", "{}"))}
