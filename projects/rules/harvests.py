"""What speaks against a harvest on a day: the agreement, rest between harvests, how much is left for the meadow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from modelling.selectors import parameters

TABLE: Final = "harvest_values"
_MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_DM2_PER_M2: Final = 100


@dataclass(frozen=True)
class Caution:
    """Something to look at. What `asks` needs a coordinator's reason; the rest is only told."""

    code: str
    text: str
    pointer: str
    asks: bool = True


@dataclass(frozen=True)
class Agreed:
    """An agreement, as the rules read it."""

    starts_on: date
    ends_on: date
    window_opens: str
    window_closes: str
    area_dm2: int
    methods: Sequence[str]


@dataclass(frozen=True)
class Taken:
    """A harvest: of the past, or the one that is asked about."""

    on: date
    method: str
    area_dm2: int


def ripe_in(taxon: str) -> tuple[int, ...]:
    """Return the months, 1 to 12, in which seed of a kind is usually ripe; from memory."""
    row = parameters().nouns["taxa"].get(taxon)
    first, _, last = (row["ripe_months"] if row else "").partition("-")
    if first not in _MONTHS:
        return ()
    begin = _MONTHS.index(first)
    end = _MONTHS.index(last) if last in _MONTHS else begin
    return tuple((begin + n) % 12 + 1 for n in range((end - begin) % 12 + 1))


def cautions(
    now: Taken, donor_dm2: int, plants: Sequence[str], agreements: Sequence[Agreed], earlier: Sequence[Taken]
) -> list[Caution]:
    """Return all that speaks against a harvest, the agreement first."""
    found = _of_agreement(now, agreements, earlier)
    found += _of_area(now, donor_dm2, earlier)
    if now.method == "hand":
        share = parameters().value(TABLE, "hand", "most_of_ripe")
        fewest = parameters().value(TABLE, "hand", "fewest_plants")
        text = f"Pick no more than {share * 100:g} % of the seed that is ripe that day, from {fewest:g} plants or more."
        found.append(Caution("hand_picking", text, "/method", asks=False))
    unripe = [taxon for taxon in plants if ripe_in(taxon) and now.on.month not in ripe_in(taxon)]
    if plants and len(unripe) > len(plants) / 2:
        text = f"{len(unripe)} of the {len(plants)} kinds listed are not usually ripe in {now.on:%B}."
        found.append(Caution("not_ripe", text, "/on", asks=False))
    return found


def _of_agreement(now: Taken, agreements: Sequence[Agreed], earlier: Sequence[Taken]) -> list[Caution]:
    running = [one for one in agreements if one.starts_on <= now.on <= one.ends_on]
    if not running:
        return [Caution("no_agreement", f"No agreement holds on {now.on.isoformat()}.", "/on")]
    agreed = running[0]
    found = []
    if not agreed.window_opens <= now.on.strftime("%m-%d") <= agreed.window_closes:
        text = f"Harvesting is agreed from {agreed.window_opens} to {agreed.window_closes} (month and day)."
        found.append(Caution("outside_window", text, "/on"))
    if now.method not in agreed.methods:
        text = f"Agreed is only: {', '.join(agreed.methods)}."
        found.append(Caution("method_not_agreed", text, "/method"))
    this_year = now.area_dm2 + sum(one.area_dm2 for one in earlier if one.on.year == now.on.year)
    if this_year > agreed.area_dm2:
        text = f"This year's harvests come to {_m2(this_year)}; agreed are {_m2(agreed.area_dm2)}."
        found.append(Caution("beyond_agreed_area", text, "/area_m2"))
    return found


def _of_area(now: Taken, donor_dm2: int, earlier: Sequence[Taken]) -> list[Caution]:
    most = parameters().value(TABLE, "donor", "most_of_area")
    rest = round(parameters().value(TABLE, "donor", "rest"))
    found = []
    same_day = [one for one in earlier if one.on.year == now.on.year]
    this_year = now.area_dm2 + sum(one.area_dm2 for one in same_day)
    if now.method != "hand" and this_year > donor_dm2 * most:
        text = f"{_m2(this_year)} of {_m2(donor_dm2)} in one year; leave {100 - most * 100:g} % for the meadow itself."
        found.append(Caution("too_large_a_share", text, "/area_m2"))
    before = [one for one in earlier if now.on.year - rest <= one.on.year < now.on.year]
    used = sum(one.area_dm2 for one in before)
    if before and used + now.area_dm2 > donor_dm2:
        last = max(one.on for one in before)
        text = (
            f"Harvested last on {last.isoformat()}: what was taken in the last {rest} years and this are more than the "
            f"meadow, so some of it has no rest of {rest} years."
        )
        found.append(Caution("no_rest", text, "/on"))
    return found


def _m2(area_dm2: int) -> str:
    return f"{area_dm2 / _DM2_PER_M2:,.0f} m²"
