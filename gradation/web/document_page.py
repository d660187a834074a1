"""A document on the screen: linked to the style sheets that the printer is given otherwise."""

from __future__ import annotations

from csp.constants import SELF
from csp.decorators import csp_replace
from django.templatetags.static import static
from django.views.decorators.clickjacking import xframe_options_sameorigin

from gradation.web.answers import View

__all__ = ["framed_by_own_pages", "on_screen"]

_SHEETS = ("css/document.css", "css/document_screen.css")


def on_screen(html: str) -> str:
    """Link the style sheets that the printer is given otherwise, so that it looks printed."""
    links = (f'<link rel="stylesheet" href="{static(sheet)}">' for sheet in _SHEETS)
    return html.replace("</head>", "".join(links) + "</head>", 1)


def framed_by_own_pages(view: View) -> View:
    """Let pages of this site show a view's answer in a frame, in browsers old and new."""
    framed: View = xframe_options_sameorigin(csp_replace({"frame-ancestors": [SELF]})(view))
    return framed
