"""The calculations of sieve testing: pure functions over numbers and frozen dataclasses.

No database, web, clock, randomness or files but the package's own `data/*.csv`. Arrays run
coarse to fine, pan last; shares are 0 to 1; units stand in the names. `worksheet` joins the
topics into one evaluation, which the bench screen, the certificate, the API and the
`compute` command share.
"""

SCIENCE_VERSION = "1.1"

__all__ = ["SCIENCE_VERSION"]
