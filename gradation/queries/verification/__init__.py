"""Proving the records: chains, seals, anchors, rows, results and files, each named where it breaks.

`verify` runs through what it is asked to in a stream, so a million entries need no more memory
than their chains. Nothing is written.
"""

from gradation.queries.verification.asked import Broken, Progress, Scope
from gradation.queries.verification.whole import verify

__all__ = ["Broken", "Progress", "Scope", "verify"]
