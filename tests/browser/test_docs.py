"""The reference pages work under the strict policy."""

import pytest
from django.urls import reverse

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_the_reference_shows_the_operations(page):
    page.goto(reverse("v1-docs"))
    page.get_by_text("What this version offers").wait_for()
    assert page.title() == "Forbcast API, version 1"
