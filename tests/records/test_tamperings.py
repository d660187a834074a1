"""Whoever changes the records past all guards is found, and the place is named."""

import random

import pytest
from django.db import connection

from gradation.queries.verification import Scope, verify
from tests.records import tamperings


def found(**values):
    return [str(each) for each in verify(Scope(**values), lambda *_: None)]


@pytest.fixture
def anchors(db):
    return tamperings.fill()


def test_p11_g4_s51_eight_kinds_of_tampering_are_found_and_located(anchors):
    assert found(anchors=anchors) == []
    chance = random.Random(20261129)

    for kind in tamperings.KINDS * 4:
        done, broken = tamperings.attempt(kind, chance, anchors)
        assert any(each.startswith(done.where) for each in broken), (done, broken)

    assert found(anchors=anchors) == []


@pytest.mark.parametrize("kind", [tamperings.rewrite, tamperings.restore])
def test_p11_a_forged_whole_is_sound_in_itself_and_only_the_outside_copy_tells(anchors, kind):
    _, without = tamperings.attempt(kind, random.Random(1), ())
    _, with_anchor = tamperings.attempt(kind, random.Random(1), anchors)

    assert without == []
    assert with_anchor != []


def test_f28_an_older_copy_is_named_as_shorter_than_the_seal(anchors):
    _, broken = tamperings.attempt(tamperings.restore, random.Random(2), anchors)

    assert any("shorter than this seal" in each for each in broken)
    assert connection.vendor in {"sqlite", "postgresql"}
