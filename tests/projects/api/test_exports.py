"""Exports: at once or by a job, fetched in pieces, gone after their time; snapshots that stay."""

import csv
import hashlib
import io
import os
from datetime import timedelta
from pathlib import Path

import duckdb
import orjson
import pytest
import shapely
from django.conf import settings
from django.test import Client
from django.utils import timezone

from projects.contracts.sites import SiteChange
from projects.formats import TABLES, columns_of
from projects.models import Export, Job, Site, Snapshot
from projects.rules import jobs as rules
from projects.rules.exports import FORMS, KEPT
from projects.rules.jobs import LeaseLost
from projects.selectors.exports import export_path, snapshot_folder
from projects.services import exports, sites
from projects.services.exports import exports_forget, work_folder
from projects.services.jobs import Lease, job_claim, job_run, jobs_run_due
from tests.projects.api.caller import Caller, fault, problem
from tests.projects.county import NOW, appoint, person
from tests.projects.jobs import Clock
from tests.projects.records import recorded

pytestmark = pytest.mark.django_db


@pytest.fixture
def county(tmp_path, settings):
    settings.EXPORTS_DIR = tmp_path / "exports"
    return recorded()[0]


@pytest.fixture
def analyst(county):
    user = person("Una Teasel")
    appoint(user, county.network, "analyst")
    return Caller(user, scopes=("read",))


def body(answer):
    assert answer.status_code in {200, 206}, answer.content
    return b"".join(answer.streaming_content) if answer.streaming else answer.content


def ask(caller, **asked):
    return caller.post("exports/", {"table": "records", "form": "csv"} | asked)


def made(caller, **asked):
    """Have a file made by a job and return its answer."""
    answer = ask(caller, as_job=True, **asked)
    assert answer.status_code == 202, answer.content
    jobs_run_due(clock=timezone.now)
    job = caller.get(answer.headers["Location"]).json()
    assert job["state"] == "done", job
    return caller.get(f"exports/{job['result']['export']}/").json()


def lay(tmp_path, name, content):
    path = tmp_path / name
    path.write_bytes(content)
    return str(path)


def unguarded(text):
    """A CSV's cell without the apostrophe that keeps a spreadsheet from working it out."""
    return text[1:] if text[:1] == "'" and text[1:2] in set("=+-@\t\r") else text


def plain(value):
    """A value as a CSV has it."""
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


@pytest.mark.parametrize("table", sorted(TABLES))
def test_parquet_read_by_another_program_equals_the_csv(county, analyst, tmp_path, table):
    rows = list(csv.reader(io.StringIO(body(ask(analyst, table=table)).decode(), newline="")))
    path = lay(tmp_path, f"{table}.parquet", body(ask(analyst, table=table, form="parquet")))
    with duckdb.connect() as base:
        found = base.execute("SELECT * FROM read_parquet(?)", [path])
        names = [column[0] for column in found.description]
        types = [str(column[1]) for column in found.description]
        read = found.fetchall()
    assert names == rows[0] == [column.name for column in columns_of(table)]
    kinds = {"text": "VARCHAR", "integer": "BIGINT", "number": "DOUBLE", "date": "DATE"}
    assert types == [kinds[column.kind] for column in columns_of(table)]
    assert len(read) > 1
    assert [[plain(value) for value in row] for row in read] == [[unguarded(cell) for cell in row] for row in rows[1:]]


def test_geojson_is_as_its_standard_has_it(county, analyst):
    answer = ask(analyst, table="sites", form="geojson")
    assert answer.headers["Content-Type"] == "application/geo+json"
    found = orjson.loads(body(answer))
    # RFC 7946: section 4 takes the member crs away; 3.1.6 has outer rings counter-clockwise, closed, longitude first
    assert found["type"] == "FeatureCollection"
    assert "crs" not in found
    assert found["licence"] == "CC-BY-4.0"
    # four of the five sites may be known of
    assert len(found["features"]) == 4
    for feature in found["features"]:
        assert feature["type"] == "Feature"
        shape = shapely.geometry.shape(feature["geometry"])
        assert shape.is_valid
        assert shape.exterior.is_ccw
        assert shape.exterior.is_closed
        longitude, latitude = shape.centroid.x, shape.centroid.y
        # the county lies in the sea off the east coast, by 0 to 1 degree east and 53 to 54 north
        assert (-1 < longitude < 2, 53 < latitude < 55) == (True, True)
        assert shape.covers(shapely.Point(feature["properties"]["longitude"], feature["properties"]["latitude"]))


def test_a_dictionary_tells_of_every_column(county):
    found = Client().get("/api/v1/exports/dictionary/").json()
    assert [table["name"] for table in found["tables"]] == list(TABLES)
    for table in found["tables"]:
        assert [column["name"] for column in table["columns"]] == [c.name for c in columns_of(table["name"])]
        assert all(column["meaning"] for column in table["columns"])
        assert set(table["forms"]) == set(FORMS[table["name"]])
        for column in table["columns"]:
            if column["name"].endswith("_m2"):
                assert column["unit"] == "m²"
    assert [entry["id"] for entry in found["licences"]] == ["CC0-1.0", "CC-BY-4.0", "OGL-UK-3.0"]


def test_what_there_is_not_is_refused_in_words(county, analyst):
    assert fault(ask(analyst, table="facts", form="geojson"), "/form", "contradiction")["expected"] == "csv, parquet"
    fault(ask(analyst, table="sites", year=2028), "/year", "contradiction")
    fault(ask(analyst, table="people"), "/table", "unknown_word")
    problem(ask(analyst, network_id="00000000-0000-4000-8000-000000000000"), 404, "not_found")
    problem(ask(Caller()), 401, "unauthenticated")
    problem(ask(Caller(county.stranger, scopes=("write",))), 403, "forbidden")


def test_a_job_makes_the_same_file_and_its_owner_alone_fetches_it(county, analyst):
    for table, form in (("records", "csv"), ("facts", "parquet"), ("returns", "geojson"), ("records", "darwin_core")):
        at_once = body(ask(analyst, table=table, form=form))
        told_of = made(analyst, table=table, form=form)
        answer = analyst.get(told_of["file"])
        assert body(answer) == at_once, (table, form)
        assert told_of["sha256"] == hashlib.sha256(at_once).hexdigest()
        assert told_of["size_bytes"] == len(at_once)
        assert answer.headers["ETag"] == f'"{told_of["sha256"]}"'
        assert 'rel="license"' in answer.headers["Link"]
        for other in (Caller(), Caller(county.coordinator), Caller(county.operator)):
            problem(other.get(told_of["file"]), 404, "not_found")
    # a token of the same person that may not read finds nothing
    blind = Caller(Export.objects.first().created_by, scopes=("write",))
    problem(blind.get(told_of["file"]), 404, "not_found")
    assert not list(Path(settings.EXPORTS_DIR).glob("*.parts"))
    assert {row["state"] for row in analyst.get("exports/").json()["results"]} == {"made"}


def test_a_file_is_fetched_in_pieces(county, analyst):
    told_of = made(analyst)
    whole = body(analyst.get(told_of["file"]))
    tag = f'"{told_of["sha256"]}"'
    size = len(whole)
    # RFC 9110, 14.1.2: from, from and to, the last so many, to past the end
    for asked, first, last in (
        ("bytes=100-", 100, size - 1), ("bytes=0-99", 0, 99), ("bytes=-7", size - 7, size - 1),
        (f"bytes=5-{size + 1000}", 5, size - 1), (f"bytes=-{size * 2}", 0, size - 1),
    ):  # fmt: skip
        answer = analyst.get(told_of["file"], Range=asked)
        assert answer.status_code == 206
        assert answer.headers["Content-Range"] == f"bytes {first}-{last}/{size}"
        assert answer.headers["Content-Length"] == str(last - first + 1)
        assert body(answer) == whole[first : last + 1]
    # 13.1.5: a piece only of the very same file; a weak tag never matches
    assert analyst.get(told_of["file"], Range="bytes=0-9", If_Range=tag).status_code == 206
    for other in ('"another"', f"W/{tag}", "Wed, 25 Nov 2026 10:00:00 GMT"):
        answer = analyst.get(told_of["file"], Range="bytes=0-9", If_Range=other)
        assert (answer.status_code, body(answer)) == (200, whole)
    # 14.2: what is no range of bytes, or several at once, is answered with all of it
    for odd in ("lines=1-2", "bytes=9-3", "bytes=0-1,4-5", "bytes=-", "bytes=a-b", "bytes=" + "9" * 30 + "-"):
        answer = analyst.get(told_of["file"], Range=odd)
        assert (answer.status_code, body(answer)) == (200, whole), odd
    for past in (f"bytes={size}-", "bytes=-0", f"bytes={size}-{size + 5}"):
        answer = analyst.get(told_of["file"], Range=past)
        problem(answer, 416, "range_not_satisfiable")
        assert answer.headers["Content-Range"] == f"bytes */{size}"


def test_a_file_goes_after_its_time(county, analyst):
    told_of = made(analyst)
    row = Export.objects.get()
    path = export_path(row)
    assert exports_forget(now=row.expires_at - timedelta(seconds=1)) == 0
    assert path.exists()
    assert row.expires_at - row.made_at == KEPT
    assert exports_forget(now=row.expires_at) == 1
    assert not path.exists()
    problem(analyst.get(told_of["file"]), 410, "gone")
    assert analyst.get(f"exports/{told_of['id']}/").json()["state"] == "deleted"
    assert exports_forget(now=row.expires_at) == 0


def test_a_file_is_no_longer_given_once_something_in_it_is_hidden(county, analyst):
    told_of = made(analyst)
    verges = made(analyst, table="sites")
    assert analyst.get(verges["file"]).status_code == 200
    # the verge is among the sites, and has no return: the records may still be fetched
    for name, lead, publicity, kept in (
        ("Brackwater verge", county.neighbour, "square_10_km", (200, 410)),
        ("Churchyard of Gullhaven", county.lead, "private", (410, 410)),
    ):
        sites.site_change(
            actor=county.as_(lead), public_id=county.sites[name].public_id, asked=SiteChange(publicity=publicity),
            if_version=None, now=NOW,
        )  # fmt: skip
        assert (analyst.get(told_of["file"]).status_code, analyst.get(verges["file"]).status_code) == kept


def claimed(caller, **asked):
    """A file asked for, and its job in a worker's hands."""
    answer = ask(caller, as_job=True, **asked)
    assert answer.status_code == 202
    clock = Clock(timezone.now())
    return job_claim(now=clock()), clock


class Killed(BaseException):
    """The worker is gone, with no time to tidy up."""


def test_a_worker_killed_in_the_middle_loses_one_part_and_the_file_is_the_same(county, analyst, monkeypatch):
    whole = body(ask(analyst))
    monkeypatch.setattr("projects.services.export_parts.PART", 1)
    job, clock = claimed(analyst)
    lease = Lease(job, clock)
    beats = []

    class DiesAfterOne:
        def progress(self, done):
            lease.progress(done)
            beats.append(done)

        def hand_back_when_time_is_up(self):
            if beats == [1]:
                raise Killed

    with pytest.raises(Killed):
        exports.export_make(job, DiesAfterOne())
    row = Export.objects.get()
    kept = sorted(work_folder(row.public_id).glob("*.jsonl"))
    assert len(kept) == 1
    assert not export_path(row).exists()
    problem(analyst.get(f"exports/{row.public_id}/file/"), 409, "wrong_state")
    clock.pass_by(rules.LEASE.total_seconds() + 1)
    again = job_claim(now=clock())
    assert again.pk == job.pk
    with pytest.raises(LeaseLost):
        lease.progress(1)
    # the part that was there is not read anew
    kept[0].write_bytes(kept[0].read_bytes().replace(b"cranesbill?", b"told before"))
    job_run(again, clock=clock)
    job.refresh_from_db()
    assert (job.state, job.progress_done) == ("done", job.progress_total)
    assert whole.count(b"cranesbill?") == 4
    assert body(analyst.get(f"exports/{row.public_id}/file/")) == whole.replace(b"cranesbill?", b"told before", 2)


def test_a_full_disk_leaves_a_failed_job_in_clear_words_and_no_half_file(county, analyst):
    job, clock = claimed(analyst)
    row = Export.objects.get()
    folder = Path(settings.EXPORTS_DIR)
    folder.mkdir(parents=True)
    Job.objects.filter(pk=job.pk).update(max_attempts=1)
    job.refresh_from_db()
    # what is written to this device finds no room, as on a full disk
    os.symlink("/dev/full", folder / f"{export_path(row).name}.{job.lease_token}.half")
    job_run(job, clock=clock)
    job.refresh_from_db()
    assert job.state == "failed"
    assert "disk has no room" in job.last_error
    assert list(folder.iterdir()) == []
    caller = analyst
    assert caller.post(f"jobs/{job.public_id}/restart/").status_code == 403
    writer = Caller(row.created_by)
    assert writer.post(f"jobs/{job.public_id}/restart/").status_code == 202
    jobs_run_due(clock=timezone.now)
    assert body(analyst.get(f"exports/{row.public_id}/file/")) == body(ask(analyst))


def test_a_site_hidden_while_a_file_is_made_is_not_in_it(county, analyst, monkeypatch):
    job, clock = claimed(analyst)
    lease = Lease(job, clock)

    class HidesOne:
        def progress(self, done):
            Site.objects.filter(name="Long Paddock").update(
                publicity="private", shown_easting_m=None, shown_northing_m=None, shown_side_m=None, shown_degrees=None
            )

        def hand_back_when_time_is_up(self):
            pass

    with pytest.raises(Exception, match="begins anew"):
        exports.export_make(job, HidesOne())
    row = Export.objects.get()
    assert not export_path(row).exists()
    exports.export_make(job, lease)
    assert "Long Paddock" not in export_path(row).read_text(encoding="utf-8")


def test_nobody_fills_the_disk_alone(county, analyst):
    for _ in range(10):
        assert ask(analyst, as_job=True).status_code == 202
    assert "10 files" in problem(ask(analyst, as_job=True), 409, "wrong_state")["detail"]


# ------------------------------------------------------------------ snapshots


def snapshot(caller, county, name="Summer of 2028", **asked):
    answer = caller.post("snapshots/", {"name": name, "network_id": str(county.network.public_id)} | asked)
    assert answer.status_code == 202, answer.content
    jobs_run_due(clock=timezone.now)
    job = caller.get(answer.headers["Location"]).json()
    assert job["state"] == "done", job
    return job["result"]["snapshot"]


def test_a_snapshot_is_named_dated_and_has_a_checksum_for_each_file(county):
    found = snapshot(Caller(county.coordinator), county)
    public = Caller()
    told_of = public.get(f"snapshots/{found}/").json()
    assert (told_of["name"], told_of["network"]["name"], told_of["no_longer_shown"], told_of["note"]) == (
        "Summer of 2028", "Saltmere", 0, "",
    )  # fmt: skip
    assert told_of["licences"] == [
        {"network": "Saltmere", "licence": "CC-BY-4.0", "address": "https://creativecommons.org/licenses/by/4.0/"}
    ]
    assert told_of["cite_as"].startswith(f"Saltmere ({timezone.now():%Y}): Summer of 2028. Snapshot of ")
    assert told_of["cite_as"].endswith(f"/api/v1/snapshots/{found}/")
    names = [file["name"] for file in told_of["files"]]
    expected = {f"{table}.{form}" for table in TABLES for form in ("csv", "parquet")}
    expected |= {f"{table}.geojson" for table in ("sites", "projects", "returns", "records")}
    assert set(names) == expected | {"darwin-core.zip", "dictionary.json"}
    everything = b""
    for file in told_of["files"]:
        content = body(public.get(file["address"]))
        assert hashlib.sha256(content).hexdigest() == file["sha256"], file["name"]
        assert len(content) == file["size_bytes"]
        everything += content
    assert b"garden" not in everything
    assert b"Jory" not in everything
    at_once = body(ask(Caller(county.coordinator), network_id=str(county.network.public_id)))
    assert body(public.get(f"snapshots/{found}/files/records.csv/")) == at_once
    piece = public.get(f"snapshots/{found}/files/records.csv/", Range="bytes=0-9")
    assert (piece.status_code, body(piece)) == (206, at_once[:10])
    problem(public.get(f"snapshots/{found}/files/..%2Fsecret_key/"), 404, "not_found")
    assert [row["id"] for row in public.get("snapshots/").json()["results"]] == [found]


def test_a_snapshot_stays_as_it_was_and_says_what_is_no_longer_shown(county):
    found = snapshot(Caller(county.coordinator), county)
    public = Caller()
    before = {
        file["name"]: body(public.get(file["address"])) for file in public.get(f"snapshots/{found}/").json()["files"]
    }
    churchyard = county.sites["Churchyard of Gullhaven"].public_id
    sites.site_change(
        actor=county.as_(county.lead), public_id=churchyard, asked=SiteChange(publicity="private"), if_version=None,
        now=NOW,
    )  # fmt: skip
    told_of = public.get(f"snapshots/{found}/").json()
    assert told_of["no_longer_shown"] == 1
    assert told_of["note"].startswith("1 site in it is not shown any more")
    assert "1 site in it is not shown any more" in Client().get(f"/snapshots/{found}/").text
    assert f"/snapshots/{found}/" in Client().get("/county/saltmere/open-records/").text
    assert {file["name"]: body(public.get(file["address"])) for file in told_of["files"]} == before
    assert exports_forget(now=timezone.now() + timedelta(days=4000)) == 0
    assert len(list(snapshot_folder(Snapshot.objects.get()).iterdir())) == len(before)


def test_snapshots_are_made_by_those_who_answer_for_the_figures(county):
    network = str(county.network.public_id)
    for user in (county.member, county.lead, county.stranger):
        problem(Caller(user).post("snapshots/", {"name": "Mine", "network_id": network}), 403, "forbidden")
    reader = Caller(county.coordinator, scopes=("read",))
    problem(reader.post("snapshots/", {"name": "Mine", "network_id": network}), 403, "forbidden")
    problem(Caller(county.coordinator).post("snapshots/", {"name": "Of all"}), 403, "forbidden")
    answer = Caller(county.operator).post("snapshots/", {"name": "Of all"})
    assert answer.status_code == 202
    # not there for others before it is made
    problem(Caller().get(f"snapshots/{Snapshot.objects.get().public_id}/"), 404, "not_found")
    jobs_run_due(clock=timezone.now)
    assert Caller().get("snapshots/").json()["results"][0]["network"] is None
    coordinator = Caller(county.coordinator)
    for name in ("One", "Two", "Three"):
        assert coordinator.post("snapshots/", {"name": name, "network_id": network}).status_code == 202
    problem(coordinator.post("snapshots/", {"name": "Four", "network_id": network}), 409, "wrong_state")


def test_a_snapshot_killed_before_it_was_told_of_is_made_again(county):
    caller = Caller(county.coordinator)
    caller.post("snapshots/", {"name": "Twice begun", "network_id": str(county.network.public_id)})
    row = Snapshot.objects.get()
    folder = snapshot_folder(row)
    folder.mkdir(parents=True)
    (folder / "records.csv").write_text("half of an earlier try")
    jobs_run_due(clock=timezone.now)
    told_of = Caller().get(f"snapshots/{row.public_id}/").json()
    assert told_of["files"]
    assert b"half" not in body(Caller().get(f"snapshots/{row.public_id}/files/records.csv/"))
