"""Every number can be looked up: its unit, its source, and how sure it is."""

import pytest

from modelling import selectors


def test_the_card_and_the_tables_are_there(read):
    page = read("/how-we-know/")
    for table in selectors.table_names():
        assert f"{table['title']}, {table['row_count']} rows" in page.text
        assert ("a", {"href": f"/how-we-know/{table['table']}/"}) in page.tags
    assert selectors.reference_checksum() in page.text
    assert [tag for tag, _ in page.tags if tag == "h1"] == ["h1"]


@pytest.mark.parametrize("table", [table["table"] for table in selectors.table_names()])
def test_every_row_of_every_table_is_shown_with_what_it_rests_on(client, table):
    found = selectors.reference_table(table)
    shown = links = 0
    for page in range(1, len(found["rows"]) // 100 + 2):
        html = client.get(f"/how-we-know/{table}/?page={page}").content.decode()
        shown += html.count("\n      <li>")
        links += html.count('<a href="/how-we-know/sources/#')
    assert shown == links == len(found["rows"])


def test_a_number_stands_with_its_range_unit_and_source(read):
    text = read("/how-we-know/rates/?q=vibration action points").text
    assert "rows hold “vibration action points”" in text
    row = next(row for row in selectors.reference_table("rates")["rows"] if row["quantity"] == "action_points")
    assert f"{row['mode']:g}" in text
    assert row["unit_in_words"] in text


def test_rows_are_found_by_all_the_words(read):
    assert "Rhinanthus minor" in read("/how-we-know/taxa/?q=RATTLE yellow").text
    assert "No row holds that." in read("/how-we-know/taxa/?q=rattle tractor").text


def test_what_was_looked_for_is_escaped(client):
    html = client.get("/how-we-know/taxa/", {"q": "<script>alert(1)</script>"}).content.decode()
    assert "<script>alert" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html


@pytest.mark.parametrize("page", ["0", "-1", "9999", "x"])
def test_a_page_that_is_not_there_shows_the_nearest(read, page):
    assert "rows." in read(f"/how-we-know/taxon_values/?page={page}").text


def test_every_source_has_a_place_that_rows_point_at(read):
    places = {attributes.get("id") for _, attributes in read("/how-we-know/sources/").tags}
    assert {source["source_id"] for source in selectors.sources()} <= places


@pytest.mark.parametrize(
    "path", ["/how-we-know/secrets/", "/how-we-know/..%2fmodels/", "/no-such-page/", "/estimate/x/"]
)
def test_what_is_not_there_is_a_page_that_says_so(read, path):
    assert "Nothing stands here" in read(path, status=404).text
