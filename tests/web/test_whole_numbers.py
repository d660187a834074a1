"""Sentences in which no line ends within a number."""

import pytest

from gradation.web.templatetags.notebook import whole_numbers


@pytest.mark.parametrize(
    "number", ["26-0009", "26-0148-A/1", "S26-0001", "B26-0001", "NS-0109", "4.75 mm", "75 µm"]
)
def test_number_is_kept_together_and_its_sentence_stays(number):
    shown = whole_numbers(f"at least 15 % of {number}; else none")

    assert shown == f'at least 15 % of <span class="nowrap">{number}</span>; else none'


def test_words_without_numbers_and_hostile_ones_stay_words():
    assert whole_numbers("10-15 % and <b>26</b>") == "10-15 % and &lt;b&gt;26&lt;/b&gt;"
