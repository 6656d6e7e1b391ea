"""From a season's question to the core's: distances, habitats, donors' shares, days to count on, whole steps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property
from math import hypot
from typing import Final

import numpy as np

from modelling.contracts import share_out as contract
from modelling.core import harvest_days as days
from modelling.core import share_out as core
from modelling.core.parameters import Number, ParameterSet
from modelling.core.sampling import draw
from modelling.core.share_out import hull
from modelling.core.units import G_PER_KG, M_PER_KM
from modelling.errors import FieldError, RequestRefused

TABLE: Final = "share_out_values"
HARVESTS: Final = "harvest_values"
FAIR: Final = "fair"
OUT_OF_REACH: Final = "out_of_reach"
HABITAT: Final = "habitat"
FORBIDDEN: Final = "forbidden"
RESTING: Final = "resting"
#: worlds of weather
_WORLDS: Final = 4000
_SEED: Final = 1
#: pairings up to which the best is proven and not only come near
EXACT_UP_TO: Final = 300
_NEAR: Final = 0.004
MG_PER_KG: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class From:
    """A lot or a harvest, told alike."""

    id: str
    label: str
    habitat: str | None
    place: contract.Place | None
    worth: float
    lot: contract.Lot | None
    harvest: contract.Harvest | None


class Parts:
    """A question worked out, ready for the core."""

    def __init__(self, parameters: ParameterSet, question: contract.ShareOutQuestion) -> None:
        self.parameters, self.question = parameters, question
        self.sources = tuple(
            [From(x.id, x.label, x.habitat, x.place, x.worth, x, None) for x in question.lots]
            + [From(x.id, x.label, x.habitat, x.place, x.worth, None, x) for x in question.harvests]
        )
        self.source = {source.id: source for source in self.sources}
        self.project = {project.id: project for project in question.projects}
        self.donor = {donor.id: donor for donor in question.donors}
        self._refuse()
        self.pins = {(pin.source, pin.project): pin for pin in question.pins}

    def number(self, subject: str, quantity: str) -> Number:
        """A row of what is taken where the question says nothing."""
        return self.parameters.number(TABLE, subject, quantity)

    def usual(self, stated: float | None, subject: str, quantity: str) -> float:
        """What was stated, or what is usual."""
        return self.number(subject, quantity).middle if stated is None else stated

    # ---------------------------------------------------------------- faults

    def _refuse(self) -> None:
        faults = []
        for number, harvest in enumerate(self.question.harvests):
            if harvest.donor not in self.donor:
                text = f"{harvest.donor!r} is no donor meadow of this question."
                faults.append(
                    FieldError(f"/harvests/{number}/donor", "unknown", text, harvest.donor, "an id under donors")
                )
        seen = set()
        for number, pin in enumerate(self.question.pins):
            for name, given, known in (
                ("source", pin.source, self.source),
                ("project", pin.project, self.project),
            ):
                if given not in known:
                    text = (
                        f"{given!r} is neither a lot nor a harvest" if name == "source" else f"{given!r} is no project"
                    )
                    faults.append(
                        FieldError(f"/pins/{number}/{name}", "unknown", f"{text} of this question.", given, "an id")
                    )
            if (pin.source, pin.project) in seen:
                text = "This pairing is held twice."
                faults.append(FieldError(f"/pins/{number}", "twice", text, None, "each pairing once"))
            seen.add((pin.source, pin.project))
        if self.question.harvests and (self.last_day - self.first_day).days >= contract.MOST_DAYS:
            text = f"From the first ripe day to the last are more than {contract.MOST_DAYS} days."
            faults.append(FieldError("/harvests", "too_long", text, None, "one season"))
        if faults:
            raise RequestRefused(faults)

    # ---------------------------------------------------------------- rules

    @cached_property
    def reach_km(self) -> float:
        """Farthest that seed is taken."""
        return self.usual(self.question.reach_km, "rule", "reach")

    @property
    def step(self) -> int:
        """Milligrams in a step."""
        return self.question.step_mg

    def up(self, mg: float) -> int:
        """Steps that hold so much."""
        return -(-int(mg) // self.step)

    def km(self, source: str, project: str) -> float | None:
        """How far seed is taken, or None where a place is not told."""
        a, b = self.source[source].place, self.project[project].place
        if a is None or b is None:
            return None
        return hypot(a.east_m - b.east_m, a.north_m - b.north_m) / M_PER_KM

    def against(self, source: str, project: str) -> list[str]:
        """Rules that speak against a pairing."""
        out = []
        km, suits = self.km(source, project), self.project[project].suits
        if km is not None and km > self.reach_km:
            out.append(OUT_OF_REACH)
        habitat = self.source[source].habitat
        if suits is not None and habitat is not None and habitat not in suits:
            out.append(HABITAT)
        return out

    def rests_until(self, donor: str) -> int | None:
        """Year from which a meadow may be harvested again, or None if it may this year."""
        asked = self.donor[donor]
        if asked.last_harvest_year is None:
            return None
        rest = self.parameters.value(HARVESTS, "donor", "rest") if asked.rest_years is None else asked.rest_years
        free = asked.last_harvest_year + int(rest) + 1
        return free if self.question.year < free and asked.last_harvest_year != self.question.year else None

    def allowed_mg(self, donor: str) -> int:
        """What may still be taken of a meadow this year."""
        asked = self.donor[donor]
        if self.rests_until(donor) is not None:
            return 0
        # where nothing was agreed, the lower end of what is usual
        usual = self.parameters.number(HARVESTS, "donor", "most_of_area").low or 0.0
        share = usual if asked.allowed_share is None else asked.allowed_share
        return max(int(asked.whole_mg * share) - asked.taken_mg, 0)

    # ---------------------------------------------------------------- the core's question

    def pinned_mg(self, source: str, project: str) -> int:
        """What is promised of a source to a project."""
        pin = self.pins.get((source, project))
        if pin is None or pin.how != "give":
            return 0
        return self.parcel_mg(project) if pin.mg is None else pin.mg

    def parcel_mg(self, project: str) -> int:
        """Least parcel; a project that wants less than that takes its target as one."""
        usual = self.number("rule", "parcel").middle * MG_PER_KG
        stated = self.question.parcel_mg
        return min(int(usual) if stated is None else stated, self.project[project].most_mg)

    def _room(self, mg: int, pinned: Mapping[tuple[str, str], int]) -> int:
        """Whole steps within an amount of which some is promised to the milligram."""
        promised = sum(pinned.values())
        return (mg - promised) // self.step + sum(self.up(one) for one in pinned.values())

    @cached_property
    def promised(self) -> dict[tuple[str, str], int]:
        """Milligrams of each pairing that is pinned."""
        return {key: self.pinned_mg(*key) for key, pin in self.pins.items() if pin.how == "give"}

    @cached_property
    def season(self) -> core.Season:
        """The core's season."""
        sources, donors = [], {}
        for source in self.sources:
            pinned = {key: mg for key, mg in self.promised.items() if key[0] == source.id}
            if source.lot is not None:
                sources.append(core.Source(source.id, self._room(source.lot.mg, pinned)))
            elif source.harvest is not None:
                harvest = source.harvest
                allowed = self._room(self.allowed_mg(harvest.donor), pinned)
                most = self._room(harvest.mg_per_half_day * harvest.most_half_days, pinned)
                each = harvest.mg_per_half_day // self.step
                sources.append(
                    core.Source(source.id, max(min(most, allowed), 0), harvest.donor, harvest.most_half_days, each)
                )
        for donor in self.donor:
            own = {harvest.id for harvest in self.question.harvests if harvest.donor == donor}
            pinned = {key: mg for key, mg in self.promised.items() if key[0] in own}
            donors[donor] = self._room(self.allowed_mg(donor), pinned)
        projects = tuple(self._project(project) for project in self.question.projects)
        return core.Season(tuple(sources), projects, self._pairs(), donors, self.stretches)

    def _project(self, project: contract.HopefulProject) -> core.Project:
        pinned = {key: mg for key, mg in self.promised.items() if key[1] == project.id}
        most_lots = project.most_lots or int(self.number("rule", "most_lots").middle)
        points = sorted((point.mg / self.step, point.gain_m2) for point in project.points)
        seed, gain = tuple(mg for mg, _ in points), tuple(gain for _, gain in points)
        most = self._room(project.most_mg, pinned)
        if self.question.objective == FAIR:
            top = self.gain_with(seed, gain, most)
            gain = tuple(project.weight * one / top if top > 0 else 0.0 for one in gain)
        return core.Project(project.id, most, min(self.up(project.least_mg), most), seed, gain, most_lots)

    @staticmethod
    def gain_with(seed: tuple[float, ...], gain: tuple[float, ...], steps: float) -> float:
        """Gain from so many steps."""
        return float(np.interp(steps, *hull(seed, gain)))

    def gain_m2(self, project: str, steps: float) -> float:
        """Species-rich ground that a project gains, m2, from so many steps of the seed its points hold for."""
        points = self.project[project].points
        seed, gain = tuple(p.mg / self.step for p in points), tuple(p.gain_m2 for p in points)
        return self.gain_with(seed, gain, steps)

    def _pairs(self) -> tuple[core.Pair, ...]:
        out = []
        for source in self.sources:
            for project in self.question.projects:
                key = (source.id, project.id)
                pin = self.pins.get(key)
                given = pin is not None and pin.how == "give"
                if not given and (pin is not None or self.against(*key)):
                    continue
                out.append(
                    core.Pair(
                        source=source.id,
                        project=project.id,
                        worth=source.worth,
                        parcel=self.up(self.parcel_mg(project.id)),
                        km=round(self.km(*key) or 0.0, 1),
                        pinned=self.up(self.promised.get(key, 0)),
                    )
                )
        return tuple(out)

    @cached_property
    def gap(self) -> float:
        """Gap at which the search may stop."""
        if self.question.gap is not None:
            return self.question.gap
        return 0.0 if len(self.season.pairs) <= EXACT_UP_TO else _NEAR

    # ---------------------------------------------------------------- days

    @property
    def first_day(self) -> date:
        """First ripe day of all."""
        return min(harvest.first_day for harvest in self.question.harvests)

    @property
    def last_day(self) -> date:
        """Last ripe day of all."""
        return max(harvest.last_day for harvest in self.question.harvests)

    def day(self, number: int) -> date:
        """The day of a number counted from the first ripe one."""
        return self.first_day + timedelta(days=number)

    @cached_property
    def chance(self) -> float:
        """Chance with which each stretch is to suffice."""
        return self.usual(self.question.machine.chance, "weather", "chance")

    @cached_property
    def fit(self) -> days.Days:
        """Days on which the harvester can go out, (worlds, days)."""
        machine = self.question.machine
        number = self.number("weather", "fit_share")
        if machine.fit_share is not None:
            number = replace(
                number, low=machine.fit_share_low, mode=machine.fit_share, high=machine.fit_share_high
            )  # fmt: skip
        count = (self.last_day - self.first_day).days + 1
        fit = days.fit_days(draw(number, _SEED, _WORLDS), self.number("weather", "runs").middle, count, _SEED)
        for away in machine.away:
            if 0 <= (away - self.first_day).days < count:
                fit[:, (away - self.first_day).days] = False
        return fit

    @cached_property
    def ripe(self) -> list[days.Stretch]:
        """Stretches of days that could be too full."""
        if not self.question.harvests:
            return []
        return days.stretches_of(
            [
                ((harvest.first_day - self.first_day).days, (harvest.last_day - self.first_day).days)
                for harvest in self.question.harvests
            ]
        )

    @property
    def a_day(self) -> int:
        """Half-days of one fit day over all machines."""
        return self.question.machine.machines * self.question.machine.half_days_a_day

    @cached_property
    def stretches(self) -> tuple[core.Stretch, ...]:
        """The same with the half-days to count on, for the core."""
        out = []
        for stretch in self.ripe:
            names = tuple(self.question.harvests[number].id for number in stretch.harvests)
            fit = days.days_to_count_on(stretch, self.fit, self.chance)
            out.append(core.Stretch(f"{self.day(stretch.first)}/{self.day(stretch.last)}", names, fit * self.a_day))
        return tuple(out)

    def chance_of_doing(self, half_days: Mapping[str, int]) -> float:
        """Chance that the weather lets all these harvests be made."""
        if not self.question.harvests:
            return 1.0
        asked = np.array([half_days.get(harvest.id, 0) for harvest in self.question.harvests], dtype=np.int64)
        return days.chance_of_doing(asked, self.ripe, self.fit, self.a_day)

    def grams(self, steps: float) -> float:
        """Grams in so many steps."""
        return steps * self.step / (MG_PER_KG / G_PER_KG)
