"""Labels for samples and equipment: a code to scan, the same number in plain text beside it."""

from dataclasses import dataclass

import segno
from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe

from gradation.charts.markup import picture
from gradation.documents.pdf import render_pdf

_QUIET_MODULES = 4  # ISO/IEC 18004 asks for four light modules around the code


@dataclass(frozen=True)
class SampleLabel:
    """One label of a sample or of a part of it; `scanned` is what the code says."""

    number: str
    scanned: str
    description: str
    material: str = ""
    customer: str = ""
    received_on: str = ""
    part: str = ""
    hazard: str = ""


@dataclass(frozen=True)
class SieveLabel:
    """One label of a sieve; the date is the next check that was due when it was printed."""

    serial: str
    scanned: str
    designation: str
    standard: str = ""
    frame: str = ""
    next_check: str = ""


@dataclass(frozen=True)
class InstrumentLabel:
    """One label of an instrument; `limits` says what it may be used for."""

    serial: str
    scanned: str
    kind: str
    model: str = ""
    limits: str = ""
    next_check: str = ""


Label = SampleLabel | SieveLabel | InstrumentLabel


@dataclass(frozen=True)
class LabelStock:
    """The labels in the printer: size of one label, and how many stand on a page."""

    width_mm: float
    height_mm: float
    columns: int = 1
    rows: int = 1
    page_width_mm: float = 0.0
    page_height_mm: float = 0.0

    def __post_init__(self) -> None:
        across, down = self.columns * self.width_mm, self.rows * self.height_mm
        if min(self.width_mm, self.height_mm, self.columns, self.rows) <= 0:
            raise ValueError("A label needs a width and a height above 0 mm, and at least one.")
        if self.page_width_mm and (across > self.page_width_mm or down > self.page_height_mm):
            raise ValueError(
                f"{self.columns} by {self.rows} labels need {across:g} mm by {down:g} mm; the page"
                f" has {self.page_width_mm:g} mm by {self.page_height_mm:g} mm."
            )

    @property
    def on_page(self) -> int:
        """Return how many labels a page holds."""
        return self.columns * self.rows

    def page_css(self) -> str:
        """Return the page and label size as style, centred on a sheet, bare on a roll."""
        width = self.page_width_mm or self.width_mm
        height = self.page_height_mm or self.height_mm
        side = (width - self.columns * self.width_mm) / 2
        top = (height - self.rows * self.height_mm) / 2
        return (
            f"@page {{ size: {width:g}mm {height:g}mm; margin: {top:g}mm {side:g}mm;"
            " @bottom-left { content: none } @bottom-center { content: none }"
            " @bottom-right { content: none } }"
            f".label {{ width: {self.width_mm:g}mm; height: {self.height_mm:g}mm }}"
            f".label .code, .label .code svg {{ width: {self._code_mm():g}mm;"
            f" height: {self._code_mm():g}mm }}"
            f".label .words {{ margin-left: {self._code_mm() + 1:g}mm }}"
        )

    def _code_mm(self) -> float:
        return min(self.height_mm - 2, self.width_mm * 0.4)


A4_SHEET = LabelStock(70, 37, columns=3, rows=8, page_width_mm=210, page_height_mm=297)
ROLL_SAMPLE = LabelStock(89, 36)
ROLL_SIEVE = LabelStock(57, 25)


def labels_html(labels: tuple[Label, ...], stock: LabelStock, *, used: int = 0) -> str:
    """Return the labels as HTML, a page after every `stock.on_page` labels.

    The first `used` places of the first page stay empty: they were torn off a sheet before.
    """
    if not 0 <= used < stock.on_page:
        raise ValueError(f"A page has {stock.on_page} labels; {used} of them cannot be used up.")
    told = [{"label": it, "code": code_svg(it.scanned), "lines": _lines(it)} for it in labels]
    shown = [None] * used + told
    pages = [shown[i : i + stock.on_page] for i in range(0, len(shown), stock.on_page)]
    rows = [
        [page[i : i + stock.columns] for i in range(0, len(page), stock.columns)] for page in pages
    ]
    return render_to_string("documents/labels.html", {"pages": rows})


def labels_pdf(labels: tuple[Label, ...], stock: LabelStock, *, used: int = 0) -> bytes:
    """Return the labels as PDF, cut to the label stock."""
    return render_pdf(labels_html(labels, stock, used=used), page_css=stock.page_css())


def code_svg(text: str) -> SafeString:
    """Return `text` as a QR code with its quiet zone, as SVG without style."""
    code = segno.make(text, error="m", micro=False)
    side = code.symbol_size(border=0)[0]
    dark = "".join(
        f"M{x + _QUIET_MODULES} {y + _QUIET_MODULES}h1v1h-1z"
        for y, row in enumerate(code.matrix)
        for x, module in enumerate(row)
        if module & 1
    )
    whole = side + 2 * _QUIET_MODULES
    drawn = picture(f'<path d="{dark}" fill="#000000"/>', whole, whole, f"Code to scan: {text}")
    return mark_safe(drawn)  # noqa: S308 - picture escapes the words


def _lines(label: Label) -> dict[str, object]:
    """Return the printed words: the number large, then lines, then what to be warned of."""
    if isinstance(label, SampleLabel):
        return _lines_of_sample(label)
    if isinstance(label, SieveLabel):
        words: tuple[str, ...] = (label.designation, label.standard, label.frame)
    else:
        words = (label.kind, label.model, label.limits)
    due = f"check due {label.next_check}" if label.next_check else ""
    return {"number": label.serial, "lines": [it for it in (*words, due) if it], "hazard": ""}


def _lines_of_sample(label: SampleLabel) -> dict[str, object]:
    received = f"received {label.received_on}" if label.received_on else ""
    about = (label.part, label.description, label.material, label.customer, received)
    return {
        "number": label.number,
        "lines": [it for it in about if it],
        "hazard": label.hazard,
    }
