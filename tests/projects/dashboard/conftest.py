"""Pages as a browser gets them, and their text as a reader does."""

from html.parser import HTMLParser

import pytest

CHURCHYARD = (
    "area_m2=180&kind=churchyard&sward=rank_grass&volunteers=8&hours_per_session=3&budget_gbp=150"
    "&kit_to_hand=pedestrian_scarifier&as_of=2026-08-15"
)


class Page(HTMLParser):
    """Tags with their attributes, the text between them, and the headings."""

    INSIDE_A_LINE = {"a", "b", "code", "em", "i", "span", "strong"}

    def __init__(self, html):
        super().__init__()
        self.tags = []
        self.words = []
        self.headings = []
        self.heading = False
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in self.INSIDE_A_LINE:
            self.words.append(" ")
        self.heading = tag in {"h1", "h2"}

    def handle_data(self, data):
        self.words.append(data)
        if self.heading:
            self.headings.append(data)
            self.heading = False

    @property
    def text(self):
        return " ".join("".join(self.words).replace("\u00a0", " ").split())


@pytest.fixture
def read(client):
    """Get an address and return the page, which must answer as expected."""

    def get(path, status=200):
        response = client.get(path)
        assert response.status_code == status, response
        assert response.headers["Content-Type"] == "text/html; charset=utf-8"
        return Page(response.content.decode())

    return get


@pytest.fixture(scope="session")
def churchyard():
    """The query of a churchyard's estimate."""
    return CHURCHYARD
