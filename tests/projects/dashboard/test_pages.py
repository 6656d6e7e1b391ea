"""What holds for every page: the strict policy leaves nothing to complain about, and readers find their way."""

import re

import pytest

from projects.api.errors import KINDS

PATHS = [
    "/",
    "/plan/",
    "/plan/?area_m2=180&taxon_1=%22%3E%3Cscript%3E",
    "/estimate/?area_m2=180&kind=churchyard&as_of=2026-08-15",
    "/estimate/?area_m2=%3Cimg%20src=x%20onerror=alert(1)%3E",
    "/estimate/plan-sheet/?area_m2=180&as_of=2026-08-15",
    "/estimate/sowing-day/?area_m2=180&as_of=2026-08-15",
    "/how-we-know/",
    "/how-we-know/prices/?q=seed",
    "/how-we-know/sources/",
    "/no-such-page/",
]


@pytest.fixture(params=PATHS)
def html(request, client):
    return client.get(request.param).content.decode()


def test_nothing_is_inline_and_nothing_comes_from_elsewhere(html):
    assert not re.findall(r"<style|\sstyle=|\son[a-z]+=[\"']|javascript:", html)
    assert re.findall(r"<script[^>]*>", html) == ['<script src="/static/dashboard/forbcast.js" defer>']
    addresses = re.findall(r"(?:src|href|action)=\"([^\"]*)\"", html)
    assert addresses
    assert [address for address in addresses if not re.match(r"/(?!/)|#|\?", address)] == []


def test_readers_and_their_programs_find_their_way(html):
    assert html.startswith('<!doctype html>\n<html lang="en-GB">')
    assert len(re.findall(r"<h1[ >]", html)) == 1
    assert '<a class="skip" href="#main">' in html
    assert '<main id="main"' in html
    assert re.search(r"<title>[^<]+</title>", html)
    identifiers = re.findall(r"\sid=\"([^\"]+)\"", html)
    assert len(identifiers) == len(set(identifiers))
    for named in re.findall(r"(?:aria-describedby|aria-labelledby|for)=\"\s*([^\"]+)\"", html):
        assert set(named.split()) <= set(identifiers)


def test_no_page_sets_a_cookie(client):
    for path in PATHS:
        assert not client.get(path).cookies


def test_the_front_page_says_what_it_is_for(read):
    page = read("/")
    assert "For a group with a patch of grass" in page.text
    assert "For the county charity that helps" in page.text
    assert "as groups usually manage" in page.text
    assert {"/plan/", "/how-we-know/", "/api/v1/docs/"} <= {a["href"] for tag, a in page.tags if tag == "a"}


@pytest.mark.parametrize("code", KINDS)
def test_error_codes_are_explained_to_people_as_a_page_and_to_programs_as_json(client, code):
    page = client.get(f"/problems/{code}/", headers={"Accept": "text/html,application/xhtml+xml,*/*;q=0.8"})
    assert page.headers["Content-Type"] == "text/html; charset=utf-8"
    assert KINDS[code].title in page.content.decode()
    data = client.get(f"/problems/{code}/", headers={"Accept": "application/json"})
    assert data.json()["title"] == KINDS[code].title
    # the page's masthead also knows who is signed in
    assert (page.headers["Vary"], data.headers["Vary"]) == ("Accept, Cookie", "Accept")


def test_an_unknown_code_is_a_page_that_says_so(client):
    response = client.get("/problems/no_such_code/", headers={"Accept": "text/html"})
    assert response.status_code == 404
    assert b"Nothing stands here" in response.content


def test_our_own_mistake_is_a_page_too(client, settings, monkeypatch):
    client.raise_request_exception = False
    monkeypatch.setattr("modelling.selectors.sources", lambda: 1 / 0)
    response = client.get("/how-we-know/sources/")
    assert response.status_code == 500
    assert b"Something went wrong on our side" in response.content
