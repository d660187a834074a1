"""How the figures of control charts are written on a page."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from gradation.models import ControlChart
from gradation.queries.figure_names import figure_heading, figure_title, figure_unit, written
from gradation.web.templatetags.notebook import figure

register = template.Library()


@register.filter
def figure_words(key: str) -> str:
    """Name a figure by its key, such as passing 600 µm."""
    return figure_title(key)


@register.filter
def figure_head(key: str) -> str:
    """Name a figure by its key at the beginning of a line."""
    return figure_heading(key)


@register.simple_tag
def chart_figure(chart: ControlChart, value: float) -> str:
    """Write a figure of a chart with its unit."""
    words = figure(written(chart.characteristic, value))
    return f"{words} {figure_unit(chart.characteristic)}".rstrip()


@register.filter
def from_seconds(at_s: int) -> datetime:
    """Give the moment so many seconds after the beginning of 1970."""
    return datetime.fromtimestamp(at_s, UTC)


_ESCAPED = {ord(sign): f"\\u{ord(sign):04X}" for sign in "<>&"}


@register.simple_tag
def chart_data(data: dict[str, Any], element_id: str) -> SafeString:
    """Put a drawing's data on the page, without the spaces that thousands of points cost."""
    text = json.dumps(data, separators=(",", ":"), ensure_ascii=False).translate(_ESCAPED)
    script = '<script id="{}" type="application/json">{}</script>'
    return format_html(script, element_id, mark_safe(text))  # noqa: S308 - escaped just above
