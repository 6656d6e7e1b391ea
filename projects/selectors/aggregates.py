"""A county's figures for whoever asks: over open sites for everybody, over all for its coordinators."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Final

from django.db.models import Max, Q

from modelling.selectors import vocabularies
from projects.choices import Course, Publicity, SeedSource, Stage, SwardClass, Way
from projects.models import District, Group, MeadowProject, Network, OutcomeReturn, PrivateYear, ReturnRollup
from projects.rules import aggregates as rules
from projects.rules.access import Actor, demand, may
from projects.rules.aggregates import Line
from projects.rules.returns import late
from projects.rules.rollups import still_told_of
from projects.selectors.rollups import grounds_of, projects_with_grounds

_OPEN: Final = ~Q(site__publicity=Publicity.PRIVATE)
#: what is said of figures that put groups side by side
OF_GROUPS: Final = (
    "Groups stand in the order of their names. Their meadows differ in soil, age and size, and few returns say little: "
    "this is no ranking, and no figure here tells a good group from another."
)
OF_WAYS: Final = (
    "Groups chose their way by the ground they had, so plain means of ways would compare the ground. Means here are "
    "adjusted for phosphorus index, sward before and years since sowing, as far as those were noted; what was not "
    "noted may still be behind a difference. Nothing here shows that a way caused it."
)
OF_FUNDERS: Final = "Ground paid for by two funders stands in the line of each; in the total it is counted once."
OF_MISSING: Final = (
    "A summer without an agreed return is missing, not none: each figure says on how many it rests, and what it would "
    "be if the missing were like the others or had failed. One that came and is not agreed yet is awaited, not missing."
)
OF_PRIVATE: Final = "Private sites are in no figure but the rounded count of a year, fixed when it was released."
OF_EXACT: Final = "Private sites are counted in. Only the network’s coordinators see this; do not pass it on."


@dataclass(frozen=True)
class Asked:
    """Which figures of which meadows."""

    measures: Sequence[str] = ("species_per_m2", "hectares")
    by: Sequence[str] = ()
    #: what is asked of a line by one of the ways of putting together -> its word
    only: Mapping[str, str | int] = field(default_factory=dict)
    year_from: int | None = None
    year_to: int | None = None
    #: whether private sites are counted in
    exact: bool = False


def lines_of(actor: Actor, network: Network, asked: Asked, today: date) -> list[Line]:
    """Summers of a network's meadows, told of or not; a number of queries that does not grow.

    Raises
    ------
    NotAllowed
        If private sites are asked for by somebody else than a coordinator.
    """
    if asked.exact:
        demand(actor, "aggregate.read_exact", network_id=network.pk)
    first, last = asked.year_from or 0, min(asked.year_to or today.year, today.year)
    kept = ReturnRollup.objects.filter(network=network, year__gte=first, year__lte=last)
    if not asked.exact:
        kept = kept.filter(open=True)
    sums = {(row.project_id, row.year): row for row in kept.order_by("pk")}
    projects = MeadowProject.objects.filter(Q() if asked.exact else _OPEN, network=network, sown_on__isnull=False)
    lives: dict[int, dict[str, Any]] = {
        row["pk"]: dict(row) for row in projects.values("pk", "stage", "stage_since", "sown_on")
    }
    wanted = [
        (key, year)
        for key, life in lives.items()
        for year in range(max(first, life["sown_on"].year), last + 1)
        if (key, year) not in sums and still_told_of(life["stage"], life["stage_since"], life["sown_on"], year)
    ]
    grounds = grounds_of(projects_with_grounds({key for key, _ in wanted})) if wanted else {}
    stages = {key: life["stage"] for key, life in lives.items()}
    unsown = {key for key, _ in sums if key not in stages}
    if unsown:
        stages |= dict(MeadowProject.objects.filter(pk__in=unsown).values_list("pk", "stage"))
    names = _names(network)
    lines = [_told(row, stages[key], names) for (key, _), row in sums.items()]
    came = _sent_and_not_agreed(wanted)
    lines += [
        _not_told(grounds[key], year, stages[key], names, is_late=late(year, today) and (key, year) not in came)
        for key, year in wanted
    ]
    lines = [
        line for line in lines if all(str(word) in map(str, rules.keys_of(line, by)) for by, word in asked.only.items())
    ]
    return sorted(lines, key=lambda line: (line.year, line.site_id, line.project_id))


def _sent_and_not_agreed(wanted: Sequence[tuple[int, int]]) -> set[tuple[int, int]]:
    """Summers of which a return came that waits for the network or was sent back: nobody is late with those."""
    if not wanted:
        return set()
    rows = OutcomeReturn.objects.filter(
        project__in={key for key, _ in wanted}, year__in={year for _, year in wanted}, agreed__isnull=True
    )
    return set(rows.values_list("project_id", "year"))


@dataclass(frozen=True)
class _Names:
    groups: Mapping[int, tuple[str, str]]
    districts: Mapping[int, tuple[str, str]]


def _names(network: Network) -> _Names:
    groups, districts = (
        {key: (str(public_id), name) for key, public_id, name in rows.values_list("pk", "public_id", "name")}
        for rows in (Group.objects.filter(network=network), District.objects.filter(network=network))
    )
    return _Names(groups, districts)


def _told(row: ReturnRollup, stage: str, names: _Names) -> Line:
    return Line(
        year=row.year, group_id=row.group_id, group=names.groups[row.group_id],
        district=names.districts[row.district_id] if row.district_id else None,
        site_id=row.site_id, project_id=row.project_id, kind=row.kind, sward=row.sward, soil_band=row.soil_band,
        method=row.method, seed_source=row.seed_source, funders=tuple(row.funders), stage=stage,
        sown_year=row.sown_year, area_dm2=row.area_dm2, sums=row, late=False,
    )  # fmt: skip


def _not_told(ground: Mapping[str, Any], year: int, stage: str, names: _Names, *, is_late: bool) -> Line:
    return Line(
        year=year, group_id=ground["group_id"], group=names.groups[ground["group_id"]],
        district=names.districts[ground["district_id"]] if ground["district_id"] else None,
        site_id=ground["site_id"], project_id=ground["project_id"], kind=ground["kind"], sward=ground["sward"],
        soil_band=ground["soil_band"], method=ground["method"], seed_source=ground["seed_source"],
        funders=tuple(ground["funders"]), stage=stage, sown_year=ground["sown_year"], area_dm2=ground["area_dm2"],
        sums=None, late=is_late,
    )  # fmt: skip


# ------------------------------------------------------------------ put together


def aggregates(actor: Actor, network: Network, asked: Asked, today: date) -> dict[str, Any]:
    """The figures asked for, line by line and in all; plain values, shaped as the API's answer.

    Raises
    ------
    NotAllowed
        If groups are asked for side by side, or private sites, by somebody else than a coordinator.
    """
    if "group" in (*asked.by, *asked.only):
        demand(actor, "aggregate.read_exact", network_id=network.pk)
    lines = lines_of(actor, network, asked, today)
    exact = asked.exact and may(actor, "aggregate.read_exact", network_id=network.pk)
    cells: dict[tuple[str | int, ...], list[Line]] = {}
    for line in lines:
        for key in _product([rules.keys_of(line, by) for by in asked.by]):
            cells.setdefault(key, []).append(line)
    labels = _labels(lines)
    order = sorted(cells, key=lambda key: [_place(by, word, labels) for by, word in zip(asked.by, key, strict=True)])
    ways = [by for by in asked.by if by in rules.WAYS]
    level = _levelled(cells, asked.by, ways) if "species_per_m2" in asked.measures and len(ways) == 1 else {}
    rows = []
    for key in order:
        row = _row(cells[key], asked, exact=exact, raw=not ways)
        row["key"] = dict(zip(asked.by, key, strict=True))
        row["labels"] = {by: labels[by].get(word, str(word)) for by, word in zip(asked.by, key, strict=True)}
        if ways and "species_per_m2" in asked.measures:
            row["figures"]["species_per_m2"]["adjusted"] = level.get(key)
        rows.append(row)
    return {
        "network": {"id": str(network.public_id), "name": network.name},
        "sites": "all" if asked.exact else "open",
        "as_of": as_of(network, exact=asked.exact),
        "by": list(asked.by),
        "only": {name: str(word) for name, word in asked.only.items()},
        "year_from": asked.year_from,
        "year_to": asked.year_to,
        "rows": rows if asked.by else [],
        "total": _row(lines, asked, exact=exact, raw=True),
        "private_sites": private_years(network, today),
        "warnings": _warnings(asked, bool(ways) or not rules.WAYS.isdisjoint(asked.only)),
    }


def _row(lines: Sequence[Line], asked: Asked, *, exact: bool, raw: bool) -> dict[str, Any]:
    return {
        "counts": rules.counts(lines),
        "figures": {name: rules.figure(name, lines, exact=exact, raw=raw) for name in asked.measures},
    }


def _product(parts: Sequence[Sequence[str | int]]) -> list[tuple[str | int, ...]]:
    found: list[tuple[str | int, ...]] = [()]
    for part in parts:
        found = [(*key, word) for key in found for word in part]
    return found


def _levelled(
    cells: Mapping[tuple[str | int, ...], list[Line]], by: Sequence[str], ways: Sequence[str]
) -> dict[tuple[str | int, ...], dict[str, Any]]:
    """The adjusted estimate of each cell, ways compared within whatever else lines are put together by."""
    at = by.index(ways[0])
    layers: dict[tuple[str | int, ...], dict[int, Line]] = {}
    for key, lines in cells.items():
        layer = layers.setdefault((*key[:at], *key[at + 1 :]), {})
        layer.update({id(line): line for line in lines})
    found = {}
    for rest, there in layers.items():
        levelled = rules.adjusted(list(there.values()), ways[0])
        if levelled is None:
            continue
        about = {name: levelled[name] for name in ("allowed_for", "not_separable")}
        for way, estimate in levelled["levels"].items():
            key = (*rest[:at], way, *rest[at:])
            found[key] = estimate | about
    return found


def _warnings(asked: Asked, ways: bool) -> list[str]:
    said = [OF_MISSING, OF_EXACT if asked.exact else OF_PRIVATE]
    if ways:
        said.append(OF_WAYS)
    if "funder" in asked.by:
        said.append(OF_FUNDERS)
    if "group" in (*asked.by, *asked.only):
        said.append(OF_GROUPS)
    return said


def as_of(network: Network, *, exact: bool) -> datetime | None:
    """When the sums that figures rest on last changed; of open sites only, unless private ones are counted in."""
    rows = ReturnRollup.objects.filter(network=network)
    found: datetime | None = (rows if exact else rows.filter(open=True)).aggregate(last=Max("updated_at"))["last"]
    return found


def private_years(network: Network, today: date) -> list[dict[str, Any]]:
    """What was released of private sites, year by year; the number is none where there were too few to say."""
    rows = PrivateYear.objects.filter(network=network, released_on__lte=today).order_by("year")
    return [{"year": row.year, "meadows": row.meadows_rounded, "released_on": row.released_on} for row in rows]


# ------------------------------------------------------------------ words

_LABELS: Final = {
    "stage": dict(Stage.choices), "method": dict(Way.choices), "seed_source": dict(SeedSource.choices),
    "sward_class": dict(SwardClass.choices), "course": dict(Course.choices),
}  # fmt: skip


def _labels(lines: Iterable[Line]) -> dict[str, dict[str | int, str]]:
    """Words for every key there is."""
    found: dict[str, dict[str | int, str]] = {by: {} for by in rules.GROUPINGS}
    for line in lines:
        found["group"][line.group[0]] = line.group[1]
        if line.district:
            found["district"][line.district[0]] = line.district[1]
    for by, words in _LABELS.items():
        found.setdefault(by, {}).update({str(key): str(label) for key, label in words.items()})
    found["kind"] |= {item["key"]: item["label"] for item in vocabularies()["kind"]}
    found["soil_band"] |= {"not_known": "Not tested", **{str(n): f"Phosphorus index {n}" for n in range(10)}}
    found["years_since_sowing"] |= {"not_known": "Not known"}
    found["funder"]["none"] = "No grant through the network"
    found["district"]["none"] = "No district"
    return found


def _place(by: str, word: str | int, labels: Mapping[str, Mapping[str | int, str]]) -> tuple[int, float, str]:
    """Where a key stands: years and numbers by size, words of a closed list in its order, names by name."""
    if isinstance(word, int):
        return 0, word, ""
    if by in _LABELS:
        return 0, list(_LABELS[by]).index(word), ""
    return int(word in {"none", "not_known"}), 0, labels[by].get(word, word).lower()
