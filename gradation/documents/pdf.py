"""HTML to PDF in a child process with limits; the same HTML gives the same bytes.

Nothing is fetched: the few files a document may ask for are in memory, and a request for anything
else stops the printing.
"""

from collections.abc import Iterable, Sequence

from gradation.documents.printing import pool
from gradation.documents.printing.pool import TooLargeToPrint
from gradation.documents.printing.terms import (
    EmbeddedFile,
    NotBundled,
    NotPrinted,
    Order,
    raster_in,
)

__all__ = [
    "EmbeddedFile",
    "NotBundled",
    "NotPrinted",
    "TooLargeToPrint",
    "raster_in",
    "render_pdf",
]


def render_pdf(
    html: str,
    *,
    page_css: str = "",
    embedded: EmbeddedFile | Sequence[EmbeddedFile] | None = None,
    pictures: Iterable[str] = (),
) -> bytes:
    """Return `html` as PDF, styled by the document style sheet and then by `page_css`.

    `pictures` are data addresses of PNG or JPEG pictures that may stand in it, such as the logo.

    Raises `NotBundled` when the document asks for anything but the bundled files, `NotPrinted` when
    a part of it, such as a drawing, could not be printed, and `TooLargeToPrint` (a refusal) when it
    takes more time or memory than a document gets.
    """
    files = [embedded] if isinstance(embedded, EmbeddedFile) else list(embedded or ())
    return pool.printed(Order(html, page_css, files, tuple(pictures)))
