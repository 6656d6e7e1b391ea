"""Sharing seed out: who gets what in the best sharing, who goes without and why, and what one more would change."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cached_property
from typing import Any, Final

import numpy as np

from modelling import share_out_words as words
from modelling import wording
from modelling.contracts import share_out as contract
from modelling.core import share_out as core
from modelling.core.share_out_simple import by_gain, in_turn
from modelling.reading import read_as
from modelling.release import RELEASE
from modelling.selectors import parameters, reference_checksum
from modelling.share_out_parts import HABITAT, MG_PER_KG, OUT_OF_REACH, Parts

SOLVER: Final = "HiGHS through scipy.optimize.milp"
_DIGITS: Final = 6
_UNITS: Final = {"area": "m² of species-rich ground to be expected", "fair": "projects with all that they could gain"}
_WAYS: Final = {"first_come": "First come, first served", "greedy": "Serving first who gains most for each kilogram"}


def read_share_out(data: object) -> contract.ShareOutQuestion:
    """Read and check a season's question; raises RequestRefused with every fault."""
    question = read_as(contract.ShareOutQuestion, data)
    Parts(parameters(), question)
    return question


def share_out(question: contract.ShareOutQuestion) -> dict[str, Any]:
    """Share a season's seed out: plain values, shaped as `contracts.share_out.ShareOutAnswer`.

    Raises
    ------
    RequestRefused
        If something is named that is not in the question.
    """
    return _ShareOut(Parts(parameters(), question)).answer()


class _ShareOut:
    """One sharing with everything that is told about it."""

    def __init__(self, parts: Parts) -> None:
        self.parts, self.question = parts, parts.question
        self.sharer = self.of(parts.season)

    def of(self, season: core.Season) -> core.Sharer:
        return core.Sharer(season, self.parts.gap)

    def answer(self) -> dict[str, Any]:
        parts, over = self.parts, self.sharer.pins_over()
        best = None if over else self.sharer.solve()
        found = best or self.nothing
        days = {source.id: int(n) for source, n in zip(self.sharer.sources, found.half_days, strict=True) if n}
        chance, gain = parts.chance_of_doing(days), self.gain_m2(found)
        shares = self.shares(found)
        given = sum(share["mg"] for share in shares)
        served = int((self.sharer.given(found.steps) > 0).sum())
        faults = [words.pin_fault(parts, one) for one in over]
        sentence = words.answer(parts, served, given, sum(days.values()), chance, gain)
        if over:
            sentence = f"What is held by hand cannot be kept. {faults[0].sentence}"
        out: dict[str, Any] = {
            "schema_version": contract.SHARE_OUT_SCHEMA_VERSION,
            "release": RELEASE,
            "reference_checksum": reference_checksum(),
            "sentence": sentence,
            "notes": self.notes(),
            "objective": self.question.objective,
            "unit": _UNITS[self.question.objective],
            "feasible": not over,
            "infeasible": [fault.model_dump() for fault in faults],
            "solved": None,
            "value": round(found.value, _DIGITS),
            "gain_m2": round(gain, _DIGITS),
            "shares": shares,
            "projects": self.projects(found),
            "without": [],
            "harvests": self.harvests(days, found),
            "left": [],
            "stretches": self.stretches(days),
            "chance_asked": parts.chance,
            "chance_of_doing": round(chance, _DIGITS),
            "one_more": [],
            "pins": [],
            "other_ways": [],
        }
        if best is not None:
            more = self.one_more(best)
            out |= {
                "solved": {"status": self.status(best), "gap": round(best.gap, _DIGITS + 2), "solver": SOLVER},
                "left": self.left(best),
                "one_more": [one for one, _ in more],
                "without": self.without(best, more),
                "pins": self.pin_costs(best),
                "other_ways": self.other_ways(best),
            }
        return contract.ShareOutAnswer.model_validate(out).model_dump(mode="python")

    @property
    def nothing(self) -> core.Sharing:
        """Nobody gets anything."""
        steps = np.zeros(len(self.sharer.pairs), dtype=np.int64)
        return core.Sharing(steps, self.sharer.half_days(steps), self.sharer.gains(steps), 0.0, proven=False)

    def status(self, best: core.Sharing) -> str:
        if not best.proven:
            return "not_proven"
        return "proven_best" if self.parts.gap == 0 else "within_gap"

    # ---------------------------------------------------------------- who gets what

    def mg(self, number: int, steps: int) -> int:
        """Milligrams of a pair: what was promised is given to the milligram, the rest in whole steps."""
        pair = self.sharer.pairs[number]
        promised = self.parts.promised.get((pair.source, pair.project), 0)
        return promised + (steps - pair.pinned) * self.parts.step

    def shares(self, found: core.Sharing) -> list[dict[str, Any]]:
        out = []
        for number in np.flatnonzero(found.steps):
            pair = self.sharer.pairs[number]
            km = self.parts.km(pair.source, pair.project)
            out.append(
                {
                    "source": pair.source,
                    "project": pair.project,
                    "mg": self.mg(int(number), int(found.steps[number])),
                    "km": None if km is None else round(km, 1),
                    "pinned_mg": self.parts.promised.get((pair.source, pair.project), 0),
                    "against_rules": self.parts.against(pair.source, pair.project),
                }
            )
        return out

    def seed_of(self, found: core.Sharing) -> np.ndarray[Any, Any]:
        """Seed of each project in steps of that for which its points hold."""
        sharer = self.sharer
        return np.bincount(sharer.project_of, weights=found.steps * sharer.worth, minlength=len(sharer.projects))

    def gain_m2(self, found: core.Sharing) -> float:
        seeds = zip(self.sharer.projects, self.seed_of(found), strict=True)
        return sum(self.parts.gain_m2(project.id, float(seed)) for project, seed in seeds)

    def mg_of(self, found: core.Sharing) -> dict[str, int]:
        """Milligrams of each project that gets some."""
        out: dict[str, int] = {}
        for share in self.shares(found):
            out[share["project"]] = out.get(share["project"], 0) + share["mg"]
        return out

    def projects(self, found: core.Sharing) -> list[dict[str, Any]]:
        given, seed = self.mg_of(found), self.seed_of(found)
        out = []
        for number, project in enumerate(self.sharer.projects):
            if project.id not in given:
                continue
            asked, mg = self.parts.project[project.id], given[project.id]
            gain = self.parts.gain_m2(project.id, float(seed[number]))
            out.append(
                {
                    "id": project.id,
                    "mg": mg,
                    "share_of_target": round(mg / asked.most_mg, _DIGITS),
                    "gain_m2": round(gain, _DIGITS),
                    "gain_m2_with_target": round(self.parts.gain_m2(project.id, project.most), _DIGITS),
                    "sentence": words.project(asked, mg, gain),
                }
            )
        return out

    def harvests(self, days: dict[str, int], found: core.Sharing) -> list[dict[str, Any]]:
        given: dict[str, int] = {}
        for share in self.shares(found):
            given[share["source"]] = given.get(share["source"], 0) + share["mg"]
        return [
            {
                "id": harvest.id,
                "half_days": days[harvest.id],
                "mg": given.get(harvest.id, 0),
                "first_day": harvest.first_day,
                "last_day": harvest.last_day,
            }
            for harvest in sorted(self.question.harvests, key=lambda one: (one.first_day, one.id))
            if harvest.id in days
        ]

    def left(self, found: core.Sharing) -> list[dict[str, Any]]:
        given: dict[str, int] = {}
        for share in self.shares(found):
            given[share["source"]] = given.get(share["source"], 0) + share["mg"]
        rest = [(lot.id, lot.mg - given.get(lot.id, 0)) for lot in sorted(self.question.lots, key=lambda one: one.id)]
        return [{"id": key, "mg": mg} for key, mg in rest if mg > 0]

    def stretches(self, days: dict[str, int]) -> list[dict[str, Any]]:
        a_day = max(self.parts.a_day, 1)
        return [
            {
                "first_day": self.parts.day(ripe.first),
                "last_day": self.parts.day(ripe.last),
                "days": ripe.last - ripe.first + 1,
                "days_to_count_on": stretch.half_days // a_day,
                "half_days": stretch.half_days,
                "half_days_used": sum(days.get(key, 0) for key in stretch.harvests),
            }
            for ripe, stretch in zip(self.parts.ripe, self.parts.stretches, strict=True)
        ]

    def notes(self) -> list[str]:
        """What was taken where nothing was said, and how sure that is."""
        parts = self.parts
        out = []
        if self.question.harvests and self.question.machine.fit_share is None:
            row = parts.number("weather", "fit_share")
            out.append(
                f"That {wording.percent(row.middle)} of the days are fit for harvesting is {row.confidence}, "
                "not measured."
            )
        if self.question.harvests:
            out.append(f"Each stretch of ripe days is to suffice with {wording.chance(parts.chance)}.")
        out.append(f"Seed is taken {wording.figure(parts.reach_km)} km at most, unless held by hand.")
        return out

    # ---------------------------------------------------------------- what one more would change

    def more(self, raised: core.Season, best: core.Sharing) -> tuple[float, core.Sharing]:
        """What a season with more of something would bring, and the sharing; never less than without."""
        found = self.of(raised).solve(settle=False)
        if found is None or found.value - best.value <= max(core.SAME, self.parts.gap) * abs(best.value):
            return 0.0, best
        return found.value - best.value, found

    def moved(self, before: core.Sharing, after: core.Sharing) -> tuple[list[str], list[str]]:
        """Projects that get more, and less."""
        old, new = self.mg_of(before), self.mg_of(after)
        names = sorted(self.parts.project)
        return (
            [name for name in names if new.get(name, 0) > old.get(name, 0)],
            [name for name in names if new.get(name, 0) < old.get(name, 0)],
        )

    def one_more(self, best: core.Sharing) -> list[tuple[dict[str, Any], core.Sharing]]:
        """One more kilogram of each lot that is used up, and one more fit day wherever days are short."""
        season, taken = self.parts.season, self.sharer.taken(best.steps)
        kilogram = MG_PER_KG // self.parts.step
        out = []
        full = [
            source
            for number, source in enumerate(self.sharer.sources)
            if not source.half_days and source.most - taken[number] < kilogram
        ]
        for source in full[: self.question.priced]:
            raised = tuple(replace(s, most=s.most + kilogram) if s.id == source.id else s for s in season.sources)
            gain, after = self.more(replace(season, sources=raised), best)
            out.append((self.told("kilogram", source.id, None, gain, best, after), after))
        for first, last, inside in self.short_days(best)[: self.question.priced]:
            more = tuple(
                replace(stretch, half_days=stretch.half_days + self.parts.a_day) if number in inside else stretch
                for number, stretch in enumerate(season.stretches)
            )
            gain, after = self.more(replace(season, stretches=more), best)
            of, until = self.parts.day(first), self.parts.day(last)
            out.append((self.told("day", of.isoformat(), until, gain, best, after), after))
        return out

    def short_days(self, best: core.Sharing) -> list[tuple[int, int, frozenset[int]]]:
        """Days of which one more could help: (first, last, numbers of the stretches they lie in)."""
        used = [
            sum(int(best.half_days[self.sharer.at[key]]) for key in stretch.harvests)
            for stretch in self.parts.stretches
        ]
        spans: dict[frozenset[int], tuple[int, int]] = {}
        for day in sorted({edge for ripe in self.parts.ripe for edge in (ripe.first, ripe.last)}):
            inside = frozenset(n for n, ripe in enumerate(self.parts.ripe) if ripe.first <= day <= ripe.last)
            first, last = spans.get(inside, (day, day))
            spans[inside] = (min(first, day), max(last, day))
        full = {
            number
            for number, stretch in enumerate(self.parts.stretches)
            if used[number] + self.parts.a_day > stretch.half_days
        }
        # of days within more stretches one more is worth at least as much
        best_of = [key for key in spans if key & full and not any(key < other for other in spans)]
        return sorted((*spans[key], key) for key in best_of)

    def told(
        self, what: str, of: str, until: Any, gain: float, before: core.Sharing, after: core.Sharing
    ) -> dict[str, Any]:
        gainers, losers = self.moved(before, after)
        name = (
            f"One more kilogram of {self.parts.source[of].label}"
            if what == "kilogram"
            else f"One more day fit for harvesting ({words.span(date.fromisoformat(of), until)})"
        )
        brings = "would change nothing"
        if gain > 0:
            brings = f"would bring {words.value(gain, self.question.objective)}"
            if gainers:
                brings += f", more for {words.named(self.parts, gainers)}"
            if losers:
                brings += f" and less for {words.named(self.parts, losers)}"
        return {
            "what": what,
            "of": of,
            "until": until,
            "value_gained": round(gain, _DIGITS),
            "gainers": gainers if gain > 0 else [],
            "losers": losers if gain > 0 else [],
            "sentence": f"{name} {brings}.",
        }

    # ---------------------------------------------------------------- who goes without

    @cached_property
    def any_days(self) -> core.Sharing | None:
        """The best sharing if no day of a ripe window were lost."""
        season = self.parts.season
        free = sum(source.half_days for source in season.sources)
        return self.of(replace(season, stretches=tuple(replace(s, half_days=free) for s in season.stretches))).solve(
            settle=False
        )

    def without(self, best: core.Sharing, more: list[tuple[dict[str, Any], core.Sharing]]) -> list[dict[str, Any]]:
        given = self.mg_of(best)
        left = [project.id for project in self.sharer.projects if project.id not in given]
        top = {key: self.parts.gain_m2(key, self.sharer.projects[self.sharer.place[key]].most) for key in left}
        explained = set(sorted(left, key=lambda key: (-top[key], key))[: self.question.explained])
        return [self.why(key, best, more, key in explained) for key in left]

    def why(
        self, key: str, best: core.Sharing, more: list[tuple[dict[str, Any], core.Sharing]], explained: bool
    ) -> dict[str, Any]:
        parts, asked = self.parts, self.parts.project[key]
        own = [pair.source for pair in self.sharer.pairs if pair.project == key]
        lost: float | None = None
        losers: list[str] = []
        if not own:
            reason, text, changes = self.no_pair(key)
        elif all(self.sharer.sources[self.sharer.at[source]].most == 0 for source in own):
            reason, (text, changes) = "resting", words.resting(parts, own)
        elif not explained:
            reason, text, changes = "not_worked_out", "Others bring more with the seed that there is.", []
        else:
            served = self.sharer.solve(serve=self.sharer.place[key], settle=False)
            if served is not None:
                lost = max(round(best.value - served.value, _DIGITS), 0.0)
                losers = self.moved(best, served)[1]
            reason, text, changes = self.passed_over(key, own, more, lost, losers)
        return {
            "id": key,
            "reason": reason,
            "sentence": f"{asked.label} gets none. {text}",
            "value_lost_if_served": lost,
            "losers": losers,
            "would_change": [change.model_dump() for change in changes],
        }

    def no_pair(self, key: str) -> tuple[str, str, list[contract.WouldChange]]:
        """Why a project has no source at all."""
        parts = self.parts
        rules = {source.id: parts.against(source.id, key) for source in parts.sources}
        if any(not found for found in rules.values()):
            text = "What would suit it has been kept from it by hand."
            return "forbidden", text, [words.change("pin", "Letting one of those pairings go would change it.")]
        if all(OUT_OF_REACH in found for found in rules.values()):
            return OUT_OF_REACH, *words.out_of_reach(parts, key)
        return HABITAT, *words.habitat(parts, key)

    def passed_over(
        self,
        key: str,
        own: list[str],
        more: list[tuple[dict[str, Any], core.Sharing]],
        lost: float | None,
        losers: list[str],
    ) -> tuple[str, str, list[contract.WouldChange]]:
        """Why a project with seed in reach gets none all the same."""
        parts, asked = self.parts, self.parts.project[key]
        least = words.weight(asked.least_mg)
        changes = [
            words.change("day", one["sentence"])
            for one, after in more
            if one["what"] == "day" and key in self.mg_of(after)
        ]
        with_days = self.any_days
        if with_days is not None and key in self.mg_of(with_days):
            names = [source for source in own if parts.source[source].harvest is not None]
            text = (
                "The harvester has no day left for it: with every ripe day fit it would get seed of "
                f"{words.named(parts, names)}."
            )
            if not changes:
                changes.append(
                    words.change("day", "More than one more fit day, or a second harvester, would change it.")
                )
            return "no_harvester_day", text, changes
        seed = words.change("seed", f"A further {least} within its reach, of a kind that suits it, would change it.")
        if lost is None:
            text = f"All the seed within its reach together is less than the {least} that would be worth sowing."
            return "too_little_seed", text, [*changes, seed]
        objective = self.question.objective
        kilograms = [
            words.change("seed", one["sentence"])
            for one, after in more
            if one["what"] == "kilogram" and key in self.mg_of(after)
        ]
        text = (
            f"Others make more of what is within its reach: to give it {least} would cost the county "
            f"{words.value(lost, objective)}"
        )
        text += f", taken from {words.named(parts, losers)}." if losers else "."
        if lost == 0:
            text = "A sharing that serves it would be as good; ties go to what is carted less far, then by id."
        return (
            "outbid",
            text,
            [
                *changes,
                *(kilograms or [seed]),
                words.change(
                    "gain", f"A better prospect would change it: {words.value(lost, objective)} more from {least}."
                ),
            ],
        )

    # ---------------------------------------------------------------- pins, other ways

    def pin_costs(self, best: core.Sharing) -> list[dict[str, Any]]:
        out = []
        for pin in self.question.pins:
            loose = self.question.model_copy(update={"pins": tuple(p for p in self.question.pins if p is not pin)})
            season = Parts(self.parts.parameters, loose).season
            gain, _ = self.more(season, best)
            out.append(
                {"source": pin.source, "project": pin.project, "how": pin.how, "value_lost": round(gain, _DIGITS)}
            )
        return out

    def other_ways(self, best: core.Sharing) -> list[dict[str, Any]]:
        out = []
        orders = {"first_come": [project.id for project in self.question.projects], "greedy": by_gain(self.sharer)}
        for way, order in orders.items():
            found = in_turn(self.sharer, order)
            less = best.value - found.value
            served = len(self.mg_of(found))
            text = f"{_WAYS[way]} would bring as much."
            if less > core.SAME * abs(best.value):
                text = (
                    f"{_WAYS[way]} would bring {wording.percent(less / best.value)} less and serve "
                    f"{words.projects(served)}."
                )
            out.append({"way": way, "value": round(found.value, _DIGITS), "projects": served, "sentence": text})
        return out
