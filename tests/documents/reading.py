"""Reading a PDF back, as a customer's program would."""

import io

from pypdf import PdfReader


def pages(pdf: bytes) -> list[str]:
    """Return the text of each page."""
    # The reader puts NULs between letters where a font carries a character that it lacks.
    return [it.extract_text().replace("\x00", "") for it in PdfReader(io.BytesIO(pdf)).pages]


def text(pdf: bytes) -> str:
    """Return the whole text with line breaks as spaces."""
    return " ".join(" ".join(pages(pdf)).split())


def embedded(pdf: bytes, name: str) -> str:
    """Return an embedded file's text."""
    (data,) = PdfReader(io.BytesIO(pdf)).attachments[name]
    return data.decode("utf-8")


def fonts(pdf: bytes) -> dict[str, bool]:
    """Return each font's name without its subset tag, and whether it is embedded."""
    found = {}
    for page in PdfReader(io.BytesIO(pdf)).pages:
        for font in page["/Resources"]["/Font"].values():
            descriptor = font["/DescendantFonts"][0].get_object()["/FontDescriptor"]
            name = str(font["/BaseFont"]).partition("+")[2]
            found[name] = any(key in descriptor for key in ("/FontFile2", "/FontFile3"))
    return found


def placed(pdf: bytes, page: int) -> list[tuple[str, float, float]]:
    """Return (text, x, y) of every run of text on a page, in px from the top left corner."""
    runs = []

    def visit(run, _current, matrix, _font, _size):
        if run.strip():
            runs.append((run.strip(), matrix[4], matrix[5]))

    PdfReader(io.BytesIO(pdf)).pages[page].extract_text(visitor_text=visit)
    return runs
