import copy

import pytest

from tests.projects.proof import Saltmere


@pytest.fixture(scope="module")
def county_made(django_db_setup, django_db_blocker):
    with django_db_blocker.unblock():
        Saltmere.setUpClass()
        yield Saltmere.county
        Saltmere.tearDownClass()
        Saltmere.doClassCleanups()


@pytest.fixture
def county(county_made, db):
    """Saltmere, as it is made; each test has it to itself."""
    return copy.deepcopy(county_made)
