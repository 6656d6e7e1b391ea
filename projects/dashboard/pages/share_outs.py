"""Sharing seed out in words: a coordinator's review, and what a group is told."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, Final

from projects.choices import ShareOutState
from projects.dashboard import words
from projects.models import SeedWish, ShareOut, ShareOutResult
from projects.rules.lots import weight

_REASONS: Final = {
    "out_of_reach": "no seed that suits it lies near enough",
    "habitat": "the seed within its reach is of another kind of ground",
    "forbidden": "what would suit it was kept for others by hand",
    "resting": "the meadows that would suit it are used up or at rest this year",
    "too_little_seed": "all the seed within its reach is less than is worth sowing there",
    "no_harvester_day": "the harvester has too few dry days for what it would need",
    "outbid": "others make more of the seed within its reach",
    "not_worked_out": "others make more of the seed within its reach",
}
#: without a name in them: another group's meadow is nobody else's business
_CHANGES: Final = {
    "reach": "Seed taken from farther away; ask the coordinator.",
    "seed": "More seed within reach from ground like yours: is there a meadow nearby that could give some?",
    "day": "More dry days in the ripe weeks, or a second harvester and somebody to drive it.",
    "gain": "Better ground for it: lower fertility or barer soil raises what the same seed brings.",
    "pin": "The coordinator can hold some for you by hand, at others' cost.",
    "rest": "Waiting until the meadow has rested.",
    "ask_less": "Asking for less.",
}


def told(wish: SeedWish, entry: Mapping[str, Any]) -> tuple[str, list[str]]:
    """What a group is told of its wish: a sentence, and what would change it."""
    name = wish.project.name
    if "reason" not in entry:
        share = "all that you asked for" if entry["mg"] >= wish.target_mg else f"of {weight(wish.target_mg)} asked for"
        gain = words.area(entry["gain_m2"])
        return f"{name} gets {weight(entry['mg'])}, {share}: about {gain} of species-rich ground from it.", []
    changes = list(dict.fromkeys(_CHANGES[one["what"]] for one in entry["would_change"]))
    return f"{name} gets none, because {_REASONS[entry['reason']]}.", changes


def listed(row: ShareOut) -> str:
    """A sharing in a list."""
    state = "accepted" if row.state == ShareOutState.ACCEPTED else "being worked out"
    return f"{row.name}, {row.year}: {state}"


class ShareOutPage:
    """A sharing for whoever decides: what the model said, with names."""

    def __init__(self, row: ShareOut, result: ShareOutResult | None, answer: Mapping[str, Any] | None,
                 names: Mapping[str, str]) -> None:  # fmt: skip
        self.row, self.result, self.answer, self.names = row, result, answer or {}, names

    def name(self, key: str) -> str:
        """The name of a lot, meadow or project."""
        return self.names.get(key, key)

    @property
    def sentence(self) -> str:
        """The answer first."""
        if not self.answer:
            return f"{self.row.name}: nothing is worked out yet."
        return str(self.answer["sentence"])

    @property
    def proof(self) -> str:
        """How sure it is that nothing is better."""
        solved = self.answer.get("solved")
        if not solved:
            return ""
        if solved["status"] == "proven_best":
            return "No other sharing brings more."
        return f"No other sharing brings more than {words.figure(100 * solved['gap'])} % more."

    @property
    def shares(self) -> list[tuple[str, str, str, str]]:
        """Who gets what, from where, how far, and whether it is held."""
        rows = []
        for share in self.answer.get("shares", ()):
            far = "" if share["km"] is None else f"{words.figure(share['km'])} km"
            held = f"{weight(share['pinned_mg'])} held by hand" if share["pinned_mg"] else ""
            if share["against_rules"]:
                held += ", against the rules of distance or habitat"
            rows.append((self.name(share["project"]), self.name(share["source"]), weight(share["mg"]), far, held))
        return sorted(rows)  # type: ignore[arg-type]

    @property
    def without(self) -> list[tuple[str, list[str], str]]:
        """Who goes without: why, what would change it, and what serving them would cost."""
        rows = []
        for entry in self.answer.get("without", ()):
            losers = [self.name(key) for key in entry["losers"]]
            cost = f"Served all the same, it would take from {words.listed(losers)}." if losers else ""
            rows.append((entry["sentence"], [one["sentence"] for one in entry["would_change"]], cost))
        return rows

    @property
    def harvests(self) -> list[str]:
        """Harvests to be made."""
        return [
            f"{self.name(one['id'])}: {words.counted(one['half_days'])} half-{words.plural(one['half_days'], 'day')} "
            f"between {words.day(one['first_day'])} and {words.day(one['last_day'])}, for {weight(one['mg'])}"
            for one in self.answer.get("harvests", ())
        ]

    @property
    def weather(self) -> list[str]:
        """Dry days that were counted on."""
        return [
            f"{words.day(one['first_day'])} to {words.day(one['last_day'])}, {one['days']} days: "
            f"{words.counted(one['days_to_count_on'])} dry {words.plural(one['days_to_count_on'], 'day')} counted on, "
            f"{one['half_days_used']} of {one['half_days']} half-days used"
            for one in self.answer.get("stretches", ())
        ]

    @property
    def more(self) -> list[str]:
        """What one more kilogram or day would change, the most first."""
        rows = sorted(self.answer.get("one_more", ()), key=lambda one: -one["value_gained"])
        return [one["sentence"] for one in rows]

    @property
    def faults(self) -> list[str]:
        """Why what is held cannot be kept."""
        return [fault["sentence"] for fault in self.answer.get("infeasible", ())]

    @property
    def held(self) -> list[tuple[int, str]]:
        """Pairings held by hand: place in the list, and words."""
        found = []
        costs = {(one["source"], one["project"]): one["value_lost"] for one in self.answer.get("pins", ())}
        for place, one in enumerate(self.row.settings.get("held", ())):
            source, project = self.name(one["source_id"]), self.name(one["project_id"])
            lost = costs.get((one["source_id"], one["project_id"]))
            cost = ""
            if lost and self.answer.get("objective") == "area":
                cost = f" (costs the county {words.area(lost)} of species-rich ground)"
            if one["how"] == "forbid":
                found.append((place, f"{project} gets nothing of {source}{cost}"))
            else:
                amount = f"at least {weight(round(one['grams'] * 1000))}" if one.get("grams") else "some"
                found.append((place, f"{project} gets {amount} of {source}{cost}"))
        return found

    @property
    def planned(self) -> list[str]:
        """Harvests that may be made."""
        return [
            f"{self.name(one['donor_id'])}: ripe from {words.day(date.fromisoformat(one['first_day']))} to "
            f"{words.day(date.fromisoformat(one['last_day']))}, {weight(round(one['half_day_g'] * 1000))} a half-day"
            for one in self.row.settings.get("harvests", ())
        ]

    @property
    def may_accept(self) -> bool:
        """Whether there is something to say yes to."""
        return self.row.state == ShareOutState.OPEN and bool(self.answer.get("feasible"))
