"""The estimate page: its address is the recipe, its first words are the answer, and it says the same as the service."""

import json
from datetime import date
from urllib.parse import parse_qs, urlsplit

import pytest
import time_machine

from modelling import services
from projects.api import throttling
from projects.dashboard import words


def answer(**said):
    return services.estimate_now(services.read_estimate(said), today=date(2026, 8, 15))


@pytest.fixture
def page(read, churchyard):
    return read(f"/estimate/?{churchyard}")


def test_an_address_without_a_date_is_sent_on_to_todays(client):
    with time_machine.travel("2026-03-21T12:00Z"):
        response = client.get("/estimate/?area_m2=1,800&kind=&volunteers=8")
    assert response.status_code == 302
    assert response.headers["Location"] == "/estimate/?area_m2=1800&volunteers=8&as_of=2026-03-21"


def test_the_address_it_is_sent_on_to_answers_at_once(client):
    with time_machine.travel("2026-03-21T12:00Z"):
        location = client.get("/estimate/?area_m2=0.9").headers["Location"]
    assert parse_qs(urlsplit(location).query) == {"area_m2": ["0.9"], "as_of": ["2026-03-21"]}
    assert client.get(location).status_code == 200


def test_late_evening_in_summer_is_already_tomorrow_here(client):
    with time_machine.travel("2026-06-30T23:30Z"):
        assert client.get("/estimate/?area_m2=180").headers["Location"].endswith("as_of=2026-07-01")


def test_the_first_words_are_the_answer(page):
    found = answer(
        site={"area_m2": 180.0, "kind": "churchyard", "sward": "rank_grass"},
        plan={
            "crew": {"volunteers": 8, "hours_per_session": 3.0},
            "kit_to_hand": ["pedestrian_scarifier"],
            "budget_gbp": 150.0,
        },
        as_of="2026-08-15",
    )
    text = page.text
    start = text.index("Skip to the text")
    assert text.index(found["sentence"]) - start < 100
    assert found["advice"]["verdict"] == "look_first"
    assert text.index(found["advice"]["sentence"]) < text.index("Seed to buy")
    for line in found["cost"]["lines"]:
        if line["kind"] == "cash" and line["p90_gross_gbp"]:
            assert words.pounds_between(line["p10_gross_gbp"], line["p90_gross_gbp"]).replace("\u00a0", " ") in text
    for permission in found["permissions"]:
        assert permission["label"] in text
    for caution in found["cautions"]:
        assert caution["text"] in text
    for taken in found["assumptions"]:
        assert taken["label"] in text
    for taxon in found["taxa"]:
        assert taxon["scientific_name"] in text
    assert found["recipe"]["inputs_checksum"][:12] in text


def test_the_sections_answer_what_people_ask_in_this_order(page):
    headings = [
        "Look at these again",
        "Seed to buy",
        "Hands and machines",
        "Money",
        "What will grow",
        "When each species shows",
        "First summer",
        "What drives the range",
        "Other ways to do it",
        "Calendar",
        "Where the cuttings go",
        "Permissions to have in writing",
        "Cautions",
        "What we assumed",
        "How this was made",
    ]
    assert page.headings[1:] == headings


def test_latin_names_are_marked_as_latin(page):
    assert ("i", {"lang": "la"}) in page.tags


def test_other_ways_are_set_beside_the_plan(page):
    for way in ("As planned", "Strip the turf first", "More yellow rattle", "No yellow rattle added", "plugs of slow"):
        assert way in page.text
    assert "Change the mowing only" in page.text


def test_search_engines_are_asked_to_leave_it_out(client, churchyard):
    response = client.get(f"/estimate/?{churchyard}")
    assert response.headers["X-Robots-Tag"] == "noindex"
    assert b'<meta name="robots" content="noindex">' in response.content
    assert not response.cookies


def test_what_means_nothing_in_the_address_is_told(read):
    text = read("/estimate/?area_m2=180&as_of=2026-08-15&colour=blue").text
    assert "The address also says “colour”, which means nothing here; it was left out." in text


def test_a_larger_area_moves_the_numbers(read):
    small = read("/estimate/?area_m2=180&as_of=2026-08-15").text
    large = read("/estimate/?area_m2=360&as_of=2026-08-15").text
    assert small.split("What will grow")[0] != large.split("What will grow")[0]
    assert "Your 180 m²" in small
    assert "Your 360 m²" in large


def test_the_links_on_the_page_keep_the_whole_recipe(page, churchyard):
    links = [attributes["href"] for tag, attributes in page.tags if tag == "a" and churchyard in attributes["href"]]
    assert links == [
        f"/plan/?{churchyard}",
        f"/estimate/plan-sheet/?{churchyard}",
        f"/estimate/sowing-day/?{churchyard}",
    ]


def test_the_small_form_changes_the_area_and_keeps_the_rest(page, churchyard):
    hidden = [
        f"{attributes['name']}={attributes['value']}"
        for tag, attributes in page.tags
        if tag == "input" and attributes["type"] == "hidden"
    ]
    assert "&".join(["area_m2=180", *hidden]) == churchyard


def test_the_call_for_programs_is_the_request_of_this_page(client, churchyard):
    html = client.get(f"/estimate/?{churchyard}").content.decode()
    call = html.split('<pre class="copy" tabindex="0">')[1].split("</pre>")[0].replace("&quot;", '"')
    assert services.read_estimate(json.loads(call)).site.area_m2 == 180


@pytest.mark.parametrize(
    ("query", "status", "words"),
    [
        ("area_m2=0.9&kind=garden&mix_1=neutral_meadow&mix_1_g=3", 200, "3 g of neutral meadow"),
        ("area_m2=20000&kind=field&last_use=grazing&olsen_p_mg_per_l=31", 200, "will probably disappoint"),
        ("area_m2=180&sowing=nothing&preparation=none", 200, "Nothing to buy"),
        ("area_m2=400&sward=flower_rich", 200, "Do not sow here"),
        ("area_m2=400&horizon_years=1", 200, "By summer 1"),
        ("area_m2=400&plug_1=cowslip&plug_1_count=50", 302, ""),
    ],
)
def test_many_kinds_of_question_are_answered(client, query, status, words):
    response = client.get(f"/estimate/?{query}&as_of=2026-08-15")
    if status == 302:
        response = client.get(response.headers["Location"])
    assert response.status_code == 200
    assert words in response.content.decode().replace("\u00a0", " ")


def test_what_is_wrong_comes_back_with_everything_typed(client):
    response = client.get("/estimate/?area_m2=lots&soil_ph=12&kind=churchyard&mix_1_g=30&taxon_2=<b>rattle</b>")
    html = response.content.decode()
    assert response.status_code == 422
    assert response.headers["X-Robots-Tag"] == "noindex"
    assert 'name="area_m2" value="lots"' in html
    assert '<option value="churchyard" selected>' in html
    assert "4 things to put right" in html
    assert '<p class="wrong" id="id_area_m2_error">' in html
    assert "12 will not do; it must be at most 10." in html
    assert 'value="&lt;b&gt;rattle&lt;/b&gt;"' in html
    assert "<b>rattle" not in html


def test_more_draws_than_one_call_may_ask_are_refused_beside_the_field(client, settings):
    settings.LARGEST_CALL_CELLS = 1_000_000
    response = client.get("/estimate/?area_m2=180&draws=10000&as_of=2026-08-15")
    assert response.status_code == 422
    assert b'id="id_draws_error"' in response.content


def test_ways_too_many_for_one_call_are_told_in_their_place(read, settings):
    # Of one year and 200 draws the plan takes 20 x 2 x 200 cells, and with its seven other ways eight times as many.
    settings.LARGEST_CALL_CELLS = 20_000
    text = read("/estimate/?area_m2=180&horizon_years=1&as_of=2026-08-15").text
    assert "Other ways could not be set beside this plan." in text
    assert "This call is too large even with 200 draws" in text


def test_too_many_estimates_get_a_page_that_says_when_to_come_back(client, settings, rf):
    settings.THROTTLE = True
    address = {"REMOTE_ADDR": "198.51.100.20"}
    with time_machine.travel("2026-03-21T12:00:13Z", tick=False):
        throttling.charge(rf.get("/", **address), throttling.CELLS_PER_WINDOW - 2_000_000)
        # 20 plants, 4,000 draws, two forecasts of one year: 160,000 cells, and a fraction of that for the other ways.
        answered = client.get("/estimate/?area_m2=180&horizon_years=1&as_of=2026-08-15", **address)
        refused = client.get("/estimate/?area_m2=180&as_of=2026-08-15", **address)
    assert (answered.status_code, refused.status_code) == (200, 429)
    assert refused.headers["Retry-After"] == "48"
    assert b"Load this page again in 48 seconds" in refused.content


def test_the_form_is_filled_with_what_the_address_says(read, churchyard):
    page = read(f"/plan/?{churchyard}&mix_1=neutral_meadow&mix_1_g=200&taxon_1=geranium_pratense")
    fields = {attributes.get("name"): attributes for tag, attributes in page.tags if tag == "input"}
    assert fields["area_m2"]["value"] == "180"
    assert fields["taxon_1"]["value"] == "meadow crane's-bill (Geranium pratense)"
    assert fields["mix_1_g"]["value"] == "200"
    assert ("option", {"value": "neutral_meadow", "selected": None}) in page.tags
    ticked = [a["value"] for tag, a in page.tags if tag == "input" and a["type"] == "checkbox" and "checked" in a]
    assert ticked == ["pedestrian_scarifier"]
    assert "put right" not in page.text


def test_the_empty_form_asks_for_the_area_alone(read):
    page = read("/plan/")
    assert "Only the size of the ground has to be filled in." in page.text
    assert not [tag for tag, attributes in page.tags if "required" in attributes]
    assert ("form", {"class": "plan-form", "action": "/estimate/", "method": "get", "novalidate": None}) in page.tags
