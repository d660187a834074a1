"""HTML to PDF with bundled fonts only; the same HTML gives the same bytes.

Runs in a printing child, one document at a time. Nothing is fetched: the few files a document may
ask for are in memory, and a request for anything else stops the printing.
"""

import datetime
import logging
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path

from fontTools.ttLib import TTFont
from weasyprint import CSS, HTML, Attachment
from weasyprint.document import Document
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

from gradation.documents.printing.terms import (
    EmbeddedFile,
    NotBundled,
    NotPrinted,
    Order,
    TooMuch,
    raster_in,
)

HOME = "https://documents.invalid/"  # RFC 2606: a name that no resolver will ever answer
VARIANT = "pdf/a-3u"
MOST_PAGES = 400
_STATIC = Path(__file__).resolve().parents[3] / "static"
_STYLE = "css/document.css"
_EPOCH = datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)


class _Bundle(URLFetcher):  # type: ignore[misc] # the library has no types
    """Answers from memory; notes and refuses everything else.

    The note is needed because the printer survives a refusal inside a drawing.
    """

    def __init__(self, fonts: Mapping[str, bytes]) -> None:
        super().__init__(fail_on_errors=True)
        self.fonts, self.pictures = fonts, frozenset[str]()
        self.refused: list[str] = []

    def fetch(self, url: str, headers: dict[str, str] | None = None) -> URLFetcherResponse:
        """Give a bundled font or a picture of this document."""
        if url in self.fonts:
            return URLFetcherResponse(url, self.fonts[url], {"Content-Type": "font/sfnt"})
        picture = raster_in(url) if url in self.pictures else None
        if picture is not None:
            return URLFetcherResponse(url, picture.content, {"Content-Type": picture.kind})
        self.refused.append(url)
        raise NotBundled(url)


class Press:
    """What one process needs to print; made once, because it is slow to make."""

    def __init__(self) -> None:
        self.bundle = _Bundle(bundled_fonts())
        self.fonts = FontConfiguration()
        text = (_STATIC / _STYLE).read_text(encoding="utf-8")
        self.style = self._sheet(text, HOME + _STYLE)

    def _sheet(self, text: str, address: str = HOME) -> CSS:
        return CSS(string=text, base_url=address, font_config=self.fonts, url_fetcher=self.bundle)

    def print(self, order: Order) -> bytes:
        """Return the order as PDF.

        Raises `NotBundled` when the document asks for anything but the bundled files, `TooMuch`
        when it has too many pages, and `NotPrinted` when a part of it could not be printed.
        """
        self.bundle.refused.clear()
        self.bundle.pictures = frozenset(order.pictures)
        with _complaints() as complaints:
            try:
                printed = self._printed(order)
            except FatalURLFetchingError:
                printed = b""
        if self.bundle.refused:
            raise NotBundled(
                f"{self.bundle.refused[0][:200]} is not bundled; documents use bundled files only."
            )
        if complaints:
            raise NotPrinted(f"The document could not be printed whole: {complaints[0]}.")
        return printed

    def _printed(self, order: Order) -> bytes:
        source = HTML(string=order.html, base_url=HOME, url_fetcher=self.bundle)
        sheets = [self.style, *([self._sheet(order.page_css)] if order.page_css else [])]
        printed: bytes = source.write_pdf(
            finisher=_refuse_many_pages,
            font_config=self.fonts,
            stylesheets=sheets,
            attachments=[_attachment(each, self.bundle) for each in order.embedded] or None,
            pdf_variant=VARIANT,
            pdf_tags=True,
        )
        return printed


def _refuse_many_pages(document: Document, _: object) -> None:
    if len(document.pages) > MOST_PAGES:
        raise TooMuch(f"The document has {len(document.pages)} pages; {MOST_PAGES} fit.")


def _attachment(embedded: EmbeddedFile, bundle: URLFetcher) -> Attachment:
    return Attachment(
        string=embedded.text,
        name=embedded.name,
        description=embedded.description,
        url_fetcher=bundle,
        created=_EPOCH,  # the document carries its own date; a clock here would change the bytes
        modified=_EPOCH,
        relationship="Data",
    )


@contextmanager
def _complaints() -> Iterator[list[str]]:
    """Collect the errors that the printer would only write to its log before it goes on."""
    heard: list[str] = []

    class Listener(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            heard.append(record.getMessage())

    listener, logger = Listener(logging.ERROR), logging.getLogger("weasyprint")
    logger.addHandler(listener)
    try:
        yield heard
    finally:
        logger.removeHandler(listener)


def bundled_fonts() -> dict[str, bytes]:
    """Return the bundled fonts, unpacked, by the address a document asks for them at.

    They are unpacked here because the printer would stamp each with the time of unpacking, and
    then no two processes would print the same bytes.
    """
    fonts = sorted((_STATIC / "fonts").glob("*.woff"))
    return {f"{HOME}fonts/{path.name}": _unpacked(path) for path in fonts}


def _unpacked(path: Path) -> bytes:
    with TTFont(path, recalcTimestamp=False) as font:
        font.flavor = None
        out = BytesIO()
        font.save(out)
    return out.getvalue()
