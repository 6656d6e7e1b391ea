"""A county's figures, for everybody, and what is told of private sites."""

from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rapidfuzz import process
from rest_framework.request import Request
from rest_framework.response import Response

from modelling.selectors import vocabularies
from projects.api.base import query_problem
from projects.api.lists import Filter
from projects.api.nouns import IDEMPOTENCY_KEY, NounView, once
from projects.api.throttling import DEFAULT_ESTIMATE_CELLS, charge
from projects.api.v1.answers.aggregates import (
    AggregatesAnswer,
    PrivateYearLine,
    PrivateYearsAnswer,
    aggregates_answer,
    private_year_answer,
    private_years_answer,
)
from projects.choices import SeedSource, Stage, SwardClass, Way
from projects.contracts.networks import PrivateYearNew
from projects.rules.aggregates import GROUPINGS, MEASURES, WAYS
from projects.selectors.aggregates import Asked, aggregates, private_years
from projects.selectors.networks import network_get
from projects.services.rollups import private_year_freeze

MOST_BY = 3
MOST_AGE = 100
LONGEST_FUNDER = 120
_SHOWN = 80
NETWORK = Filter("network", "id", about="Id of a network; needed.")
YEARS = {
    "year": Filter("year", "year", about="One year; the same as both of the next two."),
    "year_from": Filter("year_from", "year", about="First year."),
    "year_to": Filter("year_to", "year", about="Last year."),
}
INDEXES = (*(str(index) for index in range(10)), "not_known")
WORDS = {
    "district": Filter("district", "id", about="Id of a district."),
    "group": Filter("group", "id", about="Id of a group; for the network's coordinators."),
    "kind": Filter("kind", words=tuple(item["key"] for item in vocabularies()["kind"]), about="Kind of place."),
    "stage": Filter("stage", words=tuple(Stage.values), about="Where the meadow stands now."),
    "method": Filter("method", words=tuple(Way.values), about="How the ground was made ready."),
    "seed_source": Filter("seed_source", words=tuple(SeedSource.values), about="Where its seed came from."),
    "soil_band": Filter("soil_band", words=INDEXES, about="Phosphorus index."),
    "sward_class": Filter("sward_class", words=tuple(SwardClass.values), about="What the walk found."),
}
#: what is read as it is, with its kind and what it is
FREE = {
    "funder": ({"type": "string", "maxLength": LONGEST_FUNDER}, "Name of a funder, to the letter; `none` for none."),
    "years_since_sowing": (
        {"type": "integer", "minimum": 0, "maximum": MOST_AGE},
        "Year of the summer less that of sowing.",
    ),
}
PARAMETERS = [
    NETWORK.parameter("network"),
    OpenApiParameter(
        "measures", str, description=f"Figures wanted, with commas between: {', '.join(MEASURES)}. Left out: "
        "species_per_m2, hectares.",
    ),
    OpenApiParameter(
        "by", str, description=f"What to put together by, up to {MOST_BY}, with commas between: {', '.join(GROUPINGS)}."
    ),
    OpenApiParameter(
        "sites", {"type": "string", "enum": ["open", "all"]},
        description="Open sites, or for the network's coordinators all of them.",
    ),
    *(item.parameter(name) for name, item in (YEARS | WORDS).items()),
    *(OpenApiParameter(name, kind, description=about) for name, (kind, about) in FREE.items()),
]  # fmt: skip


def _several(name: str, text: str, known: tuple[str, ...], most: int) -> tuple[str, ...]:
    """Words with commas between, each known and none twice."""
    found = text.split(",")
    for word in found:
        if word not in known:
            near = tuple(hit for hit, _, _ in process.extract(word[:_SHOWN], known, limit=1, score_cutoff=60))
            allowed = ", ".join(known)
            detail = f"{name} names {word[:_SHOWN]!r}; it may name {allowed}."
            raise query_problem(name, "unknown_word", detail, word[:_SHOWN], f"of {allowed}", near)
    if len(set(found)) < len(found):
        raise query_problem(name, "given_twice", f"{name} names the same twice.", text[:_SHOWN], "each once")
    if len(found) > most:
        raise query_problem(name, "too_many", f"{name} names {len(found)}; up to {most}.", text[:_SHOWN], f"{most}")
    return tuple(found)


def read_asked(said: dict[str, str]) -> Asked:
    """Return what the address asks for; raises Problem with what would be right."""
    known = {name: item.read(name, said[name]) for name, item in (YEARS | WORDS).items() if name in said}
    years = {name: known.pop(name) for name in YEARS if name in known}
    if "year" in years and len(years) > 1:
        raise query_problem("year", "contradiction", "Give year, or year_from and year_to.", said["year"], "either")
    only: dict[str, str | int] = {name: str(value) for name, value in known.items()}
    if "funder" in said:
        if not 1 <= len(said["funder"]) <= LONGEST_FUNDER:
            detail = f"funder has {len(said['funder'])} letters; it may have 1 to {LONGEST_FUNDER}."
            raise query_problem("funder", "out_of_range", detail, said["funder"][:_SHOWN], "a name")
        only["funder"] = said["funder"]
    if "years_since_sowing" in said:
        text = said["years_since_sowing"]
        if not (text.isascii() and text.isdigit() and len(text) <= 3 and int(text) <= MOST_AGE):
            detail = f"years_since_sowing is {text[:_SHOWN]!r}; it is a whole number, 0 to {MOST_AGE}."
            raise query_problem("years_since_sowing", "out_of_range", detail, text[:_SHOWN], f"0 to {MOST_AGE}")
        only["years_since_sowing"] = int(text)
    sites = said.get("sites", "open")
    if sites not in {"open", "all"}:
        raise query_problem(
            "sites", "unknown_word", f"sites is {sites[:_SHOWN]!r}; it is open or all.", sites[:_SHOWN], "open or all"
        )
    measures = _several("measures", said["measures"], tuple(MEASURES), len(MEASURES)) if "measures" in said else None
    return Asked(
        measures=measures or Asked().measures,
        by=_several("by", said["by"], GROUPINGS, MOST_BY) if "by" in said else (),
        only=only,
        year_from=years.get("year", years.get("year_from")),
        year_to=years.get("year", years.get("year_to")),
        exact=sites == "all",
    )


class AggregatesView(NounView):
    """A county's figures."""

    @extend_schema(
        operation_id="aggregates_read", summary="A county's figures", tags=["aggregates"],
        description="Means with intervals that know that the quadrats of one meadow are no independent witnesses; "
        "ground, money, hours and people; what is missing is told as missing. Over open sites; coordinators may ask "
        "for all. Ways of making a meadow are compared on level ground only.",
        parameters=PARAMETERS, responses={200: AggregatesAnswer},
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        said = self.read_query(request, "network", "measures", "by", "sites", *YEARS, *WORDS, *FREE)
        if "network" not in said:
            raise query_problem("network", "missing", "Say of which network: network=…", "", "id of a network")
        network = network_get(self.actor, NETWORK.read("network", said["network"]))
        asked = read_asked(said)
        # as much as an estimate of the usual size, and once more for each way to be levelled
        charge(request, DEFAULT_ESTIMATE_CELLS * (1 + len(WAYS & set(asked.by))))
        found = aggregates(self.actor, network, asked, timezone.localdate())
        return Response(aggregates_answer(found, list(asked.measures)))


class PrivateYearsView(NounView):
    """What is told of a network's private sites."""

    @extend_schema(
        operation_id="private_years_list", summary="What is told of private sites, year by year", tags=["aggregates"],
        responses={200: PrivateYearsAnswer},
    )  # fmt: skip
    def get(self, request: Request, public_id: UUID) -> Response:
        self.read_query(request)
        rows = private_years(network_get(self.actor, public_id), timezone.localdate())
        return Response(private_years_answer(rows))

    @extend_schema(
        operation_id="private_years_freeze", summary="Fix and release what is told of private sites in a year",
        tags=["aggregates"], parameters=[IDEMPOTENCY_KEY], request=PrivateYearNew, responses={201: PrivateYearLine},
        description="A count to the nearest five, or none below eight. Once for each year: it stays as it is.",
    )  # fmt: skip
    @once
    def post(self, request: Request, public_id: UUID) -> Response:
        self.must_be_signed_in()
        asked = self.read(request, PrivateYearNew)
        row = private_year_freeze(actor=self.actor, network_id=public_id, year=asked.year, now=timezone.now())
        return Response(private_year_answer(row), status=201)
