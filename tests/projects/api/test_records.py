"""Records in open formats: CSV and Darwin Core, of one return for its people and of a network for everybody."""

import csv
import io
import math
import zipfile

import pytest
from defusedxml import ElementTree
from django.test import Client
from django.urls import reverse
from dwca.darwincore.utils import qualname
from dwca.read import DwCAReader

from projects.contracts.networks import NetworkChange, ShieldedTaxonNew
from projects.contracts.returns import NameSettled
from projects.contracts.sites import SiteChange
from projects.models import ShieldedTaxon
from projects.services import networks, returns, sites
from tests.projects.api.caller import Caller, fault
from tests.projects.county import NOW, appoint, person
from tests.projects.records import AUTUMN, agree, recorded, send, walk

pytestmark = pytest.mark.django_db

LICENCE = "https://creativecommons.org/licenses/by/4.0/"


def body(answer):
    assert answer.status_code == 200, answer.content
    return b"".join(answer.streaming_content) if answer.streaming else answer.content


def rows_of(answer):
    return list(csv.DictReader(io.StringIO(body(answer).decode(), newline="")))


def of_network(county, name, **query):
    path = reverse(name, kwargs={"public_id": county.network.public_id})
    return Client().get(path, query)


def archive(answer, folder):
    path = folder / "archive.zip"
    path.write_bytes(body(answer))
    return DwCAReader(path)


#: terms of the standard's list (TDWG, versions of 2023 to 2026) that the reader's older copy of it lacks
LATER_TERMS = {
    "eventType", "verbatimIdentification", "organismQuantity", "organismQuantityType", "measurementID",
    "measurementType", "measurementValue", "measurementUnit",
}  # fmt: skip


def term(name):
    """The full name of a term of the standard."""
    return f"http://rs.tdwg.org/dwc/terms/{name}" if name in LATER_TERMS else qualname(name)


def test_a_network_gives_everybody_what_was_agreed_of_open_sites():
    county, rows = recorded()
    send(county, walk(year=2027, visits=[{"on": "2027-06-20", "whole_site": [{"name": "oxeye daisy"}]}]))
    answer = of_network(county, "v1-network-records")
    assert answer.headers["Link"] == f'<{LICENCE}>; rel="license"'
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    found = rows_of(answer)
    # two open sites with one cowslip, four plants and two in the control each; 2027 is not agreed, the garden private
    assert len(found) == 2 * (1 + 4 + 2)
    assert {row["site"] for row in found} == {"Long Paddock", "Churchyard of Gullhaven"}
    assert {row["year"] for row in found} == {"2028"}
    assert {row["licence"] for row in found} == {"CC-BY-4.0"}
    assert {row["rights_holder"] for row in found} == {"Saltmere"}
    assert {row["access"] for row in found} == {"open to everybody"}
    assert len({row["occurrence_id"] for row in found}) == len(found)
    text = body(of_network(county, "v1-network-records")).decode()
    assert "garden" not in text
    # no surveyor, neither as a person nor as somebody wrote it on a quadrat
    assert "Jory" not in text
    assert str(rows["Behind the house"].public_id) not in text
    assert rows_of(of_network(county, "v1-network-records", year="2027")) == []


def test_a_record_says_what_was_seen_how_much_and_how_sure():
    county, _ = recorded()
    found = [row for row in rows_of(of_network(county, "v1-network-records")) if row["site"] == "Long Paddock"]
    by_name = {row["name_as_written"]: row for row in found if row["part"] != "control"}
    knapweed = by_name["Common knapweed"]
    told = {name: knapweed[name] for name in (
        "on", "quadrat", "part", "quadrat_area_m2", "layout", "surveyor_grade", "taxon", "scientific_name",
        "english_name", "taxon_rank", "scale", "value", "occurrence_status", "occurrence_status_before_2026",
        "verification", "basis_of_record",
    )}  # fmt: skip
    assert told == {
        "on": "2028-06-20", "quadrat": "1", "part": "sown", "quadrat_area_m2": "1", "layout": "random",
        "surveyor_grade": "knows_most", "taxon": "centaurea_nigra", "scientific_name": "Centaurea nigra",
        "english_name": "common knapweed", "taxon_rank": "species", "scale": "percent", "value": "12.5",
        "occurrence_status": "detected", "occurrence_status_before_2026": "present",
        "verification": "the network agreed to the return; name settled", "basis_of_record": "HumanObservation",
    }  # fmt: skip
    # a code of the scale, no formula
    assert by_name["red clover"]["value"] == "+"
    unsure = by_name["cranesbill?"]
    assert (unsure["taxon"], unsure["scientific_name"]) == ("", "cranesbill?")
    assert unsure["verification"].endswith("name as written, not settled")
    # the walk itself holds what was seen outside quadrats
    outside = by_name["cowslip"]
    assert (outside["quadrat"], outside["event_id"]) == ("", outside["visit_id"])
    # a nought is looked for and not found
    none = next(row for row in found if row["part"] == "control" and row["taxon"] == "centaurea_nigra")
    assert (none["occurrence_status"], none["occurrence_status_before_2026"]) == ("notDetected", "absent")


def test_nothing_in_a_csv_is_a_formula():
    county, _ = recorded()
    found = rows_of(of_network(county, "v1-network-records"))
    assert {row["name_as_written"] for row in found if "cmd" in row["name_as_written"]} == {'\'=cmd(1)"x"'}
    for row in found:
        for value in row.values():
            assert len(value) < 2 or value[0] not in "=+-@\t\r", value


def test_a_place_is_told_by_its_square_and_a_circle_that_holds_it():
    county, _ = recorded()
    by_site = {row["site"]: row for row in rows_of(of_network(county, "v1-network-records"))}
    churchyard = by_site["Churchyard of Gullhaven"]
    assert (churchyard["grid_reference"], churchyard["square_side_m"]) == ("TA 98 35", "1000")
    # half the diagonal of a square of 1 km, rounded up: 1000 / sqrt(2) = 707.1
    assert churchyard["coordinate_uncertainty_m"] == str(math.ceil(1000 / math.sqrt(2))) == "708"
    assert churchyard["generalised"] == "place generalised to a square of 1 km"
    assert churchyard["withheld"] == "the exact place; names of surveyors"
    shown = county.sites["Churchyard of Gullhaven"].shown_degrees["at"]
    assert [float(churchyard["latitude"]), float(churchyard["longitude"])] == shown
    paddock = by_site["Long Paddock"]
    assert paddock["generalised"] == ""
    # the paddock is 100 m by 80 m: from a point inside, its farthest corner is at least half its diagonal away
    assert 64 <= int(paddock["coordinate_uncertainty_m"]) <= 129


def test_measures_of_quadrats_have_their_units():
    county, _ = recorded()
    found = [row for row in rows_of(of_network(county, "v1-network-facts")) if row["site"] == "Long Paddock"]
    assert [(row["fact"], row["value"], row["unit"]) for row in found] == [
        ("bare ground", "5", "%"),
        ("litter", "12.5", "%"),
        ("forb cover", "40", "%"),
        ("sward height", "31", "cm"),
        ("yellow rattle plants", "4", "plants in the quadrat"),
    ]
    records = rows_of(of_network(county, "v1-network-records"))
    assert {row["event_id"] for row in found} <= {row["event_id"] for row in records}


#: what an event core with occurrences must have: Darwin Core text guide (a core's id, an extension's coreid), the pairs
#: of the term list (sampleSizeValue with sampleSizeUnit, organismQuantity with organismQuantityType), and what the
#: global network of record publishers asks of sampling events (eventID, eventDate, samplingProtocol, sample size;
#: occurrenceID, scientificName, basisOfRecord, occurrenceStatus)
OF_EVENT = ("eventID", "eventDate", "samplingProtocol", "sampleSizeValue", "sampleSizeUnit", "countryCode")
OF_OCCURRENCE = ("occurrenceID", "scientificName", "basisOfRecord", "occurrenceStatus")


def test_a_darwin_core_archive_is_read_by_another_program_field_by_field(tmp_path):
    county, _ = recorded()
    answer = of_network(county, "v1-network-darwin-core")
    assert answer.headers["Content-Type"] == "application/zip"
    with archive(answer, tmp_path) as dwca:
        assert dwca.descriptor.core.type == "http://rs.tdwg.org/dwc/terms/Event"
        assert [kind.type.rpartition("/")[2] for kind in dwca.descriptor.extensions] == [
            "Occurrence", "MeasurementOrFact",
        ]  # fmt: skip
        events = {row.id: row for row in dwca.rows}
        # a walk and two quadrats on each of two sites
        assert len(events) == 6
        occurrences = [found for row in events.values() for found in row.extensions if found.rowtype.endswith("nce")]
        facts = [found for row in events.values() for found in row.extensions if found.rowtype.endswith("Fact")]
        walks, quadrats = [], []
        for row in events.values():
            data = row.data
            assert all(data[term(name)] for name in OF_EVENT), data
            assert data[term("eventID")] == row.id
            assert row.id.startswith("urn:uuid:")
            assert data[term("eventDate")] == "2028-06-20"
            assert data[term("countryCode")] == "GB"
            # decimal degrees of WGS84, by its EPSG code; zero is not valid for the uncertainty
            assert -90 <= float(data[term("decimalLatitude")]) <= 90
            assert -180 <= float(data[term("decimalLongitude")]) <= 180
            assert data[term("geodeticDatum")] == "EPSG:4326"
            assert int(data[term("coordinateUncertaintyInMeters")]) > 0
            assert data["http://purl.org/dc/terms/license"] == LICENCE
            assert data["http://purl.org/dc/terms/rightsHolder"] == "Saltmere"
            (quadrats if data[term("parentEventID")] else walks).append(data)
        assert len(walks) == 2
        assert {data[term("parentEventID")] for data in quadrats} == {data[term("eventID")] for data in walks}
        assert sorted(data[term("sampleSizeValue")] for data in quadrats) == ["0.25", "0.25", "1", "1"]
        assert {data[term("samplingEffort")] for data in walks} == {
            "walk with 2 quadrats, by somebody who knows most plants"
        }
        assert {data[term("dataGeneralizations")] for data in walks} == {
            "", "place generalised to a square of 1 km",
        }  # fmt: skip
        assert len(occurrences) == 14
        ids = {found.data[term("occurrenceID")] for found in occurrences}
        assert len(ids) == 14
        assert ids == {row["occurrence_id"] for row in rows_of(of_network(county, "v1-network-records"))}
        for found in occurrences:
            data = found.data
            assert all(data[term(name)] for name in OF_OCCURRENCE), data
            assert found.core_id in events
            assert data[term("basisOfRecord")] == "HumanObservation"
            # the words since 2026, and beside them those before
            assert data[term("occurrenceStatus")] in {"detected", "notDetected"}
            former = {"detected": "present", "notDetected": "absent"}[data[term("occurrenceStatus")]]
            assert data[term("dynamicProperties")] == f'{{"occurrenceStatusBefore2026":"{former}"}}'
            assert bool(data[term("organismQuantity")]) == bool(data[term("organismQuantityType")])
        # kept as written, with its quotes
        assert sum(data.data[term("verbatimIdentification")] == '=cmd(1)"x"' for data in occurrences) == 2
        assert len(facts) == 10
        assert {found.data[term("measurementUnit")] for found in facts} == {"%", "cm", "plants in the quadrat"}


def test_the_archive_says_whose_it_is_in_eml_and_names_no_person():
    county, _ = recorded()
    with zipfile.ZipFile(io.BytesIO(body(of_network(county, "v1-network-darwin-core")))) as parts:
        assert parts.namelist() == ["meta.xml", "eml.xml", "event.txt", "occurrence.txt", "measurement.txt"]
        everything = b"".join(parts.read(name) for name in parts.namelist()).decode()
        eml = ElementTree.fromstring(parts.read("eml.xml"))
    # what the schema of EML asks of a data set: title, creator, contact
    assert eml.tag == "{https://eml.ecoinformatics.org/eml-2.2.0}eml"
    assert eml.findtext("dataset/title") == "Meadow records of Saltmere"
    for role in ("creator", "metadataProvider", "contact"):
        assert eml.findtext(f"dataset/{role}/organizationName") == "Saltmere"
    assert eml.find("dataset/intellectualRights/para/ulink").get("url") == LICENCE
    assert eml.find(".//individualName") is None
    for user in (county.member, county.lead, county.coordinator):
        assert user.name.split()[0] not in everything
    assert "garden" not in everything


def test_ids_stay_when_a_return_is_sent_anew_and_a_name_is_settled():
    county, rows = recorded()
    before = {row["occurrence_id"]: row for row in rows_of(of_network(county, "v1-network-records"))}
    later = send(county, walk(narrative="from home"))
    returns.name_settle(
        actor=county.as_(county.member),
        return_id=later.public_id,
        asked=NameSettled(name="cranesbill?", taxon="geranium_pratense"),
        now=AUTUMN,
    )
    agree(county, later)
    after = {row["occurrence_id"]: row for row in rows_of(of_network(county, "v1-network-records"))}
    assert set(after) == set(before)
    changed = [key for key in after if after[key] != before[key]]
    assert [after[key]["scientific_name"] for key in changed] == ["Geranium pratense"]
    assert rows["Paddock to hay"].pk == later.pk


def test_a_network_chooses_its_licence():
    county, _ = recorded()
    assert Client().get(f"/api/v1/networks/{county.network.public_id}/").json()["licence"] == "CC-BY-4.0"
    coordinator = Caller(county.coordinator)
    path = f"networks/{county.network.public_id}/"
    tag = coordinator.get(path).headers["ETag"]
    fault(coordinator.patch(path, {"licence": "CC-BY-NC-4.0"}, If_Match=tag), "/licence", "unknown_word")
    assert coordinator.patch(path, {"licence": "OGL-UK-3.0"}, If_Match=tag).status_code == 200
    answer = of_network(county, "v1-network-records")
    ogl = "https://www.nationalarchives.gov.uk/doc/open-government-licence/version/3/"
    assert answer.headers["Link"] == f'<{ogl}>; rel="license"'
    assert {row["licence"] for row in rows_of(answer)} == {"OGL-UK-3.0"}
    page = Client().get("/county/saltmere/open-records/").content.decode()
    assert "Open Government Licence 3.0" in page
    assert "14 records of plants from 2 agreed returns" in page


def test_a_plant_shown_coarsely_stands_alone_in_a_larger_square(tmp_path):
    county, rows = recorded({"name": "bee orchid", "scale": "abundance", "value": "3"}, {"name": "bee orchd"})
    coordinator = county.as_(county.coordinator)
    asked = ShieldedTaxonNew(taxon="ophrys_apifera", side_m=10_000)
    networks.taxon_shield(actor=coordinator, network_id=county.network.public_id, asked=asked, now=AUTUMN)
    answer = of_network(county, "v1-network-records")
    found = rows_of(answer)
    coarse = [row for row in found if "orch" in row["scientific_name"] + row["english_name"]]
    # the sure one and the doubtful one, once for each of the two meadows
    assert len(coarse) == 4
    for row in coarse:
        assert (row["grid_reference"], row["square_side_m"]) == ("TA 93", "10000")
        # half the diagonal of 10 km
        assert row["coordinate_uncertainty_m"] == "7072"
        assert (row["on"], row["site"], row["site_id"], row["group"], row["project_id"]) == ("2028", "", "", "", "")
        assert (row["quadrat"], row["scale"], row["value"]) == ("", "presence", "")
        assert row["event_id"] not in {other["event_id"] for other in found if other is not row}
        assert "10 km" in row["generalised"]
    sure = {row["occurrence_id"] for row in coarse}
    # ids cannot be worked out from what is told
    assert not any(str(row.public_id) in body(answer).decode() for row in rows.values())
    with archive(of_network(county, "v1-network-darwin-core"), tmp_path) as dwca:
        alone = [row for row in dwca.rows if row.data[term("eventType")] == "Observation"]
        assert {found.data[term("occurrenceID")] for row in alone for found in row.extensions} == sure
        assert {row.data[term("locality")] for row in alone} == {""}
    # the group's own file tells no more
    own = Caller(county.member).get(f"returns/{rows['Paddock to hay'].public_id}/records/csv/")
    assert {row["grid_reference"] for row in rows_of(own) if row["taxon"] == "ophrys_apifera"} == {"TA 93"}
    row = ShieldedTaxon.objects.get()
    networks.taxon_unshield(actor=coordinator, public_id=row.public_id, if_version=None, now=AUTUMN)
    assert len(rows_of(of_network(county, "v1-network-records"))) == 2 * (1 + 6 + 2)


def test_a_group_takes_its_own_return_along_and_a_private_garden_has_no_place_in_it():
    county, rows = recorded()
    garden = rows["Behind the house"]
    analyst = person("Una Teasel")
    appoint(analyst, county.network, "analyst")
    for kind in ("records/csv", "facts/csv", "darwin-core"):
        path = f"returns/{garden.public_id}/{kind}/"
        for user in (None, county.stranger, county.neighbour, county.operator, analyst):
            assert Caller(user).get(path).status_code == 404
        for user in (county.member, county.coordinator):
            assert Caller(user).get(path).status_code == 200
    found = rows_of(Caller(county.member).get(f"returns/{garden.public_id}/records/csv/"))
    assert len(found) == 7
    for row in found:
        assert row["site"] == "Wenna’s garden"
        assert (row["latitude"], row["longitude"], row["grid_reference"]) == ("", "", "")
        assert row["access"] == "for the group and its network only; not published"
        assert row["withheld"] == "the place, which is private; names of surveyors"
    client = Client()
    client.force_login(county.member)
    page = client.get(f"/returns/{garden.public_id}/")
    assert f"/returns/{garden.public_id}/records.csv" in page.content.decode()
    assert rows_of(client.get(f"/returns/{garden.public_id}/records.csv")) == found


def test_what_is_no_longer_shown_is_no_longer_given():
    county, _ = recorded()
    paddock = county.sites["Long Paddock"]
    sites.site_change(
        actor=county.as_(county.lead), public_id=paddock.public_id, asked=SiteChange(publicity="private"),
        if_version=None, now=NOW,
    )  # fmt: skip
    for name in ("v1-network-records", "v1-network-facts"):
        assert {row["site"] for row in rows_of(of_network(county, name))} == {"Churchyard of Gullhaven"}
    assert b"Paddock" not in body(of_network(county, "v1-network-records"))


def test_a_licence_changed_is_audited_and_a_word_for_a_plant_must_be_known():
    county, _ = recorded()
    networks.network_change(
        actor=county.as_(county.coordinator), public_id=county.network.public_id,
        asked=NetworkChange(licence="CC0-1.0"), if_version=None, now=NOW,
    )  # fmt: skip
    path = f"networks/{county.network.public_id}/shielded-taxa/"
    coordinator = Caller(county.coordinator)
    fault(coordinator.post(path, {"taxon": "edelweiss", "side_m": 1000}), "/taxon", "unknown_plant")
    assert coordinator.post(path, {"taxon": "ophrys_apifera", "side_m": 1000}).status_code == 201
    assert coordinator.post(path, {"taxon": "ophrys_apifera", "side_m": 2000}).json()["side_m"] == 2000
    assert [row["side_m"] for row in Client().get(f"/api/v1/{path}").json()["results"]] == [2000]
