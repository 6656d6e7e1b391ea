"""The dated calendar of a plan, the permissions to ask for, and the cautions that travel with it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any, Final

from modelling import wording
from modelling.core.brief import INTEREST, STRIPPING
from modelling.core.estimate import Estimate
from modelling.core.parameters import ParameterSet

ANY: Final = "any"
SERVICES: Final = "buried_services"
ORDER_AHEAD: Final = timedelta(weeks=6)
FIRST_CUT: Final = (4, 15)
LAST_CUT: Final = (10, 5)
LATE_CUTS: Final = ((7, 31), (9, 25))
NESTING: Final = range(3, 9)
LARGE_M2: Final = 20_000


def clamp(year: int, month: int, day: int) -> date:
    """A day of a year, with 29 to 31 brought back into short months."""
    while True:
        try:
            return date(year, month, day)
        except ValueError:
            day -= 1


class Maker:
    """Works out calendar, permissions and cautions of one estimate."""

    def __init__(self, parameters: ParameterSet, estimate: Estimate) -> None:
        self.parameters, self.e = parameters, estimate
        self.plan, self.site, self.as_of = estimate.plan, estimate.question.site, estimate.question.as_of
        self.operations = [step.operation for step in self.plan.steps if step.operation]
        self.rows = [parameters.nouns["operations"][key] for key in self.operations]
        self.sown = any(step.seed for step in self.plan.steps)
        self.planted = any(step.plugs for step in self.plan.steps)

    # ---------------------------------------------------------------- calendar

    def entries(self) -> list[dict[str, Any]]:
        """Dated entries in order; yearly ones are dated in their first year."""
        found = [*self.before(), *self.steps(), *self.first_year(), *self.each_year()]
        return sorted(found, key=lambda entry: (entry["on"], entry["every_year"]))

    def entry(
        self, on: date, label: str, kind: str, note: str = "", *, until: date | None = None, yearly: bool = False
    ) -> dict[str, Any]:
        return {"on": on, "until": until, "label": label, "kind": kind, "every_year": yearly, "note": note}

    def before(self) -> Iterator[dict[str, Any]]:
        if self.plan.steps and max(step.on for step in self.plan.steps) < self.as_of:
            # what is done needs no asking, testing and ordering any more
            return
        yield self.entry(
            self.as_of,
            "Ask for the permissions, in writing",
            "permission",
            "Nothing is dug or sown before they are there.",
        )
        site = self.site
        if site.olsen_p_mg_per_l is None and site.soil_p_index is None:
            test = self.parameters.packs["soil_test"][0]
            cost = wording.pounds(test.low or 0, test.high or 0)
            note = f"Ask for Olsen P and pH; a laboratory charges about {cost} and VAT."
            yield self.entry(self.as_of, "Take a soil sample and send it off", "survey", note)
        first = min((step.on for step in self.plan.steps), default=None)
        june = clamp(self.as_of.year, *self.walk())
        if june < self.as_of:
            june = clamp(self.as_of.year + 1, *self.walk())
        if self.plan.verdict in {"look_first", "not_here"}:
            if first is not None and june > first:
                note = "May and June show most. If you can wait, look then and sow the autumn after."
                yield self.entry(self.as_of, "Walk the ground now and list what grows there", "survey", note)
            else:
                note = "Orchids and old turf show in May and June, waxcaps in autumn."
                yield self.entry(june, "Walk the ground in flower time and list what grows there", "survey", note)
        if first is not None and (self.sown or self.planted):
            sowing = min(step.on for step in self.plan.steps if step.seed or step.plugs)
            yield self.entry(
                max(sowing - ORDER_AHEAD, self.as_of),
                "Order seed or plugs",
                "seed",
                "Ask where the seed was grown; fresh yellow rattle only.",
            )

    def walk(self) -> tuple[int, int]:
        value = self.parameters.value
        return int(value("planning", "survey", "walk_month")), int(value("planning", "survey", "walk_day"))

    def steps(self) -> Iterator[dict[str, Any]]:
        for step in self.plan.steps:
            share = "" if step.area_share == 1 else f" on {wording.area(self.plan.net_m2 * step.area_share)}"
            if step.operation is not None:
                row = self.parameters.nouns["operations"][step.operation]
                yield self.entry(step.on, row["label"] + share, row["stage"], row["instruction"])
            elif step.seed:
                kg = sum(item.kg for item in step.seed)
                yield self.entry(
                    step.on,
                    f"Sow {wording.weight(kg, kg)} of seed{share}",
                    "sowing",
                    "On the surface, half each way; do not bury it.",
                )
            else:
                count = sum(p.count for p in step.plugs or ())
                yield self.entry(step.on, f"Plant {count:,} plugs{share}", "planting", "In groups, into moist soil.")

    def first_year(self) -> Iterator[dict[str, Any]]:
        care, year = self.plan.care, self.plan.first_summer
        number = care.first_year_cuts
        if not self.sown or not number:
            return
        row = self.parameters.nouns["operations"][care.first_year_operation or ""]
        many = self.parameters.value("planning", "cut", "many_first_year_cuts")
        if number < many:
            days = [clamp(year, *cut) for cut in LATE_CUTS[:number]]
            note = "After yellow rattle and annuals have shed seed; take the cuttings off."
        else:
            start, end = clamp(year, *FIRST_CUT), clamp(year, *LAST_CUT)
            gap = (end - start) / (number - 1)
            days = [start + gap * i for i in range(number)]
            note = "Whenever the growth is knee high, to lift the light; take the cuttings off."
        for on in days:
            yield self.entry(on, row["label"], "first_year", note)
        yield self.entry(
            clamp(year, *self.walk()),
            "Walk the new meadow and list what you see",
            "survey",
            "Few flowers in the first summer is not failure.",
        )

    def each_year(self) -> Iterator[dict[str, Any]]:
        care, year = self.plan.care, self.plan.first_summer + (1 if self.sown else 0)
        if care.shut_up is not None and care.cuts:
            yield self.entry(
                clamp(year, *care.shut_up),
                "Shut up the meadow: no more cutting or grazing until the hay cut",
                "yearly_cut",
                yearly=True,
            )
        yield self.entry(
            clamp(year, *self.walk()),
            "Summer walk: count species in square metres",
            "survey",
            "Before the cut.",
            yearly=True,
        )
        for month, day in care.cuts:
            row = self.parameters.nouns["operations"][care.cut_operation or ""]
            taken = (
                "Leave it two or three dry days to drop its seed, then take it off."
                if care.arisings == "removed"
                else "Cuttings are left lying."
            )
            if care.refuge_share:
                taken += f" Leave {100 * care.refuge_share:.0f} % uncut, a different strip each year."
            yield self.entry(clamp(year, month, day), row["label"], "yearly_cut", taken, yearly=True)
        grazing = care.grazing
        if grazing.by != "none":
            on = clamp(year, grazing.from_month, 1)
            ends = year + (1 if grazing.to_month < grazing.from_month else 0)
            until = clamp(ends, grazing.to_month, 31)
            word = self.parameters.nouns["vocabularies"][f"grazing:{grazing.by}"]["label"]
            yield self.entry(
                on,
                f"{word} graze {'through the summer' if care.regime.startswith('summer_') else 'the regrowth'}",
                "grazing",
                "Look at stock, fence and water every day.",
                until=until,
                yearly=True,
            )

    # ---------------------------------------------------------------- permissions

    def permissions(self) -> list[dict[str, Any]]:
        """What to have in writing for this kind of place."""
        digs = any(row["disturbs_soil"] == "yes" for row in self.rows)
        out = []
        for row in self.parameters.nouns["permissions"].values():
            if row["site_kind"] not in {self.plan.kind, ANY} or (row["key"] == SERVICES and not digs):
                continue
            out.append(
                {name: row[name] for name in ("key", "label", "who_gives", "why", "when", "nation", "confidence")}
            )
        return out

    # ---------------------------------------------------------------- cautions

    def triggers(self) -> Iterator[str]:
        """Which cautions apply."""
        plan, site, care = self.plan, self.site, self.plan.care
        interest = site.existing_interest or ()
        yield "always"
        yield plan.kind
        if any(row["disturbs_soil"] == "yes" for row in self.rows):
            yield "soil_disturbed"
        if self.sown:
            yield "seed_added"
        if any(x in INTEREST for x in interest) or plan.verdict in {"look_first", "not_here"}:
            yield "existing_interest"
        if "waxcaps" in interest or plan.sward == "short_turf":
            yield "waxcaps"
        used = [done.machine for done in self.e.work.done if done.machine is not None]
        if any(m.machine == "strimmer" for m in used):
            yield "strimmer"
        if any(m.vibration_points is not None and not m.contractor for m in used):
            yield "vibrating_machine"
        if any(m.machine.startswith("tractor") for m in used):
            yield "tractor"
        if any(m.machine.startswith("excavator") for m in used):
            yield "excavator"
        limits = [self.parameters.find("machine_values", m.machine, "slope_limit") for m in used]
        if site.slope_degrees is not None and any(x is not None and site.slope_degrees >= x.middle / 2 for x in limits):
            yield "steep_slope"
        if care.disposal == "farmer":
            yield "weeds_in_hay"
        if care.disposal == "farmer" or care.grazing.by != "none":
            yield "ragwort"
        if care.grazing.by != "none":
            yield "grazing"
        if "spray_off_contractor" in self.operations:
            yield "herbicide"
        if care.cuts and care.arisings == "left":
            yield "arisings_left"
        elif care.cuts and care.disposal in {"nowhere", "green_waste"}:
            yield "arisings_nowhere"
        if plan.net_m2 >= LARGE_M2:
            yield "large_area"
        if plan.kind == "school":
            yield "children"
        if any(key in STRIPPING for key in self.operations):
            yield "turf_stripped"
        if plan.volunteers == 1:
            yield "lone_working"
        if care.arisings == "removed" and plan.scale != "tractor":
            yield "manual_handling"
        if site.wetness in {"damp", "wet"} and any(m.machine.startswith(("tractor", "excavator")) for m in used):
            yield "wet_ground_machine"
        if site.wetness == "wet":
            yield "near_water"
        days = [step.on.month for step in plan.steps] + [month for month, _ in care.cuts]
        if any(month in NESTING for month in days):
            yield "nesting_birds"
        if self.planted:
            yield "plugs"

    def cautions(self) -> list[dict[str, Any]]:
        """General cautions in the order of the reference table."""
        wanted = set(self.triggers())
        return [
            {name: row[name] for name in ("key", "label", "text", "nation", "confidence")}
            for row in self.parameters.nouns["cautions"].values()
            if row["trigger"] in wanted
        ]
