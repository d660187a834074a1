"""What is asked of a printing child and how it refuses; light, so that a web worker may know it."""

import base64
from collections.abc import Sequence
from dataclasses import dataclass

#: What a certificate's file carries: its content, and its figures as a table.
DATA_FILE = "certificate.json"
TABLE_FILE = "certificate.csv"


class NotPrinted(RuntimeError):
    """A document could not be printed whole; half a document is never given out."""


class NotBundled(NotPrinted):
    """A document asked for a file that is not part of the bundle."""


class TooMuch(NotPrinted):
    """A document has more pages than any document of a laboratory."""


@dataclass(frozen=True)
class EmbeddedFile:
    """A data file carried inside the PDF."""

    name: str
    text: str
    description: str


@dataclass(frozen=True)
class Order:
    """What is to be printed; pictures as the data addresses that stand in it."""

    html: str
    page_css: str = ""
    embedded: Sequence[EmbeddedFile] = ()
    pictures: Sequence[str] = ()


@dataclass(frozen=True)
class Raster:
    """A picture that came with the document itself."""

    kind: str
    content: bytes


_RASTERS = {"image/png": b"\x89PNG\r\n\x1a\n", "image/jpeg": b"\xff\xd8\xff"}


def raster_in(url: str) -> Raster | None:
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
    return Raster(kind, content) if content.startswith(_RASTERS[kind]) else None
