"""Accounts in a real browser: from an invitation to being erased, on a phone and on a desk."""

import pytest

from projects.models import User
from tests.browser.test_pages import DESK, PHONE, faults
from tests.projects.accounts.conftest import settle
from tests.projects.county import PASSWORD

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def seen(page):
    """Open or look at a page: everybody can use it, and nothing hangs over the edge."""

    def look(path=None):
        if path is not None:
            page.goto(path)
        assert faults(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
        return page.inner_text("main")

    return look


def send(page):
    """Send the page's form by keyboard, and wait for what comes."""
    button = page.locator("main form button[type=submit]").first
    button.focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_somebody_is_invited_comes_in_makes_a_token_and_goes(page, seen, viewport):
    village = settle()
    page.set_viewport_size(viewport)
    invite = f"/groups/{village.group.public_id}/invite/"

    seen(invite)
    page.get_by_label("E-mail address").fill(village.lead.email)
    page.get_by_label("Password").fill(PASSWORD)
    send(page)
    assert page.url.endswith(invite)

    page.get_by_label("Their e-mail address").fill("piran.sedge@example.org")
    send(page)
    assert "piran.sedge@example.org is invited" in seen()
    link = page.inner_text("pre.copy").strip()
    assert "piran.sedge@example.org" in seen(invite)
    assert "the invitation is for another address" in seen(link)
    send(page)
    assert page.url == link

    # the form of a page whose address is secret is not taken for one sent from elsewhere
    assert "You are signed out." in seen()
    page.get_by_label("Your name").fill("Piran Sedge")
    page.get_by_label("A password").fill("three wet geese")
    send(page)
    assert page.url.endswith("/home/")
    assert "Welcome to Gullhaven Meadow Makers." in page.inner_text("main")

    for path in ("/account/name/", "/account/email/", "/account/password/", "/account/"):
        seen(path)
    seen("/account/tokens/")
    page.get_by_label("What it is for").fill("Sheet of hours")
    page.get_by_label("Your password").fill("three wet geese")
    send(page)
    assert "shown once" in seen()
    assert "Sheet of hours" in seen("/account/")

    seen("/account/erase/")
    page.get_by_label("Write the word “erase”").fill("erase")
    page.get_by_label("Your password").fill("three wet geese")
    send(page)
    assert "Your account is erased" in seen()
    assert User.objects.get(erased_at__isnull=False).email is None
    seen("/sign-in/forgotten/")
