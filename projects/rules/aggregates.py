"""A county's figures out of its meadows' sums: which there are, how each is worked out, and what is not said.

A line is one summer of one meadow: told of by an agreed return, awaited, or missing. Missing is never none: every
figure says how many summers it rests on, and what it would be if the missing ones were like the others or had failed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final, Literal

from modelling import county
from projects.choices import Course, SwardClass
from projects.models import ReturnRollup

DM2_PER_HA: Final = 1_000_000
PENCE_PER_POUND: Final = 100
MINUTES_PER_HOUR: Final = 60
MILLI: Final = 1000
#: money, hours and heads are told to everybody once so many groups have a part in them: fewer would tell of one
LEAST_GROUPS: Final = 3
#: summers of which nobody has asked how old the meadow was stand here
_UNKNOWN: Final = "not_known"
Kind = Literal["mean", "ground", "share", "classes", "total", "ratio"]


@dataclass(frozen=True, slots=True)
class Line:
    """One summer of one meadow."""

    year: int
    group_id: int
    group: tuple[str, str]
    district: tuple[str, str] | None
    site_id: int
    project_id: int
    kind: str
    sward: str
    soil_band: str
    method: str
    seed_source: str
    funders: tuple[str, ...]
    stage: str
    sown_year: int | None
    area_dm2: int
    #: none where no return is agreed
    sums: ReturnRollup | None
    late: bool

    @property
    def age(self) -> int | None:
        """Years since sowing."""
        return None if self.sown_year is None else self.year - self.sown_year


@dataclass(frozen=True, slots=True)
class Measure:
    """One figure that can be asked for."""

    kind: Kind
    unit: str
    about: str


MEASURES: Final = MappingProxyType(
    {
        "species_per_m2": Measure(
            "mean", "kinds in a square metre", "Kinds of plant in a quadrat of one square metre, in the sown part."
        ),
        "rattle_per_m2": Measure("mean", "plants in a square metre", "Plants of yellow rattle in a square metre."),
        "hectares": Measure("ground", "ha", "Ground of the meadows; ground under two grants is counted once."),
        "species_rich_hectares": Measure(
            "ground", "ha", "Ground whose latest walk found it species-rich, by the rules for permanent grassland."
        ),
        "sward_classes": Measure("classes", "ha", "Ground by what its latest walk found."),
        "on_course": Measure(
            "share", "share of meadows", "Meadows whose latest walk lies in its forecast's 8 in 10, or above."
        ),
        "cash_gbp": Measure("total", "GBP", "Cash spent: as the return says, else as the diary does."),
        "in_kind_gbp": Measure("total", "GBP", "Worth of what was given, as the diary says."),
        "person_hours": Measure("total", "person-hours", "Hours: as the return says, else as the diary does."),
        "machine_hours": Measure("total", "machine-hours", "Hours of machines: as the return says, else the diary."),
        "heads": Measure("total", "heads", "People who helped, as returns say; somebody who came twice counts twice."),
        "events": Measure("total", "events", "Gatherings."),
        "event_heads": Measure("total", "heads", "People who came to gatherings."),
        "cash_gbp_per_hectare": Measure("ratio", "GBP/ha", "Cash of the summers told of, by their ground."),
        "cash_gbp_per_species_rich_hectare": Measure(
            "ratio", "GBP/ha", "Cash of the summers told of, by the ground of theirs that is species-rich."
        ),
    }
)  # fmt: skip
#: what lines can be put together by; `group` is for a network's coordinators alone
GROUPINGS: Final = (
    "year", "district", "group", "kind", "stage", "method", "seed_source", "soil_band", "funder", "years_since_sowing",
    "sward_class",
)  # fmt: skip
#: ways of making a meadow, which go with the ground they were chosen for
WAYS: Final = frozenset({"method", "seed_source"})


def keys_of(line: Line, by: str) -> Sequence[str | int]:
    """What a line counts as: one word, or for funders as many as paid for it."""
    match by:
        case "year":
            return (line.year,)
        case "district":
            return (line.district[0] if line.district else "none",)
        case "group":
            return (line.group[0],)
        case "funder":
            return line.funders or ("none",)
        case "years_since_sowing":
            return (_UNKNOWN if line.age is None else line.age,)
        case "soil_band":
            return (line.soil_band or _UNKNOWN,)
        case "sward_class":
            return (SwardClass.NOT_JUDGED.value if line.sums is None else line.sums.sward_class,)
    return (getattr(line, by),)


def latest(lines: Iterable[Line], what: Callable[[Line], int]) -> list[Line]:
    """Of each thing the line of its last year; of two alike, the one with more quadrats."""
    found: dict[int, Line] = {}
    for line in sorted(lines, key=lambda one: (one.year, one.sums.quadrats if one.sums else -1, one.project_id)):
        found[what(line)] = line
    return list(found.values())


def _site(line: Line) -> int:
    return line.site_id


def ground_dm2(lines: Iterable[Line]) -> int:
    """Ground of lines, each site once."""
    return sum(line.area_dm2 for line in latest(lines, _site))


def six(value: float | None) -> float | None:
    """To six significant digits, as stored answers have it."""
    return None if value is None else float(f"{value:.6g}")


def counts(lines: Sequence[Line]) -> dict[str, int]:
    """How many summers, meadows, sites and groups a figure could rest on, and how many are told of."""
    told = [line for line in lines if line.sums is not None]
    return {
        "summers": len(lines),
        "told": len(told),
        "missing": sum(line.sums is None and line.late for line in lines),
        "awaited": sum(line.sums is None and not line.late for line in lines),
        "meadows": len({line.project_id for line in lines}),
        "sites": len({line.site_id for line in lines}),
        "groups": len({line.group_id for line in lines}),
    }


def figure(name: str, lines: Sequence[Line], *, exact: bool, raw: bool) -> dict[str, Any]:
    """Work out one measure of some lines.

    Parameters
    ----------
    exact
        Whether money, hours and heads of fewer than three groups are told.
    raw
        Whether means and shares are told as they are; not where ways of making a meadow stand side by side.
    """
    measure = MEASURES[name]
    told = [line for line in lines if line.sums is not None]
    missing = sum(line.sums is None and line.late for line in lines)
    head = {"kind": measure.kind, "unit": measure.unit}
    if not raw and measure.kind in {"mean", "share", "ratio"}:
        return head | {"not_compared": True}
    match measure.kind:
        case "mean":
            return head | mean_of(name, told, missing)
        case "ground":
            return head | _ground(name, lines, told, missing)
        case "share":
            return head | _share(told, lines)
        case "classes":
            return head | _classes(lines)
        case "total":
            return head | _total(name, told, missing, exact=exact)
    return head | _ratio(name, told, exact=exact)


# ------------------------------------------------------------------ means


def _counted(name: str, sums: ReturnRollup) -> tuple[int, float, float] | None:
    """n, sum and sum of squares that a return brings to a mean; None where it brings none."""
    if name == "species_per_m2":
        return (sums.quadrats, sums.species_sum, sums.species_squares) if sums.quadrats else None
    if sums.rattle_milli is None:
        return None
    plants = sums.rattle_milli / MILLI
    return 1, plants, plants * plants


def mean_of(name: str, told: Sequence[Line], missing: int) -> dict[str, Any]:
    """Both estimates over sites, with what the missing summers might make of them."""
    by_site: dict[int, list[tuple[int, float, float]]] = {}
    areas: dict[int, int] = {}
    used = 0
    for line in sorted(told, key=lambda one: (one.site_id, one.year, one.project_id)):
        brought = _counted(name, line.sums) if line.sums else None
        if brought is not None:
            by_site.setdefault(line.site_id, []).append(brought)
            areas[line.site_id] = line.area_dm2
            used += 1
    sites = [
        (areas[site], sum(n for n, _, _ in rows), sum(s for _, s, _ in rows), sum(q for _, _, q in rows))
        for site, rows in by_site.items()
    ]
    found = county.means(sites)
    area, unit = found["area_weighted"], found["site_as_unit"]
    return {
        "area_weighted": _estimate(area),
        "site_as_unit": _estimate(unit),
        "sd_between_sites": six(found["sd_between_sites"]),
        "sd_within_sites": six(found["sd_within_sites"]),
        "quadrats": sum(n for _, n, _, _ in sites) if name == "species_per_m2" else None,
        "summers_counted": used,
        "if_missing_were_like_these": six(unit["estimate"]) if unit else None,
        "if_missing_held_nothing": six(county.as_failed(unit["estimate"], used, missing)) if unit else None,
    }


def _estimate(found: dict[str, Any] | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {name: value if name == "sites" else six(value) for name, value in found.items()}


def adjusted(lines: Sequence[Line], by: str) -> dict[str, Any] | None:
    """Ways side by side on level ground, by kinds in a square metre; None where the meadows do not allow it."""
    summers = [
        (
            line.site_id, line.sums.species_sum / line.sums.quadrats, str(keys_of(line, by)[0]), float(line.age),
            {"soil": line.soil_band or _UNKNOWN, "sward": line.sward or _UNKNOWN},
        )
        for line in lines
        if line.sums is not None and line.sums.quadrats and line.age is not None
    ]  # fmt: skip
    found = county.compared(summers)
    if found is None:
        return None
    levels = {way: _estimate(level) or {} for way, level in found["levels"].items()}
    return {**found, "levels": {way: {**level, "summers": int(level["summers"])} for way, level in levels.items()}}


# ------------------------------------------------------------------ ground, shares, classes


def _hectares(dm2: int) -> float:
    return dm2 / DM2_PER_HA


def _ground(name: str, lines: Sequence[Line], told: Sequence[Line], missing: int) -> dict[str, Any]:
    whole = ground_dm2(lines)
    if name == "hectares":
        known = ground_dm2(told)
        return {
            "total": _hectares(whole), "of_told": _hectares(known), "of_not_told": _hectares(whole - known),
            "if_missing_were_like_these": _hectares(whole), "if_missing_had_failed": _hectares(known),
        }  # fmt: skip
    last = latest(told, _site)
    judged = [line for line in last if line.sums and line.sums.sward_class != SwardClass.NOT_JUDGED]
    rich = sum(line.area_dm2 for line in judged if line.sums and line.sums.sward_class == SwardClass.SPECIES_RICH)
    known = sum(line.area_dm2 for line in judged)
    return {
        "total": _hectares(rich) if judged else None,
        "of_told": _hectares(known),
        "of_not_told": _hectares(whole - known),
        "if_missing_were_like_these": six(_hectares(whole) * rich / known) if known else None,
        "if_missing_had_failed": _hectares(rich) if judged else None,
    }


def _classes(lines: Sequence[Line]) -> dict[str, Any]:
    ground = dict.fromkeys((*SwardClass.values, "no_return"), 0)
    seen = latest([line for line in lines if line.sums is not None], _site)
    sites = {line.site_id for line in seen}
    for line in seen:
        ground[line.sums.sward_class if line.sums else ""] += line.area_dm2
    ground["no_return"] = ground_dm2(line for line in lines if line.site_id not in sites)
    return {"hectares": {name: _hectares(dm2) for name, dm2 in ground.items()}}


def _share(told: Sequence[Line], lines: Sequence[Line]) -> dict[str, Any]:
    last = latest(told, lambda line: line.project_id)
    found = dict.fromkeys(Course.values, 0)
    for line in last:
        found[line.sums.course if line.sums else Course.UNKNOWN.value] += 1
    there = {line.project_id for line in last}
    none_told = len({line.project_id for line in lines if line.late} - there)
    on, known = found[Course.ON_COURSE] + found[Course.AHEAD], sum(found.values()) - found[Course.UNKNOWN]
    share = county.share(on, known)
    return {
        "meadows": found | {"no_return": none_told},
        "share": None if share is None else {name: six(value) for name, value in share.items()},
        "if_missing_were_like_these": six(share["share"]) if share else None,
        "if_missing_had_failed": six(on / (known + none_told)) if known + none_told else None,
    }


# ------------------------------------------------------------------ money, hours, people


def said(name: str, sums: ReturnRollup) -> int | None:
    """What a return tells of a total, in whole pence, minutes or heads; None where neither it nor the diary tells."""
    match name:
        case "cash_gbp":
            return _either(sums.cash_pence, sums.diary_cash_pence, sums)
        case "person_hours":
            return _either(sums.person_minutes, sums.diary_person_minutes, sums)
        case "machine_hours":
            return _either(sums.machine_minutes, sums.diary_machine_minutes, sums)
        case "in_kind_gbp":
            return sums.diary_in_kind_pence if sums.diary_lines else None
        case "heads":
            return sums.heads
        case "events":
            return sums.events
    return sums.event_heads


def _either(told: int | None, diary: int, sums: ReturnRollup) -> int | None:
    if told is not None:
        return told
    return diary if sums.diary_lines else None


def _written(name: str, total: float) -> float:
    if name.endswith("_gbp"):
        return round(total / PENCE_PER_POUND, 2)
    return round(total / MINUTES_PER_HOUR, 2) if name.endswith("_hours") else total


def _saying(name: str, told: Sequence[Line]) -> list[tuple[Line, int]]:
    pairs = [(line, said(name, line.sums)) for line in told if line.sums is not None]
    return [(line, value) for line, value in pairs if value is not None]


def _few(pairs: Iterable[tuple[Line, int]]) -> bool:
    return len({line.group_id for line, _ in pairs}) < LEAST_GROUPS


def _total(name: str, told: Sequence[Line], missing: int, *, exact: bool) -> dict[str, Any]:
    pairs = _saying(name, told)
    silent = len(told) - len(pairs) + missing
    if not pairs or (not exact and _few(pairs)):
        return {"total": None, "withheld": bool(pairs), "summers_counted": len(pairs), "summers_silent": silent}
    total = sum(value for _, value in pairs)
    return {
        "total": _written(name, total),
        "withheld": False,
        "summers_counted": len(pairs),
        "summers_silent": silent,
        "if_missing_were_like_these": six(_written(name, total * (len(pairs) + silent) / len(pairs))),
    }


def _ratio(name: str, told: Sequence[Line], *, exact: bool) -> dict[str, Any]:
    pairs = _saying("cash_gbp", told)
    if not pairs or (not exact and _few(pairs)):
        return {"value": None, "withheld": bool(pairs), "summers_counted": len(pairs)}
    ground = latest([line for line, _ in pairs], _site)
    if name == "cash_gbp_per_species_rich_hectare":
        ground = [line for line in ground if line.sums and line.sums.sward_class == SwardClass.SPECIES_RICH]
    dm2, total = sum(line.area_dm2 for line in ground), sum(value for _, value in pairs)
    pence = total * DM2_PER_HA / dm2 if dm2 else None
    return {
        "value": None if pence is None else round(pence / PENCE_PER_POUND, 2),
        "withheld": False,
        "summers_counted": len(pairs),
    }


# ------------------------------------------------------------------ beside forecasts


def forecast_of(lines: Sequence[Line]) -> tuple[float, float, float] | None:
    """Mean over sites of what was forecast for the summers counted: P10, P50 and P90 of one meadow; None for none."""
    by_site: dict[int, list[ReturnRollup]] = {}
    for line in lines:
        if line.sums is not None and line.sums.quadrats and line.sums.forecast_p50 is not None:
            by_site.setdefault(line.site_id, []).append(line.sums)
    if not by_site:
        return None
    low, middle, high = (
        sum(sum(getattr(row, name) for row in rows) / len(rows) for _, rows in sorted(by_site.items())) / len(by_site)
        for name in ("forecast_p10", "forecast_p50", "forecast_p90")
    )
    return low, middle, high
