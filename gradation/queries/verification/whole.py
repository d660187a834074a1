"""All proofs, one after the other."""

from __future__ import annotations

from collections.abc import Iterator

from django.db import connection

from gradation.checks import missing_guards
from gradation.queries.verification.asked import Broken, Progress, Scope
from gradation.queries.verification.chains import broken_chains
from gradation.queries.verification.figures import broken_figures
from gradation.queries.verification.files import broken_files
from gradation.queries.verification.rows import broken_rows
from gradation.queries.verification.sealed import broken_leaves, broken_seals

__all__ = ["verify"]


def verify(scope: Scope, told: Progress) -> Iterator[Broken]:
    """Prove what the scope asks for; give what does not hold, the first broken link first."""
    yield from broken_chains(scope, told)
    yield from broken_leaves(scope.chain)
    if scope.is_everything or scope.anchors:
        yield from broken_seals(scope.anchors, told)
    yield from broken_files(scope, told)
    if scope.with_figures:
        yield from broken_figures(scope, told)
        yield from broken_rows(scope, told)
    for name in missing_guards(connection):
        yield Broken("guard", f"guard {name}", "it is missing; migrate puts it back")
