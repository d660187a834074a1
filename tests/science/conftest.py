"""Properties are checked with the same cases every time, however busy the machine is."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("gradation", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("gradation")
