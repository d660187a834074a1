"""The bar by which a long command says how far it is."""

from __future__ import annotations

from time import monotonic

from django.core.management.base import BaseCommand

__all__ = ["ProgressBar"]


class ProgressBar:
    """The bar that shows how far the proof is, on a terminal or wherever errors go."""

    def __init__(self, command: BaseCommand, *, is_shown: bool) -> None:
        self._out = command.stderr
        self._is_shown = is_shown
        self._seen: dict[str, int] = {}
        self._begun = self._shown_at = monotonic()
        self._is_dirty = False

    def told(self, what: str, done: int, total: int) -> None:
        """Show how far it is, at most twice a second."""
        self._seen[what] = total
        now = monotonic()
        if not self._is_shown or now - self._shown_at < 0.5:
            return
        self._shown_at, self._is_dirty = now, True
        share = done / total if total else 1
        bar = "#" * round(share * 30)
        rate = f"{done:,} of {total:,} {what}, {now - self._begun:.0f} s"
        self._out.write(f"\r[{bar:<30}] {rate:<50}", ending="")

    def clear(self) -> None:
        """Take the bar off the line, so that a sentence can follow."""
        if self._is_dirty:
            self._out.write("\r" + " " * 84 + "\r", ending="")
            self._is_dirty = False

    def summary(self) -> str:
        """Say what was looked at, and how long it took."""
        took = monotonic() - self._begun
        parts = [f"{total} {what}" for what, total in self._seen.items()]
        return f"{', '.join(parts)}, in {took:.1f} s"
