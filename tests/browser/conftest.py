"""A real Chromium under the real policy. A page that logs an error or breaks the policy fails its test."""

import os
import shutil

import pytest


@pytest.fixture(scope="session")
def chromium():
    """The system's Chromium, started once."""
    from playwright.sync_api import sync_playwright

    # Playwright keeps an event loop in this thread; Django would refuse the database for the sake of it.
    before = os.environ.get("DJANGO_ALLOW_ASYNC_UNSAFE")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"),
            # Its sandbox cannot be had by root or in most containers.
            args=["--no-sandbox"],
        )
        yield browser
        browser.close()
    if before is None:
        del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


@pytest.fixture
def page(chromium, live_server):
    """An empty page of the live server; afterwards, nothing may have gone wrong in it."""
    context = chromium.new_context(base_url=live_server.url, locale="en-GB", timezone_id="Europe/London")
    page = context.new_page()
    faults = []
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on(
        "request",
        lambda asked: None if asked.url.startswith((live_server.url, "data:")) else faults.append(asked.url),
    )
    yield page
    context.close()
    assert faults == []
