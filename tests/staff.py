"""The people of tests, one function a role; they come in through the services."""

from __future__ import annotations

import itertools
from typing import Any

from gradation.models import User
from gradation.policy import Role
from gradation.services import people

PASSWORD = "granite-under-lichen"

_number = itertools.count(1)


def make_person(*roles: Role, **values: Any) -> User:
    """Add a person with these roles."""
    n = next(_number)
    filled = {"username": f"person{n}", "full_name": f"Person {n}", **values}
    return people.add_person(
        actor=people.system_account(), person=User(**filled), password=PASSWORD, roles=roles
    )


def technician() -> User:
    """Add a technician."""
    return make_person(Role.TECHNICIAN)


def reviewer() -> User:
    """Add a reviewer."""
    return make_person(Role.REVIEWER)


def signatory() -> User:
    """Add an authorised signatory."""
    return make_person(Role.SIGNATORY)


def keeper() -> User:
    """Give the equipment keeper, always the same."""
    known = User.objects.filter(username="keeper").first()
    return known or make_person(Role.EQUIPMENT_KEEPER, username="keeper")


def quality_manager() -> User:
    """Add a quality manager."""
    return make_person(Role.QUALITY_MANAGER)


def approver() -> User:
    """Give the signatory who approves what others proposed, always the same."""
    known = User.objects.filter(username="approver").first()
    return known or make_person(Role.SIGNATORY, username="approver")
