"""What a logo may be: a small raster picture, told by its own bytes."""

from __future__ import annotations

from io import BytesIO

from PIL import Image, UnidentifiedImageError

from gradation.errors import Invalid
from gradation.services.file_scanner import refuse_malicious

__all__ = ["LARGEST_LOGO_BYTES", "check_logo"]

LARGEST_LOGO_BYTES = 300_000
_MOST_PIXELS = 4_000_000
#: Told by how a file begins, never by its name: drawings can carry scripts and addresses.
_BEGINNINGS = {b"\x89PNG\r\n\x1a\n": ("PNG", "image/png"), b"\xff\xd8\xff": ("JPEG", "image/jpeg")}


def check_logo(content: bytes) -> str:
    """Give the media type of a picture, or refuse (`Invalid`) what is no plain raster picture."""
    kind = next((kind for begin, kind in _BEGINNINGS.items() if content.startswith(begin)), None)
    if kind is None:
        raise _no_logo(
            "A logo is a PNG or JPEG picture. Save it as one of them; drawings are not taken."
        )
    if len(content) > LARGEST_LOGO_BYTES:
        raise _no_logo(f"The logo has more than {LARGEST_LOGO_BYTES // 1000} kB. Save it smaller.")
    try:
        with Image.open(BytesIO(content), formats=[kind[0]]) as picture:
            width, height = picture.size
            if width * height > _MOST_PIXELS:
                raise _no_logo(f"The logo has {width} × {height} points. Save it smaller.")
            picture.verify()
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError) as error:
        raise _no_logo("The logo cannot be read as a picture. Save it anew.") from error
    refuse_malicious(content, "logo")
    return kind[1]


def _no_logo(message: str) -> Invalid:
    return Invalid.one("logo", message, code="no-logo")
