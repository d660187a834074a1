"""The log as one JSON object a line: whatever a text holds, it cannot begin a line of its own."""

from __future__ import annotations

import json
import logging
from datetime import UTC, datetime
from typing import Any

from labsite.requests import request_number

_FIELDS = ("method", "path", "status", "ms", "address")


class JsonLines(logging.Formatter):
    """Writes a record as one line of JSON with its time, level, place, request and words."""

    def format(self, record: logging.LogRecord) -> str:
        """Give the line; line breaks and control characters are escaped by JSON itself."""
        said: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        if number := request_number.get():
            said["request"] = number
        said |= {name: vars(record)[name] for name in _FIELDS if name in vars(record)}
        if record.exc_info:
            said["trace"] = self.formatException(record.exc_info)
        return json.dumps(said, ensure_ascii=True, default=str)


LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"lines": {"()": "labsite.logs.JsonLines"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "lines"}},
    "root": {"handlers": ["stderr"], "level": "INFO"},
    "loggers": {
        "django.server": {"handlers": ["stderr"], "level": "WARNING", "propagate": False},
        "fontTools": {"level": "WARNING"},
        "weasyprint": {"level": "ERROR"},
    },
}
