"""The seed store in words: what is left, what is promised, what to do with a lot, and what was counted in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import orjson
from django.utils.safestring import SafeString

from modelling.selectors import taxon_row
from projects.choices import SeedAct, SeedState
from projects.dashboard import charts, words
from projects.models import LotCount, SeedEntry, SeedLot, SeedPromise
from projects.rules.lots import weight, years_in_store

#: years from which the age of seed is told
OLD: Final = 1.0


class LotLine:
    """A lot in the list or on its page."""

    def __init__(self, row: SeedLot, today: date) -> None:
        self.row, self.today = row, today

    @property
    def free_mg(self) -> int:
        """What can be promised: nothing of what is on hold or not dry."""
        ready = self.row.held_at is None and self.row.state == SeedState.DRY
        return self.row.balance_mg - self.row.promised_mg if ready else 0

    @property
    def left(self) -> str:
        return weight(self.row.balance_mg)

    @property
    def promised(self) -> str:
        return weight(self.row.promised_mg)

    @property
    def free(self) -> str:
        return weight(self.free_mg)

    @property
    def standing(self) -> str:
        """What keeps it from being promised; empty for nothing."""
        if self.row.held_at is not None:
            return f"On hold: {words.lowered(self.row.hold_reason)}".rstrip(".")
        if self.row.state != SeedState.DRY:
            return f"{self.row.get_state_display()}: nothing is promised before it is dry and weighed"
        return "" if self.row.balance_mg else "Empty"

    @property
    def age(self) -> str:
        """When it was harvested."""
        on = self.row.harvested_on
        return f"harvested {words.day(on)}" if on is not None else "age not known"

    @property
    def sentence(self) -> str:
        """The answer: how much there is, and how much of that can still be promised."""
        told = f"{self.left} of {self.row} are left"
        if self.row.promised_mg:
            told += f", {self.promised} of them promised"
        return f"{told}. {self.standing}." if self.standing else f"{told}; {self.free} can be promised."

    @property
    def to_do(self) -> list[str]:
        """What to do with it next."""
        row, found = self.row, []
        if row.held_at is not None:
            found.append("Look at it with somebody who knows the weed. Local rules decide what may be done with it.")
        if row.state != SeedState.DRY:
            found.append("Spread it thin on paper, turn it daily, and weigh it when two weighings a day apart agree.")
        if row.balance_mg and not row.counts.filter(treatments=row.treatments).exists():
            found.append("Nobody has counted it as it is now: count five sub-samples from all depths.")
        if years_in_store(row.harvested_on, self.today) >= OLD and row.balance_mg:
            found.append("It is more than a year old: test how much of it germinates. Yellow rattle does not keep.")
        return found


def store_sentence(lines: Sequence[LotLine]) -> str:
    """The store in one sentence."""
    there = [line for line in lines if line.row.balance_mg]
    if not there:
        return "There is no seed in the store."
    left = sum(line.row.balance_mg for line in there)
    promised = sum(line.row.promised_mg for line in there)
    free = sum(line.free_mg for line in there)
    lots = f"{words.counted(len(there))} {words.plural(len(there), 'lot')}"
    return f"{weight(left)} of seed in {lots}: {weight(promised)} promised, {weight(free)} free."


@dataclass(frozen=True)
class HistoryLine:
    """One line of a lot's history."""

    on: date
    what: str
    amount: str
    left: str
    why: str


def history(entries: Sequence[SeedEntry], groups: set[int]) -> list[HistoryLine]:
    """A lot's history, the latest first; to whom it was promised is told where the reader may know."""
    found = []
    for row in reversed(entries):
        told = row.promise is None or row.promise.group_id in groups
        what = str(SeedAct(row.act).label)
        if row.other is not None:
            what += f": {row.other}"
        if row.promise is not None and told:
            what += f": {row.promise.group}"
        amount = weight(row.amount_mg) if row.amount_mg else ""
        found.append(HistoryLine(row.on, what, amount, weight(row.balance_mg), row.reason if told else ""))
    return found


class CountPage:
    """What a count says."""

    def __init__(self, row: LotCount, treatments: int) -> None:
        self.row = row
        self.answer: dict[str, Any] = orjson.loads(row.answer)
        self.holds = row.treatments == treatments

    @property
    def sentences(self) -> list[str]:
        found: list[str] = self.answer["sentences"]
        return found

    @property
    def kinds(self) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = self.answer["taxa"]
        return found

    @property
    def samples(self) -> int:
        return len(orjson.loads(self.row.request)["samples"])

    @property
    def chart(self) -> SafeString:
        """Seeds a gram of each kind, between the limits that hold for this sack."""
        rows = []
        for kind in self.kinds:
            uneven = bool(kind["mixing"] and kind["mixing"]["uneven"])
            found = kind["seeds_per_gram_clumped" if uneven else "seeds_per_gram"]
            low, middle, high = (found[name] for name in ("low", "middle", "high"))
            shown = f"{words.figure(low)} to {words.figure(high)}"
            rows.append(charts.Bar(words.opened(kind["english_name"]), low, middle, high, shown))
        return charts.bars("count", "Seeds in a gram, by kind", rows, axis="Seeds in a gram")


def promise_sentence(row: SeedPromise) -> str:
    """What is still to be fetched of a promise, and what went out and is not told of yet."""
    found = []
    if row.owed_mg:
        by = f", to be fetched by {words.day(row.by)}" if row.by else ""
        found.append(f"{weight(row.owed_mg)} still promised{by}")
    if row.out_mg:
        found.append(f"{weight(row.out_mg)} handed over, neither sown nor brought back yet")
    told = "; ".join(found) or "nothing is promised or out any more"
    whom = f"{row.project.name}, {row.group}" if row.project is not None else str(row.group)
    return f"{whom}: {told}."


def ways_of(row: SeedPromise, coordinates: bool) -> list[tuple[str, str]]:
    """What can become of a promise as it stands, and may be told by whoever asks."""
    found = [("sown", "It was sown"), ("returned", "It was brought back")] if row.out_mg else []
    if row.owed_mg and coordinates:
        found = [("handed_over", "It was handed over"), ("released", "The promise is taken back"), *found]
    return found


def kind_name(taxon: str) -> str:
    """The English name of a kind, else its key."""
    return words.opened(str((taxon_row(taxon) or {}).get("english_name", taxon)))
