"""Where the numbers come from: every table can be read, searched and paged through."""

from urllib.parse import urlsplit

import pytest

from modelling.core.parameters import CONFIDENCES
from modelling.selectors import parameters, reference_table, reference_tables, sources, vocabularies
from projects.api.v1.views import reference


def get(client, path, status=200):
    response = client.get(path)
    assert response.status_code == status, response.content
    return response.json()


def test_the_index_lists_every_table_with_its_rows_and_the_checksum(client):
    index = get(client, "/api/v1/reference/")
    assert index["reference_checksum"] == parameters().checksum
    assert {table["table"]: table["row_count"] for table in index["tables"]} == {
        table["table"]: len(table["rows"]) for table in reference_tables()
    }
    for table in index["tables"]:
        assert get(client, table["url"])["row_count"] == table["row_count"]
    assert get(client, index["sources_url"])["sources"] == sources()
    assert get(client, index["model_card_url"])["markdown"].startswith("# ")


def test_following_next_shows_every_row_once(client):
    path = "/api/v1/reference/taxon_values/"
    rows, pages = [], 0
    while path:
        page = get(client, path)
        pages += 1
        assert (page["page"], len(page["rows"]) <= 100) == (pages, True)
        rows += page["rows"]
        path = page["next"]
    assert pages == page["page_count"] > 1
    assert rows == reference_table("taxon_values")["rows"]


def test_a_number_has_unit_source_and_confidence(client):
    for row in get(client, "/api/v1/reference/prices/")["rows"]:
        assert row["unit"]
        assert row["source"]
        assert row["confidence"] in CONFIDENCES


def test_rows_are_filtered_by_confidence_and_text_together(client):
    path = "/api/v1/reference/taxon_values/?confidence=from+memory&q=YELLOW+RATTLE"
    page = get(client, path)
    expected = [
        row
        for row in reference_table("taxon_values")["rows"]
        if row["confidence"] == "from memory"
        and any("yellow rattle" in str(value).casefold() for value in row.values())
    ]
    assert 0 < page["row_count"] == len(expected)
    assert page["rows"] == expected[:100]


def test_the_filters_stay_on_the_next_page(client):
    page = get(client, "/api/v1/reference/taxon_values/?confidence=from+memory")
    assert urlsplit(page["next"]).query == "confidence=from+memory&page=2"


def test_what_nothing_fits_is_one_empty_page(client):
    page = get(client, "/api/v1/reference/taxon_values/?q=no+such+thing+anywhere")
    assert (page["rows"], page["page_count"], page["next"]) == ([], 1, None)


@pytest.mark.parametrize(
    ("query", "parameter", "code"),
    [
        ("confidence=measured", "confidence", "unknown_word"),
        ("confidence=", "confidence", "unknown_word"),
        ("q=", "q", "out_of_range"),
        ("q=" + "x" * 81, "q", "out_of_range"),
        ("page=0", "page", "out_of_range"),
        ("page=-1", "page", "out_of_range"),
        ("page=1e3", "page", "out_of_range"),
        ("page=99999", "page", "out_of_range"),
        ("page=" + "9" * 5000, "page", "out_of_range"),
        ("page=%D9%A1", "page", "out_of_range"),
        ("page=1&page=2", "page", "given_twice"),
        ("confidance=published", "confidance", "unknown_key"),
        ("limit=5", "limit", "unknown_key"),
    ],
)
def test_a_wrong_query_is_422_and_names_the_parameter(client, query, parameter, code):
    problem = get(client, f"/api/v1/reference/taxon_values/?{query}", 422)
    (error,) = problem["errors"]
    assert (problem["code"], error["parameter"], error["code"], error["pointer"]) == (
        "invalid_request",
        parameter,
        code,
        "",
    )


def test_a_misspelt_parameter_is_told_the_right_one(client):
    problem = get(client, "/api/v1/reference/prices/?confidance=published", 422)
    assert problem["errors"][0]["suggestions"] == ["confidence"]


@pytest.mark.parametrize("name", ["nothing", "Prices", "..%2Fprices", "%00", "x" * 3000])
def test_an_unknown_table_is_404_and_names_the_tables(client, name):
    problem = get(client, f"/api/v1/reference/{name}/", 404)
    assert problem["code"] == "not_found"
    if name in {"nothing", "Prices"}:
        assert problem["detail"].startswith(f"There is no table '{name}'. The tables are taxon_values, ")


def test_the_confidences_described_are_those_of_the_tables():
    assert reference.CONFIDENCES == CONFIDENCES


def test_the_vocabularies_are_all_keys_with_labels(client):
    found = get(client, "/api/v1/vocabularies/")
    assert found == vocabularies()
    for words in found.values():
        keys = [word["key"] for word in words]
        assert len(keys) == len(set(keys)) > 0
        assert all(word["label"] for word in words)


@pytest.mark.parametrize(
    "path", ["/api/v1/", "/api/v1/vocabularies/", "/api/v1/reference/", "/api/v1/reference/sources/"]
)
def test_an_address_without_parameters_reads_none(client, path):
    problem = get(client, f"{path}?x=1", 422)
    assert problem["errors"][0]["detail"] == (
        "This address does not read 'x'; after the question mark it reads nothing."
    )
