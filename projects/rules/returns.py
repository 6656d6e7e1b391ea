"""Yearly returns: what cannot be, what is unlikely and must be asked, and how a return goes its way."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType
from typing import Final

from modelling.contracts.outcomes import MOST_QUADRATS, MOST_RECORDS, Quadrat, Record
from modelling.errors import FieldError, pointer_of
from modelling.names import folded
from modelling.selectors import scale_codes, taxon_row
from projects.choices import ReturnState
from projects.contracts.returns import ReturnNew

#: the state -> those that may follow, by what the network does; sending again starts anew
FOLLOWS: Final[Mapping[str, frozenset[str]]] = MappingProxyType(
    {
        ReturnState.SENT: frozenset({ReturnState.CHECKING, ReturnState.SENT_BACK, ReturnState.AGREED}),
        ReturnState.CHECKING: frozenset({ReturnState.SENT_BACK, ReturnState.AGREED}),
        ReturnState.SENT_BACK: frozenset({ReturnState.CHECKING}),
        ReturnState.AGREED: frozenset(),
    }
)
RATTLE: Final = "rhinanthus_minor"
#: walking later or earlier than this, plants are missed; common practice
FIRST_MONTH: Final = 5
LAST_MONTH: Final = 9
#: a change by this factor in one year is asked about; common practice
TWICE: Final = 2
#: so many plants of rattle in a square metre and then none; common practice
MUCH_RATTLE: Final = 5
#: a sward taller than this, in centimetres, is asked about: a hay meadow seldom is; common practice
TALLEST_CM: Final = 150
#: a year's return is late after this month and day, when the walks are a month past; common practice
LATE_AFTER: Final = (10, 31)
#: sown before this month and day, a meadow has its first summer in the same year; common practice
GROWS_FROM: Final = (6, 1)
_NUMBERS: Final = frozenset({"percent"})
_FREE: Final = frozenset({"presence", "abundance"})


@dataclass(frozen=True)
class Asked:
    """A question about a return."""

    code: str
    pointer: str
    text: str


@dataclass(frozen=True)
class Known:
    """What is known of the meadow beside the return."""

    sown_on: date | None
    #: kinds seen a year before, by key or folded name; None if there was no return
    kinds_before: frozenset[str] | None
    #: mean plants of rattle in a square metre a year before
    rattle_before: float | None


def errors(asked: ReturnNew, today: date) -> Iterator[FieldError]:
    """Yield what cannot be."""
    if asked.year > today.year:
        yield FieldError("/year", "in_future", f"{asked.year} is still to come.", asked.year, f"up to {today.year}")
    quadrats: Counter[tuple[date, str]] = Counter()
    for v, visit in enumerate(asked.visits):
        at = f"/visits/{v}"
        yield from _day(f"{at}/on", visit.on, asked.year, today)
        yield from _records(f"{at}/whole_site", visit.whole_site)
        for q, quadrat in enumerate(visit.quadrats):
            where = f"{at}/quadrats/{q}"
            quadrats[visit.on, quadrat.label.strip().lower()] += 1
            if quadrats[visit.on, quadrat.label.strip().lower()] == 2:
                text = f"Two quadrats of {visit.on.isoformat()} are called {quadrat.label!r}."
                yield FieldError(f"{where}/label", "duplicate_label", text, quadrat.label, "a label of its own")
            yield from _records(f"{where}/records", quadrat.records)
    if sum(len(visit.quadrats) for visit in asked.visits) > MOST_QUADRATS:
        text = f"All visits together can have {MOST_QUADRATS} quadrats."
        yield FieldError("/visits", "too_many", text, None, f"at most {MOST_QUADRATS} quadrats in the year")
    if (
        len({record.taxon or folded(record.name) for visit in asked.visits for record in visit.whole_site})
        > MOST_RECORDS
    ):
        text = f"The lists of the whole site together can have {MOST_RECORDS} kinds."
        yield FieldError("/visits", "too_many", text, None, f"at most {MOST_RECORDS} kinds in the year")
    for w, work in enumerate(asked.work):
        if work.on is not None:
            yield from _day(pointer_of(("work", w, "on")), work.on, asked.year, today)
    if asked.person_hours and not asked.heads:
        yield FieldError("/heads", "contradiction", "Hours need people: say how many came.", asked.heads, "at least 1")


def _day(pointer: str, on: date, year: int, today: date) -> Iterator[FieldError]:
    shown = on.isoformat()
    if on > today:
        yield FieldError(pointer, "in_future", f"{shown} is still to come.", shown, f"up to {today.isoformat()}")
    elif on.year != year:
        yield FieldError(pointer, "other_year", f"{shown} is not in {year}, the year of this return.", shown, str(year))


def _records(pointer: str, records: tuple[Record, ...]) -> Iterator[FieldError]:
    seen: dict[str, int] = {}
    for r, record in enumerate(records):
        where = f"{pointer}/{r}"
        key = record.taxon or folded(record.name)
        if key in seen:
            text = f"{record.name} stands here twice, also at {pointer}/{seen[key]}."
            yield FieldError(where, "twice", text, record.name, "each plant once in a quadrat")
        seen.setdefault(key, r)
        if record.taxon is not None and taxon_row(record.taxon) is None:
            text = f"{record.taxon!r} is not a plant known here; leave taxon out, and the name is looked up."
            yield FieldError(f"{where}/taxon", "unknown_plant", text, record.taxon, "a key of the plant list, or null")
        yield from _amount(f"{where}/value", record)


def _amount(pointer: str, record: Record) -> Iterator[FieldError]:
    value = record.value.strip()
    if record.scale in _NUMBERS:
        try:
            number = float(value.removesuffix("%"))
        except ValueError:
            number = -1.0
        if not 0 <= number <= 100:
            text = f"{record.name}: {record.value!r} is no cover in percent."
            yield FieldError(pointer, "out_of_range", text, record.value, "0 to 100")
    elif record.scale not in _FREE:
        codes = scale_codes(record.scale)
        if value.lower() not in codes:
            scale = record.scale.replace("_", " ")
            text = f"{record.name}: {record.value!r} is not on the scale {scale}."
            yield FieldError(pointer, "not_on_scale", text, record.value, f"one of {', '.join(codes)}")


def kinds(asked: ReturnNew) -> frozenset[str]:
    """Return the kinds a return names, by key or else by folded name."""
    return frozenset(record.taxon or folded(record.name) for record in every_record(asked))


def every_record(asked: ReturnNew) -> Iterator[Record]:
    """Yield every record of a return."""
    for visit in asked.visits:
        yield from visit.whole_site
        for quadrat in visit.quadrats:
            yield from quadrat.records


def rattle_per_m2(asked: ReturnNew) -> float | None:
    """Return the mean plants of rattle in a square metre; None where it was not counted."""
    counted = [
        quadrat.rattle_plants / quadrat.area_m2
        for visit in asked.visits
        for quadrat in visit.quadrats
        if quadrat.rattle_plants is not None
    ]
    return sum(counted) / len(counted) if counted else None


def questions(asked: ReturnNew, known: Known) -> Iterator[Asked]:
    """Yield what is unlikely and must be asked. The names in the return should be settled as far as they can be."""
    cuts = [work.on for work in asked.work if work.what == "cut" and work.on is not None]
    for v, visit in enumerate(asked.visits):
        at = f"/visits/{v}"
        if visit.quadrats and not FIRST_MONTH <= visit.on.month <= LAST_MONTH:
            yield Asked(
                "out_of_season",
                f"{at}/on",
                f"The walk was on {visit.on:%-d %B}: is the day right? Many plants cannot be seen then.",
            )
        before = [cut for cut in cuts if cut <= visit.on]
        if visit.quadrats and before:
            yield Asked(
                "after_the_cut", f"{at}/on",
                f"The walk of {visit.on:%-d %B} came after the cut of {max(before):%-d %B}: are both days right?",
            )  # fmt: skip
        yield from _alike(at, visit.quadrats)
        yield from _full(at, visit.quadrats)
        yield from _tall(at, visit.quadrats)
    now = kinds(asked)
    if known.kinds_before and asked.answered == "surveyed" and now:
        if len(now) >= TWICE * len(known.kinds_before):
            yield Asked(
                "twice_as_many",
                "",
                f"{len(now)} kinds, after {len(known.kinds_before)} last year: did somebody else look, or farther?",
            )
        elif TWICE * len(now) <= len(known.kinds_before):
            yield Asked(
                "half_as_many", "", f"{len(now)} kinds, after {len(known.kinds_before)} last year: what was different?"
            )
    rattle = rattle_per_m2(asked)
    if rattle is None and now and RATTLE not in now:
        # plants were written down and rattle is not among them
        rattle = 0
    if known.rattle_before is not None and known.rattle_before >= MUCH_RATTLE and rattle == 0:
        yield Asked(
            "rattle_gone",
            "",
            f"Yellow rattle went from {known.rattle_before:.0f} to none in a square metre: was it cut before mid July?",
        )
    if known.sown_on is not None and asked.year <= known.sown_on.year + 1:
        for record in every_record(asked):
            row = taxon_row(record.taxon) if record.taxon else None
            if row and "orchid" in row["english_name"]:
                yield Asked(
                    "early_orchid",
                    "",
                    f"{row['english_name'].capitalize()} in the first summer after sowing: was it there before?",
                )
                break


def _alike(at: str, quadrats: tuple[Quadrat, ...]) -> Iterator[Asked]:
    lists = [tuple(sorted((r.name.lower(), r.scale, r.value) for r in quadrat.records)) for quadrat in quadrats]
    if len(lists) > TWICE and lists[0] and len(set(lists)) == 1:
        yield Asked(
            "all_alike", f"{at}/quadrats", f"All {len(lists)} quadrats hold exactly the same: were they copied?"
        )


def _full(at: str, quadrats: tuple[Quadrat, ...]) -> Iterator[Asked]:
    for q, quadrat in enumerate(quadrats):
        bare, litter = quadrat.bare_ground_percent or 0, quadrat.litter_percent or 0
        if bare + litter > 100:
            yield Asked(
                "over_full",
                f"{at}/quadrats/{q}",
                f"Quadrat {quadrat.label}: bare ground and litter make more than the whole.",
            )


def _tall(at: str, quadrats: tuple[Quadrat, ...]) -> Iterator[Asked]:
    for q, quadrat in enumerate(quadrats):
        if (quadrat.sward_height_cm or 0) > TALLEST_CM:
            yield Asked(
                "tall_sward",
                f"{at}/quadrats/{q}/sward_height_cm",
                f"Quadrat {quadrat.label}: a sward of {quadrat.sward_height_cm:g} cm: is that in centimetres?",
            )


def expected(sown_on: date | None, year: int) -> bool:
    """Say whether a sown meadow has a summer in a year, of which there is something to tell."""
    return sown_on is not None and sown_on < date(year, *GROWS_FROM)


def late(year: int, today: date) -> bool:
    """Say whether a return of a year that has not come is overdue."""
    return today > date(year, *LATE_AFTER)


def may_follow(state: str, following: str) -> bool:
    """Say whether the network may take a return from one state to another."""
    return following in FOLLOWS[state]
