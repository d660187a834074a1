"""SVG elements as text, every attribute and every word escaped."""

import re
from html import escape

_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

Attribute = str | float
Look = dict[str, str | float]


def words(text: str) -> str:
    """Return `text` safe inside SVG: escaped, without characters that XML forbids."""
    return escape(_NOT_XML.sub("\ufffd", text), quote=True)


def cut(text: str, most: int) -> str:
    """Return `text`, shortened with an ellipsis when a drawing has no room for more."""
    return text if len(text) <= most else text[: most - 1] + "…"


def number(value: float) -> str:
    """Return a coordinate to a hundredth of a px, which is 3 µm on paper."""
    return f"{value:.2f}"


def element(name: str, content: str = "", /, **attributes: Attribute) -> str:
    """Return one element; `stroke_width` becomes stroke-width; `content` is ready markup."""
    parts = [
        f' {key.replace("_", "-")}="{words(value) if isinstance(value, str) else number(value)}"'
        for key, value in attributes.items()
    ]
    return f"<{name}{''.join(parts)}>{content}</{name}>"


def label(x: float, y: float, text: str, **attributes: Attribute) -> str:
    """Return a text element at (x, y)."""
    return element("text", words(text), x=x, y=y, **attributes)


def picture(content: str, width: float, height: float, description: str) -> str:
    """Return a whole SVG with its description for those who cannot see it."""
    size = f'width="{number(width)}" height="{number(height)}"'
    box = f'viewBox="0 0 {number(width)} {number(height)}"'
    said = words(description)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} {box} role="img" aria-label="{said}">'
        f"<title>{said}</title>{content}</svg>"
    )
