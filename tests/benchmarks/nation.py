"""A whole country's rows, by COPY: counties, sites, projects, years of agreed returns with records, results and audit.

Everything is valid by the models: CHECKs hold while rows come in, foreign keys and indexes are taken off before and put
back after, which looks at every row. Returns are of a few dozen patterns, each as the service would store it: text,
checksum, records and result are the service's own, only repeated. PostgreSQL alone. Not there: forecasts (their texts
alone would be larger than all the rest), bids, photos.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final
from uuid import NAMESPACE_URL, UUID, uuid4, uuid5

import orjson
from django.db import connection, models

from modelling import outcomes
from modelling.arrays import canonical_text
from modelling.contracts.outcomes import SurveyQuestion
from modelling.reading import read_as
from modelling.release import RESULTS_VERSION
from modelling.selectors import parameters, reference_checksum
from projects import geography
from projects.choices import CameBy, GroupRole, NetworkRole, PlaceGiven, Publicity, ReturnState, Stage, Via
from projects.contracts.returns import ReturnNew
from projects.models import (
    AuditEntry,
    District,
    Group,
    MeadowProject,
    Membership,
    Network,
    NetworkMembership,
    OutcomeReturn,
    PlanVersion,
    ReturnResult,
    ReturnStep,
    ReturnVersion,
    Site,
    SitePlace,
    TaxonRecord,
    User,
    WorkEntry,
)
from projects.selectors.returns import settled_as_known
from projects.services.returns import _records
from tests.benchmarks.rows import KINDS, PLAN, SHOWN, STEP_M
from tests.benchmarks.shared import say

DISTRICTS: Final = 5
SITES_PER_GROUP: Final = 20
#: different returns of one year
PATTERNS: Final = 40
QUADRATS: Final = 4
#: every sixth site is private
PUBLICITY: Final = (*SHOWN, Publicity.PRIVATE)
BEGAN: Final = datetime(2021, 1, 5, 9, tzinfo=UTC)
FIRST_YEAR: Final = 2021
#: the sites lie on a lattice in the sea; each network uses the same places
A_ROW: Final = 40
_LINES_A_WRITE: Final = 200


@dataclass(frozen=True)
class Size:
    """How many of each."""

    networks: int
    projects: int
    years: int
    records: int

    @property
    def a_return(self) -> int:
        """Records of one return."""
        return max(self.records // (self.projects * self.years), 1)

    @property
    def a_network(self) -> int:
        """Projects of one network."""
        return self.projects // self.networks


def slug(network: int) -> str:
    """The network's slug."""
    return f"county-{network:03}"


# ------------------------------------------------------------------ COPY


def _named(model: type[models.Model]) -> dict[str, models.Field[Any, Any]]:
    return {field.attname: field for field in model._meta.concrete_fields}


def copy_in(model: type[models.Model], names: str, rows: Iterable[tuple[Any, ...]]) -> None:
    """COPY rows of these columns; every column that is not named has its default."""
    fields = _named(model)
    given = names.split()
    rest = [field for name, field in fields.items() if name not in given and not field.primary_key]
    fixed = tuple(field.get_db_prep_save(field.get_default(), connection) for field in rest)
    columns = ", ".join(f'"{fields[name].column}"' for name in given) + "".join(f', "{f.column}"' for f in rest)
    with (
        connection.cursor() as cursor,
        cursor.copy(f'COPY "{model._meta.db_table}" ({columns}) FROM STDIN') as copy,
    ):
        for row in rows:
            copy.write_row(row + fixed)
    if "id" in given:
        with connection.cursor() as cursor:
            cursor.execute(
                f"SELECT setval(pg_get_serial_sequence(%s, 'id'), (SELECT max(id) FROM \"{model._meta.db_table}\"))",  # noqa: S608
                [model._meta.db_table],
            )


class Bare:
    """Tables without foreign keys and indexes while rows come in; put back, and so checked, at the end."""

    def __init__(self, *tables: type[models.Model]) -> None:
        self.names = [model._meta.db_table for model in tables]
        self.again: list[str] = []

    def __enter__(self) -> None:
        with connection.cursor() as cursor:
            for table in self.names:
                cursor.execute(
                    "SELECT conname, pg_get_constraintdef(oid) FROM pg_constraint"
                    " WHERE conrelid = %s::regclass AND contype = 'f'",
                    [table],
                )
                for name, text in cursor.fetchall():
                    cursor.execute(f'ALTER TABLE "{table}" DROP CONSTRAINT "{name}"')
                    self.again.append(f'ALTER TABLE "{table}" ADD CONSTRAINT "{name}" {text}')
                cursor.execute(
                    "SELECT i.relname, pg_get_indexdef(i.oid) FROM pg_index x JOIN pg_class i ON i.oid = x.indexrelid"
                    " WHERE x.indrelid = %s::regclass AND NOT x.indisunique",
                    [table],
                )
                for name, text in cursor.fetchall():
                    cursor.execute(f'DROP INDEX "{name}"')
                    self.again.append(text)

    def __exit__(self, *error: object) -> None:
        if error[0] is None:
            with connection.cursor() as cursor:
                # indexes first: checking a key looks things up
                for text in sorted(self.again, key=lambda text: text.startswith("ALTER")):
                    cursor.execute(text)


def timed(what: str, rows: int, act: Callable[[], None]) -> None:
    """Do it and say how fast it was."""
    start = time.perf_counter()
    act()
    seconds = time.perf_counter() - start
    say(f"{what}: {rows:,} rows in {seconds:.1f} s, {rows / seconds:,.0f} a second")


# ------------------------------------------------------------------ what is repeated


@dataclass(frozen=True)
class Pattern:
    """One return as it would be stored, without whose it is."""

    content: str
    checksum: str
    #: each line of COPY after the version's number
    lines: tuple[str, ...]
    result: str
    result_checksum: str
    inputs_checksum: str


def pattern_of(number: int, year: int, records: int) -> Pattern:
    """The pattern of this number: so many plants of the tables, seen in quadrats of one square metre."""
    taxa = [
        (key, row["english_name"])
        for key, row in sorted(parameters().nouns["taxa"].items())
        if row["life_form"] != "several" and "\t" not in row["english_name"]
    ]
    on = date(year, 6, 10) + timedelta(days=number % PATTERNS)
    quadrats: list[dict[str, Any]] = [{"label": f"Q{n + 1}", "records": []} for n in range(min(QUADRATS, records))]
    for n in range(records):
        # neighbours in a quadrat differ, and quadrats overlap
        key, name = taxa[(number * 7 + n // len(quadrats) + (n % len(quadrats)) * 2) % len(taxa)]
        quadrats[n % len(quadrats)]["records"].append({"name": name, "taxon": key})
    asked = read_as(
        ReturnNew,
        {
            "year": year,
            "visits": [{"on": on.isoformat(), "quadrats": quadrats}],
            "heads": 3 + number % 9,
            "person_hours": 10 + number,
            "work": [{"what": "cut", "on": f"{year}-08-{1 + number % 28:02}"}],
        },
    )
    text = orjson.dumps(asked.model_dump(mode="json", exclude_unset=True), option=orjson.OPT_SORT_KEYS).decode()
    settled = settled_as_known(asked, {})
    lines = tuple(
        f"\t{row.on}\t{row.quadrat}\t{'t' if row.control else 'f'}\t{row.taxon}\t{row.name}\t{row.scale}\t{row.value}\n"
        for row in _records(ReturnVersion(pk=1), settled)
    )
    survey = {
        "on": on.isoformat(), "grade": settled.grade, "layout": settled.layout, "whole_site": [], "sown_taxa": [],
        "quadrats": [q.model_dump(mode="json") for visit in settled.visits for q in visit.quadrats],
        "kind": KINDS[number % len(KINDS)],
    }  # fmt: skip
    question = {"survey": survey, "random_seed": number + 1, "facts": {}}
    result = canonical_text(outcomes.judge(read_as(SurveyQuestion, question)))
    inputs = orjson.dumps(question, option=orjson.OPT_SORT_KEYS)
    return Pattern(text, _sha(text.encode()), lines, result, _sha(result.encode()), _sha(inputs))


def _sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _id(what: str, number: int) -> UUID:
    return uuid5(NAMESPACE_URL, f"forbcast:nation:{what}:{number}")


# ------------------------------------------------------------------ the rows


def fill(size: Size) -> None:
    """Put a country of this size into an empty database."""
    start = time.perf_counter()
    _people(size)
    _meadows(size)
    _returns(size)
    with connection.cursor() as cursor:
        # as a database that has been running for a while has it
        cursor.execute("VACUUM ANALYZE")
        cursor.execute("SELECT pg_database_size(current_database())")
        stored = cursor.fetchone()[0]
    say(f"all in {time.perf_counter() - start:.0f} s; the database has {stored / 1e9:.2f} GB")


def _people(size: Size) -> None:
    groups = -(-size.a_network // SITES_PER_GROUP) * size.networks
    each = groups // size.networks
    nations, gs = range(1, size.networks + 1), range(1, groups + 1)
    copy_in(Network, "id public_id name slug", ((n, _id("network", n), f"County {n:03}", slug(n)) for n in nations))
    copy_in(
        District, "id public_id network_id name",
        ((n, _id("district", n), 1 + (n - 1) // DISTRICTS, f"Sands {1 + (n - 1) % DISTRICTS}")
         for n in range(1, DISTRICTS * size.networks + 1)),
    )  # fmt: skip
    # coordinators first, then leads
    copy_in(
        User, "id public_id name email password",
        ((n, _id("user", n), f"Somebody {n}", f"person.{n}@example.org", "!")
         for n in range(1, size.networks + groups + 1)),
    )  # fmt: skip
    copy_in(NetworkMembership, "network_id user_id role", ((n, n, NetworkRole.COORDINATOR) for n in nations))
    copy_in(
        Group, "id public_id network_id district_id name",
        ((g, _id("group", g), 1 + (g - 1) // each, DISTRICTS * ((g - 1) // each) + 1 + g % DISTRICTS, f"Makers {g:05}")
         for g in gs),
    )  # fmt: skip
    copy_in(
        Membership, "public_id group_id user_id role",
        ((_id("membership", g), g, size.networks + g, GroupRole.LEAD) for g in gs),
    )  # fmt: skip


def _meadows(size: Size) -> None:
    numbers = range(1, size.projects + 1)
    each = -(-size.a_network // SITES_PER_GROUP)

    def network(n: int) -> int:
        return 1 + (n - 1) // size.a_network

    def group(n: int) -> int:
        return (network(n) - 1) * each + 1 + ((n - 1) % size.a_network) // SITES_PER_GROUP

    places = []
    for spot in range(size.a_network):
        point = geography.Point(float(500_050 + STEP_M * (spot % A_ROW)), float(340_050 + STEP_M * (spot // A_ROW)))
        squares = {}
        for publicity, side in SHOWN.items():
            square = geography.square_of(point, side)
            degrees = orjson.dumps(geography.in_degrees(square, square.centre)).decode()
            squares[publicity] = (square.easting_m, square.northing_m, square.side_m, degrees)
        squares[Publicity.PRIVATE] = (None, None, None, None)
        places.append((point, orjson.dumps(geography.in_degrees(point, point)).decode(), squares))

    def moment(n: int) -> datetime:
        return BEGAN + timedelta(seconds=13 * n)

    def site(n: int) -> tuple[Any, ...]:
        publicity = PUBLICITY[n % len(PUBLICITY)]
        return (
            n, _id("site", n), network(n), group(n), f"Strip {n:06}", "Gullhaven", KINDS[n % len(KINDS)],
            100 * (150 + n % 9_000), "rank_grass", str(publicity), *places[(n - 1) % size.a_network][2][publicity],
            moment(n), moment(n), DISTRICTS * (network(n) - 1) + 1 + group(n) % DISTRICTS,
        )  # fmt: skip

    def project(n: int) -> tuple[Any, ...]:
        stage = (Stage.SOWN, Stage.AFTERCARE, Stage.AFTERCARE, Stage.AFTERCARE)[n % 4]
        sown = date(FIRST_YEAR - 1, 9, 1) + timedelta(days=n % 28)
        return _id("project", n), n, network(n), group(n), n, f"Meadow {n:06}", str(stage), sown, sown, sown, moment(n)

    def meadows() -> None:
        copy_in(
            Site,
            "id public_id network_id group_id name village kind area_dm2 sward publicity shown_easting_m"
            " shown_northing_m shown_side_m shown_degrees created_at updated_at district_id",
            map(site, numbers),
        )
        copy_in(
            SitePlace, "site_id given said easting_m northing_m degrees",
            ((n, str(PlaceGiven.COORDINATES), "", point.easting_m, point.northing_m, degrees)
             for n in numbers for point, degrees, _ in [places[(n - 1) % size.a_network]]),
        )  # fmt: skip
        copy_in(
            MeadowProject,
            "public_id id network_id group_id site_id name stage stage_since prepared_on sown_on created_at",
            map(project, numbers),
        )
        copy_in(
            PlanVersion, "public_id project_id number plan created_at",
            ((uuid4(), n, 1, PLAN, moment(n)) for n in numbers),
        )  # fmt: skip
        copy_in(
            WorkEntry, "public_id project_id submission_id on what heads person_minutes created_at",
            ((uuid4(), n, uuid4(), date(FIRST_YEAR, 8, 1 + n % 28), what, 4, 480, moment(n))
             for n in numbers for what in ("cut", "rake")),
        )  # fmt: skip

    with Bare(Site, SitePlace, MeadowProject, PlanVersion, WorkEntry):
        timed("sites, places, projects, plans, diary", 6 * size.projects, meadows)


def _returns(size: Size) -> None:
    count = size.projects * size.years
    numbers = range(1, count + 1)
    each = -(-size.a_network // SITES_PER_GROUP)
    patterns = {
        (kind, year): pattern_of(kind, FIRST_YEAR + year, size.a_return)
        for kind in range(PATTERNS)
        for year in range(size.years)
    }

    # year by year, as they come in life
    def of(n: int) -> tuple[int, int, Pattern, datetime]:
        year, project = divmod(n - 1, size.projects)
        at = datetime(FIRST_YEAR + year, 10, 1, tzinfo=UTC) + timedelta(seconds=20 * project)
        return year, project + 1, patterns[project % PATTERNS, year], at

    def whose(project: int) -> tuple[int, int]:
        network = 1 + (project - 1) // size.a_network
        return network, (network - 1) * each + 1 + ((project - 1) % size.a_network) // SITES_PER_GROUP

    def lines() -> Iterator[str]:
        block: list[str] = []
        for n in numbers:
            version = str(n)
            block += [version + line for line in of(n)[2].lines]
            if n % _LINES_A_WRITE == 0:
                yield "".join(block)
                block = []
        yield "".join(block)

    def records() -> None:
        columns = '"version_of_id", "on", "quadrat", "control", "taxon", "name", "scale", "value"'
        with (
            connection.cursor() as cursor,
            cursor.copy(f'COPY "{TaxonRecord._meta.db_table}" ({columns}) FROM STDIN') as copy,
        ):
            for block in lines():
                copy.write(block)

    # the last year's returns of every tenth project still wait to be checked
    def waits(n: int) -> bool:
        return n > count - size.projects and n % 10 == 0

    def returns() -> None:
        copy_in(
            OutcomeReturn, "id public_id network_id group_id project_id year state current_id agreed_id created_at",
            ((n, _id("return", n), *whose(project), project, FIRST_YEAR + year,
              str(ReturnState.SENT if waits(n) else ReturnState.AGREED), n, None if waits(n) else n, at)
             for n in numbers for year, project, _, at in [of(n)]),
        )  # fmt: skip
        copy_in(
            ReturnVersion, "id public_id outcome_id number submission_id content checksum came_by created_at",
            ((n, uuid4(), n, 1, uuid4(), pattern.content, pattern.checksum, str(CameBy.FORM), at)
             for n in numbers for _, _, pattern, at in [of(n)]),
        )  # fmt: skip
        copy_in(
            ReturnStep, "outcome_id to_state version_number created_at",
            ((n, str(state), 1, of(n)[3]) for n in numbers
             for state in ((ReturnState.SENT,) if waits(n) else (ReturnState.SENT, ReturnState.AGREED))),
        )  # fmt: skip
        sums = reference_checksum()
        copy_in(
            ReturnResult,
            "version_of_id results_version reference_checksum inputs_checksum text checksum created_at",
            ((n, RESULTS_VERSION, sums, p.inputs_checksum, p.result, p.result_checksum, at)
             for n in numbers for _, _, p, at in [of(n)]),
        )  # fmt: skip
        copy_in(
            AuditEntry, "at actor_id via act noun object_id network_id group_id",
            ((at, size.networks + whose(project)[1], str(Via.PAGE), "return_send", "return", _id("return", n),
              *whose(project)) for n in numbers for _, project, _, at in [of(n)]),
        )  # fmt: skip

    with Bare(OutcomeReturn, ReturnVersion, ReturnStep, ReturnResult, AuditEntry):
        timed("returns with versions, steps, results and audit", 6 * count, returns)
    with Bare(TaxonRecord):
        timed("taxon records by COPY", count * size.a_return, records)
        start = time.perf_counter()
    say(f"their index and foreign key: {time.perf_counter() - start:.1f} s")
