"""docs/security.md says what the program does: its figures, its words, its sections."""

import re
from pathlib import Path

from django.conf import settings

from gradation.documents.printing.press import MOST_PAGES
from gradation.services import (
    asking,
    factor_codes,
    kept_files,
    logo_checks,
    password_words,
    set_up,
    sheet_grid,
    sheet_table,
    sign_in,
    tokens,
)
from gradation.services.sign_in_tally import ACCOUNT, ADDRESS
from gradation.web.forms.door import LONGEST_PASSWORD
from gradation.web.forms.verification import LARGEST_FILE
from labsite.settings import base
from labsite.threshold import LARGEST_BODY

PAGE = (Path(__file__).resolve().parents[2] / "docs/security.md").read_text(encoding="utf-8")
MB = 1_000_000
SHORTEST = next(
    each["OPTIONS"]["min_length"] for each in base.AUTH_PASSWORD_VALIDATORS if "OPTIONS" in each
)
FIGURES = {
    "body of any request, MB": LARGEST_BODY / MB,
    "JSON of a request to the interface, MB": settings.DATA_UPLOAD_MAX_MEMORY_SIZE / 2**20,
    "requests of one token or person to the interface in a minute": base.INTERFACE_CALLS_PER_MINUTE,
    "questions of one address about certificates in a minute": asking.MOST_A_MINUTE,
    "rows of a table that comes in": sheet_table.MOST_ROWS,
    "pages of a document": MOST_PAGES,
    "shortest password, characters": SHORTEST,
    "longest password, characters": LONGEST_PASSWORD,
    "tries before an account or known browser waits": ACCOUNT.free,
    "first wait, seconds; then twice as long each time": ACCOUNT.first_wait.total_seconds(),
    "longest wait, minutes": ACCOUNT.longest_wait.total_seconds() / 60,
    "tries in a row before a password must be set anew": ACCOUNT.most,
    "tries of one address before it waits": ADDRESS.free,
    "an address is forgotten after, minutes": ADDRESS.forgotten_after.total_seconds() / 60,
    "step of one-time codes, seconds": factor_codes.STEP_S,
    "steps a code may be late or early": factor_codes.TOLERANCE,
    "between password and code, minutes": sign_in.CODE_WITHIN.total_seconds() / 60,
    "reset link, minutes": base.PASSWORD_RESET_TIMEOUT / 60,
    "code of the first start, hours": set_up.GOOD_FOR.total_seconds() / 3600,
    "longest life of a token, days": tokens.LONGEST_DAYS,
    "without a request, minutes": base.SESSION_IDLE_S / 60,
    "at most, hours": base.SESSION_COOKIE_AGE / 3600,
    "password typed again for acts on accounts and tokens after, minutes": base.SESSION_FRESH_S
    / 60,
}


def test_figures_of_the_page_are_those_of_the_program():
    told = dict(re.findall(r"^\| (.+?) \| ([\d.]+) \|$", PAGE, re.MULTILINE))

    assert {what: float(figure) for what, figure in told.items()} == FIGURES


def test_files_of_the_page_are_those_of_the_program():
    rows = re.findall(r"^\| (.+?) \| (.+?) \| ([\d.]+) \| (.+?) \|$", PAGE, re.MULTILINE)
    told = {what: (float(most), unpacked) for what, _, most, unpacked in rows}
    unpacked = f"{sheet_grid.LARGEST_UNPACKED // MB} MB, {sheet_grid.MOST_PARTS} parts"

    assert told == {
        "with equipment or a run": (kept_files.LARGEST_BYTES / MB, "not unpacked"),
        "table of runs or orders": (sheet_table.LARGEST_BYTES / MB, unpacked),
        "list of sieves": (sheet_grid.LARGEST_BYTES / MB, unpacked),
        "logo": (logo_checks.LARGEST_LOGO_BYTES / MB, "drawn by a child with limits"),
        "certificate to verify": (LARGEST_FILE / MB, "not unpacked"),
    }


def test_words_of_the_page_are_those_that_are_refused():
    told = re.search(r"a word of this place: ((?:`\w+`, )+)", PAGE)[1]

    assert tuple(re.findall(r"`(\w+)`", told)) == password_words._OWN


def test_sections_that_auditors_look_for_are_there():
    items = set(re.findall(r"\b\d{1,2}\.\d{1,2}(?:\.\d{1,2})?\b", " ".join(headings())))

    # What of chapters 1 to 16 is to be written down at level 2.
    assert items >= {
        *("2.1.1", "2.1.2", "2.1.3", "5.1.1", "6.1.1", "6.1.2", "6.1.3", "7.1.1", "7.1.2"),
        *("8.1.1", "8.1.2", "11.1.1", "11.1.2", "13.1.1", "14.1.1", "14.1.2"),
        *("15.1.1", "15.1.2", "15.1.3", "16.1.1"),
    }
    for section in re.split(r"^## ", PAGE, flags=re.MULTILINE)[1:]:
        assert len(section.split()) > 40, section.splitlines()[0]


def headings():
    return re.findall(r"^## .+$", PAGE, re.MULTILINE)
