"""Photos and handovers in a real browser: for everybody, over no edge, and a handover on one printed side."""

import io

import pypdf
import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.test import Client
from django.utils import timezone

from modelling.reading import read_as
from projects.contracts.handovers import MOST_DATES, MOST_LETTERS, MOST_LINES, HandoverNew
from projects.contracts.photos import PhotoNew
from projects.models import Membership, ReturnPhoto
from projects.services.handovers import group_hand_over
from projects.services.photos import photo_add
from tests.projects.county import saltmere
from tests.projects.photos import encoded, jpeg, meadow
from tests.projects.services.test_photos import a_return

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}
TODAY = timezone.now()
#: as long as an answer may be: one long line, and as many short ones as there may be
LONGEST = ("cupboard " * MOST_LETTERS)[: MOST_LETTERS - 2 * MOST_LINES] + "\na" * (MOST_LINES - 1)


@pytest.fixture
def county():
    return saltmere()


@pytest.fixture
def signed_in(page, county, live_server):
    client = Client()
    client.force_login(county.lead)
    name = settings.SESSION_COOKIE_NAME
    page.context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])
    return page


def written(county, **values):
    return group_hand_over(
        actor=county.as_(county.lead), group_id=county.groups["Gullhaven Meadow Makers"].public_id,
        asked=read_as(HandoverNew, values), now=TODAY,
    )[0]  # fmt: skip


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_everybody_can_use_the_pages_and_nothing_hangs_over_the_edge(signed_in, county, viewport):
    outcome = a_return(county)
    said = {"taken_on": "2026-06-20", "point": "By the gate", "caption": "Hay", "agreed": True}
    photo, _ = photo_add(
        actor=county.as_(county.lead), return_id=outcome.public_id, asked=read_as(PhotoNew, said),
        content=encoded(meadow(2400, 1600)), now=TODAY,
    )  # fmt: skip
    row = written(county, way_in="The churchwarden.", dates=[{"what": "First cut", "on": "2027-07-20"}])
    group, project = county.groups["Gullhaven Meadow Makers"].public_id, outcome.project.public_id
    leaving = Membership.objects.get(user=county.lead, group=outcome.group).public_id
    signed_in.set_viewport_size(viewport)
    for path in (
        f"/projects/{project}/photos/", f"/returns/{outcome.public_id}/photos/new/",
        f"/photos/{photo.public_id}/withdraw/",
        f"/groups/{group}/hand-over/", f"/projects/{project}/hand-over/", f"/groups/{group}/handovers/",
        f"/handovers/{row.public_id}/", f"/account/leave/{leaving}/",
    ):  # fmt: skip
        assert signed_in.goto(path).status == 200
        signed_in.wait_for_load_state("networkidle")
        found = Axe().run(signed_in).response["violations"]
        assert [(fault["id"], [node["html"] for node in fault["nodes"]]) for fault in found] == [], path
        assert signed_in.evaluate("document.documentElement.scrollWidth") <= viewport["width"], path
    signed_in.goto(f"/projects/{project}/photos/")
    assert signed_in.locator("figure img").evaluate("picture => picture.decode().then(() => picture.naturalWidth)") > 0


def test_a_photo_is_sent_by_thumb(signed_in, county):
    outcome = a_return(county)
    signed_in.set_viewport_size(PHONE)
    signed_in.goto(f"/returns/{outcome.public_id}/photos/new/")
    signed_in.get_by_label("The photo").set_input_files(
        {"name": "IMG_0001.jpg", "mimeType": "image/jpeg", "buffer": jpeg()}
    )
    signed_in.get_by_label("Day it was taken").fill("2026-06-20")
    signed_in.get_by_label("From where, looking which way?").fill("By the gate")
    signed_in.get_by_label("What is to be seen?").fill("Hay")
    signed_in.get_by_label("No person who has not agreed").check()
    signed_in.get_by_role("button", name="Send the photo").click()
    signed_in.get_by_text("The photo is there.").wait_for()
    assert ReturnPhoto.objects.get().caption == "Hay"


def test_the_longest_handover_prints_on_one_side(signed_in, county):
    texts = dict.fromkeys(("things", "way_in", "promised", "fixed_spots", "went_wrong"), LONGEST)
    date = {"what": ("Ask the clerk about the hedge " * 9)[:120].strip(), "on": "2027-09-30"}
    row = written(county, **texts, dates=[date] * MOST_DATES)
    signed_in.goto(f"/handovers/{row.public_id}/")
    document = pypdf.PdfReader(io.BytesIO(signed_in.pdf(prefer_css_page_size=True)))
    assert len(document.pages) == 1
    text = document.pages[0].extract_text()
    assert "Who lets you in" in text
    assert "Plan a meadow" not in text
