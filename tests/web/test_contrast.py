"""Words can be read: contrast of the pairs of colours that stand on one another.

WCAG 2.2, success criteria 1.4.3 (4.5:1 for text) and 1.4.11 (3:1 for marks), with relative
luminance as defined there.
"""

import re
from pathlib import Path

import pytest
from django.conf import settings

TOKENS = (Path(settings.BASE_DIR) / "static/css/tokens.css").read_text(encoding="utf-8")
LIGHT, DARK, PRINT = (
    dict(re.findall(r"--([a-z-]+):\s*(#[0-9a-f]{6});", block))
    for block in (
        TOKENS.split("@media")[0],
        TOKENS.split("@media (prefers-color-scheme: dark)")[1].split("@media print")[0],
        TOKENS.split("@media print")[1],
    )
)
TEXT, MARK = 4.5, 3.0
TEXT_PAIRS = [
    ("ink", "paper"),
    ("ink", "raised"),
    ("ink", "sunk"),
    ("quiet", "paper"),
    ("quiet", "sunk"),
    ("lichen", "paper"),
    ("lichen-ink", "lichen"),
    ("ink", "lichen-pale"),
    ("madder-ink", "madder"),
    ("madder-text", "paper"),
    ("madder-text", "raised"),
    ("ink", "madder-pale"),
    ("straw-ink", "straw"),
]
MARK_PAIRS = [
    ("rule-strong", "paper"),
    ("umber", "paper"),
    ("slate", "paper"),
    ("straw-edge", "straw"),
]


def luminance(colour):
    """Relative luminance of '#rrggbb' (WCAG 2.2, definitions)."""
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_black_on_white_has_the_contrast_that_the_standard_names():
    assert contrast("#000000", "#ffffff") == pytest.approx(21, abs=1e-9)


@pytest.mark.parametrize("theme", [LIGHT, DARK, PRINT], ids=["light", "dark", "print"])
@pytest.mark.parametrize(
    ("front", "back", "least"),
    [(*pair, TEXT) for pair in TEXT_PAIRS] + [(*pair, MARK) for pair in MARK_PAIRS],
)
def test_colours_that_stand_on_one_another_can_be_told_apart(theme, front, back, least):
    assert contrast(theme[front], theme[back]) >= least
