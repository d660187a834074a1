"""The people and the laboratory that use-cases need."""

import pytest

from tests import factories


@pytest.fixture
def laboratory(db):
    """Set up the laboratory."""
    return factories.make_laboratory()


@pytest.fixture
def technician(laboratory):
    """Give a technician."""
    return factories.technician()


@pytest.fixture
def reviewer(laboratory):
    """Give a reviewer."""
    return factories.reviewer()


@pytest.fixture
def signatory(laboratory):
    """Give an authorised signatory."""
    return factories.signatory()


@pytest.fixture
def keeper(laboratory):
    """Give an equipment keeper."""
    return factories.keeper()
