"""HTML to PDF with bundled fonts only; the same HTML gives the same bytes.

One font configuration for the process, used by one thread at a time: sharing it between threads
corrupts memory without a word. Nothing is fetched: the few files a document may ask for are in
memory, and a request for anything else stops the printing.
"""

import atexit
import base64
import datetime
import logging
import os
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from weasyprint import CSS, Attachment
    from weasyprint.text.fonts import FontConfiguration
    from weasyprint.urls import URLFetcher

_STATIC = Path(__file__).resolve().parents[2] / "static"
_HOME = "https://documents.invalid/"  # RFC 2606: a name that no resolver will ever answer
_STYLE = "css/document.css"
_EPOCH = datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)


class NotPrinted(RuntimeError):
    """A document could not be printed whole; half a document is never given out."""


class NotBundled(NotPrinted):
    """A document asked for a file that is not part of the bundle."""


@dataclass(frozen=True)
class EmbeddedFile:
    """A data file carried inside the PDF."""

    name: str
    text: str
    description: str


@dataclass(frozen=True)
class _Press:
    """What one process needs to print; made on first use, because it is slow to make."""

    process: int
    fonts: "FontConfiguration"
    style: "CSS"
    bundle: "URLFetcher"
    refused: list[str]
    pictures: set[str]
    """Addresses of the pictures that the document in hand brings along itself."""


_lock = threading.Lock()
_presses: list[_Press] = []


def render_pdf(
    html: str,
    *,
    page_css: str = "",
    embedded: EmbeddedFile | None = None,
    pictures: Iterable[str] = (),
) -> bytes:
    """Return `html` as PDF, styled by the document style sheet and then by `page_css`.

    `pictures` are data addresses of PNG or JPEG pictures that may stand in it, such as the logo.

    Raises `NotBundled` when the document asks for anything but the bundled files, and
    `NotPrinted` when a part of it, such as a drawing, could not be printed.
    """
    from weasyprint.urls import FatalURLFetchingError  # late: 40 MiB that a web worker may spare

    with _lock, _complaints() as complaints:
        press = _press()
        press.refused.clear()
        press.pictures.clear()
        press.pictures.update(pictures)
        try:
            printed = _printed(press, html, page_css, embedded)
        except FatalURLFetchingError:
            printed = b""
        if press.refused:
            raise NotBundled(
                f"{press.refused[0]} is not bundled; documents use bundled files only."
            )
        if complaints:
            raise NotPrinted(f"The document could not be printed whole: {complaints[0]}.")
        return printed


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


@cache
def bundled_files() -> dict[str, bytes]:
    """Return the files a document may ask for, by address: the bundled fonts, unpacked.

    They are unpacked here because the printer would stamp each with the time of unpacking, and
    then no two processes would print the same bytes.
    """
    fonts = sorted((_STATIC / "fonts").glob("*.woff"))
    return {f"{_HOME}fonts/{path.name}": _unpacked(path) for path in fonts}


def _unpacked(path: Path) -> bytes:
    from fontTools.ttLib import TTFont

    with TTFont(path, recalcTimestamp=False) as font:
        font.flavor = None
        out = BytesIO()
        font.save(out)
    return out.getvalue()


def _press() -> _Press:
    """Return this process's press; a forked child makes its own and keeps the old one alive.

    The old one's clean-up would delete the font files that the parent still uses.
    """
    if not _presses or _presses[-1].process != os.getpid():
        _presses.append(_new_press())
    return _presses[-1]


@atexit.register
def _put_away() -> None:
    """Clean up this process's fonts while the interpreter is whole, and nobody else's."""
    if _presses and _presses[-1].process == os.getpid():
        _presses.pop()


def _new_press() -> _Press:
    from weasyprint import CSS
    from weasyprint.text.fonts import FontConfiguration

    refused: list[str] = []
    pictures: set[str] = set()
    fonts, bundle = FontConfiguration(), _bundle(refused, pictures)
    text = (_STATIC / _STYLE).read_text(encoding="utf-8")
    style = CSS(string=text, base_url=_HOME + _STYLE, font_config=fonts, url_fetcher=bundle)
    return _Press(os.getpid(), fonts, style, bundle, refused, pictures)


def _bundle(refused: list[str], pictures: set[str]) -> "URLFetcher":
    from weasyprint.urls import URLFetcher, URLFetcherResponse

    class Bundle(URLFetcher):  # type: ignore[misc]
        """Answers from memory; notes and refuses everything else.

        The note is needed because the printer survives a refusal inside a drawing.
        """

        def fetch(self, url: str, headers: dict[str, str] | None = None) -> URLFetcherResponse:
            picture = raster_in(url) if url in pictures else None
            if picture is not None:
                return URLFetcherResponse(url, picture.content, {"Content-Type": picture.kind})
            if url not in bundled_files():
                refused.append(url)
                raise NotBundled(url)
            return URLFetcherResponse(url, bundled_files()[url], {"Content-Type": "font/sfnt"})

    return Bundle(fail_on_errors=True)


@dataclass(frozen=True)
class _Raster:
    """A picture that came with the document itself."""

    kind: str
    content: bytes


_RASTERS = {"image/png": b"\x89PNG\r\n\x1a\n", "image/jpeg": b"\xff\xd8\xff"}


def raster_in(url: str) -> _Raster | None:
    """Return the PNG or JPEG that a data address carries; None for every other address.

    Judged by how the bytes begin, not by what the address says they are: drawings and scripts
    in other clothes are not let in.
    """
    head, comma, body = url.partition(",")
    kind = head.removeprefix("data:").removesuffix(";base64")
    if not comma or head != f"data:{kind};base64" or kind not in _RASTERS:
        return None
    try:
        content = base64.b64decode(body, validate=True)
    except ValueError:
        return None
    return _Raster(kind, content) if content.startswith(_RASTERS[kind]) else None


def _printed(press: _Press, html: str, page_css: str, embedded: EmbeddedFile | None) -> bytes:
    from weasyprint import CSS, HTML

    source = HTML(string=html, base_url=_HOME, url_fetcher=press.bundle)
    sheets = [press.style]
    if page_css:
        options = {"base_url": _HOME, "url_fetcher": press.bundle, "font_config": press.fonts}
        sheets.append(CSS(string=page_css, **options))
    printed: bytes = source.write_pdf(
        stylesheets=sheets,
        font_config=press.fonts,
        attachments=[_attachment(embedded, press.bundle)] if embedded else None,
        pdf_variant="pdf/a-3u",
        pdf_tags=True,
    )
    return printed


def _attachment(embedded: EmbeddedFile, bundle: "URLFetcher") -> "Attachment":
    from weasyprint import Attachment

    return Attachment(
        string=embedded.text,
        name=embedded.name,
        description=embedded.description,
        url_fetcher=bundle,
        created=_EPOCH,  # the document carries its own date; a clock here would change the bytes
        modified=_EPOCH,
        relationship="Data",
    )
