"""Every role, and nobody, at every address, about their own things and another customer's.

Generated from the table of addresses: no cell is left blank, and none lets out what is not theirs.
"""

from dataclasses import dataclass
from http import HTTPStatus

import pytest
from django.test import Client

from gradation.policy import Role
from tests.web import test_permissions as table
from tests.web.things import things as things

NOBODY = "nobody"
WHO = [*Role, NOBODY]
OWN, OTHERS = "own", "another customer's"
#: Tables of addresses whose rows are seen by a customer when they are theirs.
LET_IN = {HTTPStatus.OK, HTTPStatus.FOUND}


@dataclass(frozen=True)
class Cell:
    """One cell of the matrix."""

    who: str
    method: str
    name: str
    keys: tuple
    whose: str
    may: bool


def cells(who):
    """List the cells of one role: looking everywhere, sending only where it is not allowed."""
    for name, keys, allowed in table.GET:
        for whose in (OWN, OTHERS) if keys else (OWN,):
            may = who in allowed
            yield Cell(who, "get", name, keys, whose, may)
            if not may:
                yield Cell(who, "post", name, keys, whose, may)
    for name, keys, allowed in table.POST:
        for whose in (OWN, OTHERS) if keys else (OWN,):
            if who not in allowed:
                yield Cell(who, "post", name, keys, whose, may=False)


def expected(cell):
    """Say which answers are right."""
    if cell.who == NOBODY:
        return {401, 405} if cell.name in table.TOLD_AS_JSON else {302, 401, 405}
    if not cell.may:
        # An address that is only looked at says 405 before it asks who sends something to it.
        return {403, 404, 405} if cell.method == "post" else {403}
    if cell.who is Role.CUSTOMER and cell.whose == OTHERS:
        return {404}
    return LET_IN


def test_g9_the_matrix_has_no_blank_cell_and_at_least_two_thousand():
    every = [cell for who in WHO for cell in cells(who)]

    assert len(every) >= 2000
    assert {cell.who for cell in every} == set(WHO)
    for who in WHO:
        named = {cell.name for cell in cells(who)}
        assert named >= {name for name, _, _ in table.GET}
    assert all(expected(cell) for cell in every)


@pytest.mark.django_db
@pytest.mark.parametrize("who", WHO)
def test_g9_r69_nobody_gets_what_is_not_theirs(who, things):
    from tests import factories

    client, wrong = Client(), []
    if who == Role.CUSTOMER:
        strangers = factories.make_person(Role.CUSTOMER, customer=factories.make_customer())
        people = {OWN: table.person_with(who, things), OTHERS: strangers}
    elif who != NOBODY:
        person = factories.make_person(who)
        people = {OWN: person, OTHERS: person}

    for cell in sorted(cells(who), key=lambda cell: cell.whose):
        if who != NOBODY and client.session.get("_auth_user_id") != str(people[cell.whose].pk):
            client.force_login(people[cell.whose])
        status = table.asked(client, cell.method, cell.name, cell.keys, things).status_code
        if status not in expected(cell) and not is_open_to_both(cell, status):
            wrong.append((cell.method, cell.name, cell.whose, status))

    assert wrong == []


def is_open_to_both(cell, status):
    """Say whether the address is about no customer's thing, so that a customer just gets in."""
    return (
        cell.who is Role.CUSTOMER
        and cell.whose == OTHERS
        and status in LET_IN
        and not {"number", "label", "run", "drying", "certificate"} & set(cell.keys)
    )
