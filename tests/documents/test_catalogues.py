"""The words of certificates in other languages: all there, whole, and compiled."""

import gettext
import re

import pytest

from gradation.language import LANGUAGES, day_words, days_words, localized, speaking
from tests import catalogues
from tests.documents.example_certificate import make_content

_PLACES = re.compile(r"%\((\w+)\)s")


@pytest.mark.parametrize("language", catalogues.LANGUAGES)
def test_every_word_of_a_certificate_is_translated(language):
    messages = catalogues.read(catalogues.catalogue(language))

    said = {key for key, text in messages.items() if text}
    assert catalogues.wanted() - said == set()
    assert said - catalogues.wanted() - {""} == set(), "words that nothing asks for any more"


@pytest.mark.parametrize("language", catalogues.LANGUAGES)
def test_translations_keep_what_is_filled_in(language):
    for key, text in catalogues.read(catalogues.catalogue(language)).items():
        assert sorted(_PLACES.findall(key)) == sorted(_PLACES.findall(text)), key
        assert key.count("%%") == text.count("%%"), key


@pytest.mark.parametrize("language", catalogues.LANGUAGES)
def test_compiled_catalogue_is_that_of_its_text(language):
    path = catalogues.catalogue(language)

    compiled = path.with_suffix(".mo")

    assert compiled.read_bytes() == catalogues.compiled(catalogues.read(path))
    with compiled.open("rb") as file:
        assert gettext.GNUTranslations(file).gettext("Sample") != "Sample"


def test_languages_offered_are_those_translated():
    assert set(LANGUAGES) == {"en", *catalogues.LANGUAGES}


@pytest.mark.parametrize(("language", "figure"), [("en", "4.75 mm"), ("de", "4,75 mm")])
def test_decimal_sign_follows_the_language(language, figure):
    with speaking(language):
        assert localized("4.75 mm") == figure
        assert localized("No. 200") == "No. 200"


@pytest.mark.parametrize(
    ("language", "day", "days"),
    [
        ("en", "1 Mar 2026", "1 to 2 Mar 2026"),
        ("de", "1. März 2026", "1. bis 2. März 2026"),
        ("fr", "1er mars 2026", "1er au 2 mars 2026"),
        ("es", "1 mar 2026", "1 al 2 mar 2026"),
    ],
)
def test_dates_follow_the_language(language, day, days):
    from datetime import datetime

    first, second = datetime(2026, 3, 1), datetime(2026, 3, 2)  # noqa: DTZ001 - calendar days

    with speaking(language):
        assert day_words(first) == day
        assert days_words(first, second) == days


def test_language_of_the_thread_comes_back():
    from django.utils.translation import get_language

    before = get_language()
    make_content(language="fr")

    assert get_language() == before
