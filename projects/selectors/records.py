"""Rows for open formats: sites, projects, agreed returns, what grew in each quadrat and what was measured there.

What is told is what everybody may know: returns that the network agreed to, of sites that are shown, each place no more
precise than its owner allows, and no person. Files travel, so the group's own file of one return tells its place no
more precisely; for a private site it tells none.
"""

from __future__ import annotations

import math
import uuid
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final, TypeVar

import orjson
from django.db.models import QuerySet

from modelling import names
from modelling.selectors import taxon_row
from projects import geography
from projects.choices import LICENCES, Licence, PlaceGiven, Publicity
from projects.errors import NotFound
from projects.formats.columns import GEOMETRY, Row
from projects.formats.darwin import NO_NAMES, DataSet
from projects.models import (
    MeadowProject,
    Network,
    OutcomeReturn,
    ReturnResult,
    ReturnVersion,
    ShieldedTaxon,
    Site,
    TaxonRecord,
)
from projects.rules.access import PUBLIC_ACTOR, Actor
from projects.selectors.places import Place, places_of, shown_square
from projects.selectors.returns import names_settled_in

#: returns or sites read at once: what bounds the memory
CHUNK: Final = 50
#: metres that a reading of a satellite receiver may be out; Darwin Core, coordinateUncertaintyInMeters
SATELLITE_M: Final = 30
#: metres of a degree of latitude, mean over the ellipsoid; good to 1 % for the few hundred metres of a meadow
_DEGREE_M: Final = 111_320
_FACTS: Final = (
    ("bare_ground_percent", "bare ground", "%"),
    ("litter_percent", "litter", "%"),
    ("forb_cover_percent", "forb cover", "%"),
    ("sward_height_cm", "sward height", "cm"),
    ("rattle_plants", "yellow rattle plants", "plants in the quadrat"),
)
OPEN: Final = "open to everybody"
INSIDE: Final = "for the group and its network only; not published"
_ABSENT: Final = frozenset({"0", "0.0", "0,0", "0%", "0 %"})
Told = tuple[str, Row]
T = TypeVar("T")


# ------------------------------------------------------------------ which there are


def open_sites(network: Network | None = None) -> QuerySet[Site]:
    """Sites that are shown to everybody."""
    rows = Site.objects.exclude(publicity=Publicity.PRIVATE)
    rows = rows if network is None else rows.filter(network=network)
    return rows.select_related("network", "group", "district")


def open_projects(network: Network | None = None) -> QuerySet[MeadowProject]:
    """Meadow projects of such sites."""
    rows = MeadowProject.objects.exclude(site__publicity=Publicity.PRIVATE)
    rows = rows if network is None else rows.filter(network=network)
    return rows.select_related("site__network", "site__group", "site__district")


def open_versions(network: Network | None = None, year: int | None = None) -> QuerySet[ReturnVersion]:
    """The agreed versions of returns of such sites."""
    rows = ReturnVersion.objects.filter(agreed_of__isnull=False)
    rows = rows.exclude(agreed_of__project__site__publicity=Publicity.PRIVATE)
    if network is not None:
        rows = rows.filter(outcome__network=network)
    return rows if year is None else rows.filter(outcome__year=year)


def _versions(keys: Sequence[int]) -> list[ReturnVersion]:
    rows = ReturnVersion.objects.filter(pk__in=keys).order_by("pk")
    return list(
        rows.select_related(
            "outcome__network", "outcome__project__site__network", "outcome__project__site__group",
            "outcome__project__site__district",
        )
    )  # fmt: skip


# ------------------------------------------------------------------ plants that are shown coarsely


@dataclass(frozen=True)
class Shields:
    """Plants whose places a network tells by a coarser square, by network: key of the plant -> side in metres."""

    sides: Mapping[int, Mapping[str, int]]

    def side_m(self, network_id: int, taxon: str, written: str) -> int:
        """The side that a record is told by; 0 where it needs no coarser one.

        A name that is not settled, and one of a whole genus, is told as coarsely as any plant that it may be.
        """
        sides = self.sides.get(network_id)
        if not sides:
            return 0
        if taxon:
            may_be: Iterable[str] = {taxon, *names.members(taxon)}
        else:
            match = names.match(written)
            may_be = {candidate.taxon for candidate in match.candidates}
            may_be = {key for one in may_be for key in (one, *names.members(one))}
        return max((sides[key] for key in may_be if key in sides), default=0)


def shields() -> Shields:
    """The plants that each network shows coarsely."""
    sides: dict[int, dict[str, int]] = {}
    for network_id, taxon, side_m in ShieldedTaxon.objects.values_list("network", "taxon", "side_m"):
        sides.setdefault(network_id, {})[taxon] = side_m
    return Shields(sides)


def shielded_taxa(network: Network) -> QuerySet[ShieldedTaxon]:
    """Plants that a network shows coarsely; everybody may know which."""
    return ShieldedTaxon.objects.filter(network=network)


def shielded_taxon_get(actor: Actor, public_id: uuid.UUID) -> ShieldedTaxon:
    """One such plant of a network; raises NotFound."""
    row = ShieldedTaxon.objects.filter(public_id=public_id).first()
    if row is None:
        raise NotFound(f"There is no plant shown coarsely {public_id}.")
    return row


# ------------------------------------------------------------------ rows of sites and projects


def site_rows(keys: Sequence[int]) -> Iterator[Row]:
    """A row for each of these sites that is shown."""
    for chunk in chunks(keys):
        sites = list(open_sites().filter(pk__in=chunk).order_by("pk"))
        places = places_of(PUBLIC_ACTOR, sites)
        for site in sites:
            yield {
                **_of_site(site, places[site.pk]),
                "kind": site.kind,
                "area_m2": site.area_dm2 / 100,
                "meadow_area_m2": None if site.net_area_dm2 is None else site.net_area_dm2 / 100,
            }


def project_rows(keys: Sequence[int]) -> Iterator[Row]:
    """A row for each of these projects whose site is shown."""
    for chunk in chunks(keys):
        projects = list(open_projects().filter(pk__in=chunk).order_by("pk"))
        places = places_of(PUBLIC_ACTOR, [project.site for project in projects])
        for project in projects:
            yield {
                **_of_site(project.site, places[project.site_id]),
                "project_id": str(project.public_id),
                "project": project.name,
                "stage": project.stage,
                "sown_on": project.sown_on,
            }


def _of_site(site: Site, place: Place) -> dict[str, Any]:
    shown = site.publicity != Publicity.PRIVATE
    licence = site.network.licence
    return {
        "site_id": str(site.public_id),
        "site": site.name,
        "group": site.group.name,
        "district": site.district.name if site.district is not None else None,
        "network_id": str(site.network.public_id),
        "network": site.network.name,
        "kind": site.kind,
        **(_of_place(site, place) if shown else {"withheld": f"the place, which is private; {NO_NAMES}"}),
        "licence": licence,
        "licence_address": LICENCES[Licence(licence)],
        "rights_holder": site.network.name,
    }


def _of_place(site: Site, place: Place) -> dict[str, Any]:
    side_m = place.side_m
    return {
        "grid_reference": place.reference,
        "square_side_m": side_m,
        "latitude": place.latitude,
        "longitude": place.longitude,
        "coordinate_uncertainty_m": uncertainty_m(place),
        "generalised": None if place.exact else f"place generalised to a square of {_length(side_m)}",
        "withheld": NO_NAMES if place.exact else f"the exact place; {NO_NAMES}",
        GEOMETRY: place.geometry,
    }


def _length(metres: int) -> str:
    return f"{metres // 1000} km" if metres >= 1000 else f"{metres} m"


def uncertainty_m(place: Place) -> int:
    """Radius in metres of a circle around the place's middle that holds all of it, rounded up.

    Of a square half its diagonal; of an outline the way to its farthest corner; never less than a reading from a
    satellite may be out where the place itself is told.
    """
    corner = math.ceil(place.side_m / math.sqrt(2))
    if not place.exact:
        return corner
    geometry = place.geometry
    if place.given == PlaceGiven.OUTLINE and geometry is not None and geometry["type"] == "Polygon":
        latitude, longitude = place.latitude or 0.0, place.longitude or 0.0
        east_m = _DEGREE_M * math.cos(math.radians(latitude))
        away = (
            math.hypot((lon - longitude) * east_m, (lat - latitude) * _DEGREE_M)
            for ring in geometry["coordinates"]
            for lon, lat in ring
        )
        corner = math.ceil(max(away, default=0.0))
    return max(corner, SATELLITE_M)


# ------------------------------------------------------------------ rows of returns


def told(keys: Sequence[int], tables: frozenset[str], *, inside: bool = False) -> Iterator[Told]:
    """Rows of these versions by the name of their table: returns, events, records, facts; a few versions at a time.

    Parameters
    ----------
    inside
        Whether it is the group's own file: versions not agreed and private sites are told too, without a place.
    """
    known = shields()
    for chunk in chunks(keys):
        versions = [version for version in _versions(chunk) if inside or is_open(version)]
        settled = names_settled_in(version.pk for version in versions)
        places = places_of(PUBLIC_ACTOR, [version.outcome.project.site for version in versions])
        outcomes = [version.outcome_id for version in versions]
        first = dict(
            ReturnVersion.objects.filter(outcome__in=outcomes, number=1).values_list("outcome", "public_id")
        )  # fmt: skip
        results = _results(versions) if "returns" in tables else {}
        for version in versions:
            site = version.outcome.project.site
            telling = _Telling(
                version, _of_site(site, places[site.pk]), settled[version.pk], known, first[version.outcome_id]
            )
            if "returns" in tables:
                yield "returns", telling.whole(results.get(version.pk))
            yield from ((table, row) for table, row in telling.rows() if table in tables)


def is_open(version: ReturnVersion) -> bool:
    """Whether a version, with its return and site, is agreed and shown."""
    outcome = version.outcome
    return outcome.agreed_id == version.pk and outcome.project.site.publicity != Publicity.PRIVATE


def table_rows(keys: Sequence[int], table: str, *, inside: bool = False) -> Iterator[Row]:
    """Rows of one of these tables."""
    return (row for _, row in told(keys, frozenset({table}), inside=inside))


def records_in(versions: QuerySet[ReturnVersion]) -> int:
    """How many records these versions hold; one query."""
    return TaxonRecord.objects.filter(version_of__in=versions.values("pk")).count()


def keys_of(rows: QuerySet[Any]) -> list[int]:
    """Keys of rows in the order they were added, fixed from now on."""
    return list(rows.order_by("pk").values_list("pk", flat=True))


def data_set_of(network: Network, made_on: date) -> DataSet:
    """What is said of all records of a network."""
    about = (
        "Plants seen in meadows that neighbours make and look after, in quadrats and on walks, as their yearly returns "
        f"tell and {network.name} agreed to. Sites that are not shown to everybody are left out. Each place is no more "
        "precise than its owner allows; plants that the network shows coarsely stand alone. Names that are not settled "
        "are given as written."
    )
    return DataSet(
        network.public_id.urn, f"Meadow records of {network.name}", about, network.licence,
        LICENCES[Licence(network.licence)], network.name, made_on,
    )  # fmt: skip


def data_set_of_return(row: OutcomeReturn, made_on: date) -> DataSet:
    """What is said of the records of one return."""
    network = row.network
    about = "Plants seen in one meadow in one year. The place is told no more precisely than its owner allows."
    return DataSet(
        row.public_id.urn, f"Meadow records of {row.project.name}, {row.year}", about, network.licence,
        LICENCES[Licence(network.licence)], network.name, made_on,
    )  # fmt: skip


def _results(versions: Sequence[ReturnVersion]) -> dict[int, dict[str, Any]]:
    found: dict[int, dict[str, Any]] = {}
    rows = ReturnResult.objects.filter(version_of__in=[version.pk for version in versions]).order_by("-pk")
    for version_id, text in rows.values_list("version_of", "text"):
        if version_id not in found:
            found[version_id] = orjson.loads(text)
    return found


def chunks(keys: Sequence[T], size: int = CHUNK) -> Iterator[Sequence[T]]:
    """Keys a few at a time."""
    return (keys[at : at + size] for at in range(0, len(keys), size))


class _Telling:
    """One version, told row by row."""

    def __init__(
        self,
        version: ReturnVersion,
        of_site: dict[str, Any],
        settled: Mapping[str, str],
        known: Shields,
        unseen: uuid.UUID,
    ) -> None:
        outcome: OutcomeReturn = version.outcome
        self.version, self.outcome, self.site = version, outcome, outcome.project.site
        self.settled, self.known, self.unseen = settled, known, unseen
        self.said: dict[str, Any] = orjson.loads(version.content)
        self.agreed = outcome.agreed_id == version.pk
        access = OPEN if is_open(version) else INSIDE
        self.base = {
            **of_site,
            "project_id": str(outcome.project.public_id),
            "year": outcome.year,
            "layout": self.said.get("layout", "not_said"),
            "surveyor_grade": self.said.get("grade", "knows_common"),
            "access": access,
        }

    def whole(self, result: dict[str, Any] | None) -> Row:
        """The return as a whole."""
        said = self.said
        kinds = result["sown_part"]["species_per_quadrat"] if result is not None else {}
        walks = [visit["on"] for visit in said.get("visits", ()) if visit.get("quadrats") or visit.get("whole_site")]
        return {
            **self.base,
            "return_id": str(self.outcome.public_id),
            "answered": said.get("answered", "surveyed"),
            "version": self.version.number,
            "checksum": self.version.checksum,
            "first_walk_on": date.fromisoformat(min(walks)) if walks else None,
            "quadrats": sum(
                quadrat.get("part", "sown") == "sown"
                for visit in said.get("visits", ())
                for quadrat in visit.get("quadrats", ())
            ),
            "species_per_quadrat_mean": kinds.get("mean"),
            "species_per_quadrat_sd": kinds.get("sd"),
            "kinds_in_all": len((result or {}).get("kinds_on_site", ())) or None,
        }

    def rows(self) -> Iterator[Told]:
        """Walks, quadrats, what grew there and what was measured; last what is shown coarsely."""
        coarse: dict[tuple[str, int], dict[str, Any]] = {}
        days: Counter[str] = Counter()
        for visit in self.said.get("visits", ()):
            days[visit["on"]] += 1
            walk = uuid.uuid5(self.outcome.public_id, f"walk {visit['on']} {days[visit['on']]}")
            quadrats = visit.get("quadrats", ())
            event = {
                **self.base,
                "event_id": walk.urn, "visit_id": walk.urn, "on": visit["on"], "event_type": "Site Visit",
                "quadrats": len(quadrats), "sample_size_m2": self.site.area_dm2 / 100,
            }  # fmt: skip
            yield "events", event
            yield from self._records(event, walk, visit.get("whole_site", ()), coarse)
            labels: Counter[str] = Counter()
            for number, quadrat in enumerate(quadrats, start=1):
                label = " ".join(quadrat["label"].casefold().split())
                labels[label] += 1
                # labels stay here: people write names into them
                spot = uuid.uuid5(walk, f"quadrat {label} {labels[label]}")
                area_m2 = float(quadrat.get("area_m2", 1.0))
                inner = event | {
                    "event_id": spot.urn, "event_type": "Sample", "quadrat": number,
                    "part": quadrat.get("part", "sown"), "quadrat_area_m2": area_m2, "sample_size_m2": area_m2,
                }  # fmt: skip
                yield "events", inner
                yield from self._records(inner, spot, quadrat.get("records", ()), coarse)
                for key, fact, unit in _FACTS:
                    if quadrat.get(key) is not None:
                        yield "facts", inner | {"fact": fact, "value": float(quadrat[key]), "unit": unit}
        for row in coarse.values():
            yield "events", row
            yield "records", row

    def _records(
        self,
        event: dict[str, Any],
        key: uuid.UUID,
        items: Iterable[dict[str, Any]],
        coarse: dict[tuple[str, int], dict[str, Any]],
    ) -> Iterator[Told]:
        twice: Counter[str] = Counter()
        for item in items:
            written = str(item["name"])
            folded = names.folded(written) or written.strip().casefold()
            twice[folded] += 1
            record = self._record(item, written)
            side_m = self.known.side_m(self.outcome.network_id, record["taxon"] or "", written)
            square = self._coarser(side_m)
            if square is not None:
                if record["occurrence_status"] == "detected":
                    name = record["taxon"] or folded
                    coarse.setdefault((name, side_m), self._coarsely(record, name, square))
                continue
            name = f"plant {folded} {twice[folded]}"
            yield "records", {**event, **record, "occurrence_id": uuid.uuid5(key, name).urn}

    def _record(self, item: dict[str, Any], written: str) -> dict[str, Any]:
        taxon = self.settled.get(written) or self.settled.get(written.strip()) or item.get("taxon") or None
        words = taxon_row(taxon) if taxon else None
        scale, value = item.get("scale", "presence"), str(item.get("value", "")).strip()
        absent = scale != "presence" and value in _ABSENT
        checked = "the network agreed to the return" if self.agreed else "not agreed by the network yet"
        return {
            "taxon": taxon if words is not None else None,
            "scientific_name": words["scientific_name"] if words is not None else written,
            "english_name": words["english_name"] if words is not None else None,
            "taxon_rank": names.rank_of(taxon) if words is not None and taxon else None,
            "name_as_written": written,
            "scale": scale,
            "value": value or None,
            "occurrence_status": "notDetected" if absent else "detected",
            "occurrence_status_before_2026": "absent" if absent else "present",
            "verification": f"{checked}; {'name settled' if words is not None else 'name as written, not settled'}",
            "basis_of_record": "HumanObservation",
        }

    def _coarser(self, side_m: int) -> geography.Square | None:
        """The coarser square that a record is told by; None where the site's own is as coarse."""
        square = shown_square(self.site)
        if not side_m or square is None or square.side_m >= side_m:
            return None
        return geography.coarsened(square, side_m)

    def _coarsely(self, record: dict[str, Any], name: str, square: geography.Square) -> dict[str, Any]:
        """A record that stands alone: nothing in it leads to the site, its walk or its other plants.

        One for each plant and year. Its id comes from one that is told nowhere, so that nobody can try sites out.
        """
        key = uuid.uuid5(self.unseen, f"coarsely {name}")
        degrees = geography.in_degrees(square, square.centre)
        latitude, longitude = degrees["at"]
        geometry = degrees["geometry"]
        place = Place(square.reference, square.side_m, False, latitude=latitude, longitude=longitude, geometry=geometry)
        kept = ("network_id", "network", "licence", "licence_address", "rights_holder", "year", "access")
        return {
            **{name: self.base[name] for name in kept},
            **record,
            "scale": "presence", "value": None, "name_as_written": record["scientific_name"],
            "event_id": key.urn, "visit_id": key.urn, "occurrence_id": uuid.uuid5(key, "record").urn,
            "event_type": "Observation", "on": str(self.outcome.year),
            "grid_reference": square.reference, "square_side_m": square.side_m,
            "latitude": place.latitude, "longitude": place.longitude,
            "coordinate_uncertainty_m": uncertainty_m(place),
            "generalised": f"plant shown coarsely: place generalised to a square of {_length(square.side_m)}, "
            "day to its year",
            "withheld": f"the site, the day and the amount; {NO_NAMES}", GEOMETRY: place.geometry,
        }  # fmt: skip
