"""A document on the screen: linked to the style sheets that the printer is given otherwise."""

from __future__ import annotations

from django.templatetags.static import static

__all__ = ["on_screen"]

_SHEETS = ("css/document.css", "css/document_screen.css")


def on_screen(html: str) -> str:
    """Link the style sheets that the printer is given otherwise, so that it looks printed."""
    links = (f'<link rel="stylesheet" href="{static(sheet)}">' for sheet in _SHEETS)
    return html.replace("</head>", "".join(links) + "</head>", 1)
