"""Runs what begins an event loop of its own.

Once a process has opened a browser, Playwright's loop counts as running in the main thread, and
asyncio lets nothing begin another one there. A server has no such loop.
"""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any


def in_own_thread(act: Callable[..., Any], *args: Any, **named: Any) -> Any:
    """Call it in a thread of its own and give what it gives."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(act, *args, **named).result()
