"""Fill in what a plan leaves open: kind of place, preparation and its scale, seed, dates, yearly care.

Every choice is recorded as an assumption, so that the answer says what was planned by the service.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Final

from modelling.core.errors import InputError
from modelling.core.parameters import ParameterSet
from modelling.core.plan import (
    Assumption,
    FullPlan,
    Grazing,
    Plan,
    SeedItem,
    Site,
    Step,
    Warned,
    YearlyCare,
)
from modelling.core.seed import contents, kg_for, packs_of, usual_rate

RATTLE_TAXON: Final = "rhinanthus_minor"
INTEREST: Final = ("orchids", "waxcaps", "rich_turf")
PRACTICE: Final = "common practice"
MEMORY: Final = "from memory"
SCALES: Final = ("hand", "pedestrian", "tractor")
CUT_FIRST: Final = {"hand": "prepare_cut_scythe", "pedestrian": "prepare_cut_strimmer", "tractor": "prepare_cut_tractor"}
OPEN_UP: Final = {"hand": "scarify_rake", "pedestrian": "scarify_machine", "tractor": "harrow_tractor"}
SHEARS: Final = {"prepare": "prepare_cut_shears", "first": "first_year_cut_shears", "yearly": "yearly_cut_shears"}
YEARLY_CUT: Final = {"hand": "yearly_cut_scythe", "pedestrian": "yearly_cut_strimmer", "tractor": "yearly_cut_tractor_bale"}
FIRST_YEAR_CUT: Final = {"hand": "first_year_cut_strimmer", "pedestrian": "first_year_cut_strimmer", "tractor": "first_year_cut_tractor"}
STRIPPING: Final = ("strip_turf_hand", "strip_turf_machine", "strip_turf_excavator")
SMOTHERING: Final = "smother_sheet"
SOWN_WITH: Final = {"hand": "sow_hand", "tractor": "sow_tractor_broadcast"}
ROLLED_WITH: Final = {"hand": "roll_or_tread_hand", "tractor": "roll_tractor"}
LOOK: Final = "look_and_list"
SOIL_TEST: Final = "soil_test"
SURVEY: Final = "summer_walk"
PLANT: Final = "plant_plugs_hand"
#: mixes to over-sow grass with, by what the ground is like
INTO_SWARD: Final = {
    "shade": "woodland_edge_flowers",
    "wet": "wet_ground_flowers",
    "damp": "damp_flowers_with_rattle",
    "lime": "chalk_flowers_with_rattle",
    "rank": "robust_flowers",
    "usual": "neutral_flowers_with_rattle",
}
ON_BARE: Final = {
    "shade": "woodland_edge",
    "wet": "damp_meadow",
    "damp": "damp_meadow",
    "lime": "chalk_and_limestone",
    "acid": "acid_meadow",
    "usual": "neutral_meadow",
}


def season_of(on: date, parameters: ParameterSet) -> int:
    """Calendar year of the summer in which seed sown on `on` can first come up."""
    from_month = parameters.value("planning", "window", "summer_sowing_from_month")
    return on.year + 1 if on.month >= from_month else on.year


def sown_late(on: date, parameters: ParameterSet) -> bool:
    """Whether chill-needing seed sown on `on` has missed enough of the winter and waits for the next."""
    month = int(parameters.value("planning", "window", "chill_late_month"))
    day = int(parameters.value("planning", "window", "chill_late_day"))
    start = parameters.value("planning", "window", "summer_sowing_from_month")
    return (on.month, on.day) > (month, day) and on.month < start


def bare_after(parameters: ParameterSet, operations: list[str]) -> float:
    """Most likely bare share after several operations, each opening part of what the others left."""
    closed = 1.0
    for key in operations:
        found = parameters.find("operation_values", key, "bare_share")
        closed *= 1 - (0.0 if found is None else found.middle)
    return 1 - closed


@dataclass
class Planner:
    """Works one plan out. `fits` judges a machine by gate and slope; `hours` and `price` rate the scales."""

    parameters: ParameterSet
    site: Site
    plan: Plan
    as_of: date
    assumptions: list[Assumption] = field(default_factory=list)
    warnings: list[Warned] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)

    def value(self, subject: str, quantity: str) -> float:
        return self.parameters.value("planning", subject, quantity)

    def word(self, vocabulary: str, key: str) -> str:
        return self.parameters.nouns["vocabularies"][f"{vocabulary}:{key}"]["label"]

    def assume(self, where: str, label: str, value: str, confidence: str = PRACTICE) -> None:
        self.assumptions.append(Assumption(where, label, value, confidence))

    # ---------------------------------------------------------------- the place

    def kind(self) -> str:
        if self.site.kind is not None:
            return self.site.kind
        area = self.site.area_m2
        kind = "green"
        if area < self.value("kind", "garden_below"):
            kind = "garden"
        elif area >= self.value("kind", "field_from"):
            kind = "field"
        self.assume("site.kind", "Kind of place", f"{self.word('kind', kind)}, judged by the size alone", MEMORY)
        return kind

    def sward(self, kind: str) -> str:
        if self.site.sward is not None:
            return self.site.sward
        sward = self.parameters.nouns["site_kinds"][kind]["default_sward"]
        count, interest = self.site.resident_species_per_m2, self.site.existing_interest or ()
        if (count is not None and count >= self.value("advice", "rich_turf_species")) or "rich_turf" in interest:
            sward = "flower_rich"
        elif self.tested_index() >= self.value("advice", "high_p_index") and sward == "species_poor":
            sward = "improved_grass"
        elif self.site.last_use in {"arable", "garden_bed"}:
            sward = "bare_or_arable"
        elif self.site.last_use == "mown_lawn":
            sward = "short_turf"
        self.assume("site.sward", "What grows there now", self.word("sward", sward))
        return sward

    def tested_index(self) -> int:
        """P index of a soil test; below 0 where there is none."""
        if self.site.soil_p_index is not None:
            return self.site.soil_p_index
        olsen = self.site.olsen_p_mg_per_l
        return -1 if olsen is None else p_index_of(self.parameters, olsen)

    def p_index(self, sward: str) -> float:
        """Most likely P index, for advice and choice of mix only; the forecast draws it."""
        if self.site.soil_p_index is not None:
            return float(self.site.soil_p_index)
        olsen = self.site.olsen_p_mg_per_l
        if olsen is None:
            subject = f"last_use:{self.site.last_use}" if self.site.last_use else f"sward:{sward}"
            row = self.parameters.number("site_values", subject, "olsen_p")
            olsen = row.middle
            self.assume(
                "site.olsen_p_mg_per_l",
                "Soil phosphorus (Olsen P)",
                f"not tested: taken as {row.low:.0f} to {row.high:.0f} mg/l, most likely about {olsen:.0f}",
                row.confidence,
            )
        return float(p_index_of(self.parameters, olsen))

    def ground_words(self) -> None:
        """Say what was drawn from a prior."""
        site = self.site
        for given, where, label, words in (
            (site.soil_ph, "site.soil_ph", "Soil pH", "not known: from rather sour to limy, most likely slightly sour"),
            (site.wetness, "site.wetness", "Wetness", "not known: mostly neither dry nor wet"),
            (site.shade, "site.shade", "Shade", "not known: mostly open"),
            (
                site.distance_to_flower_rich_m,
                "site.distance_to_flower_rich_m",
                "Distance to flower-rich land",
                "not known: some 200 m to 4 km",
            ),
            (
                site.standing_crop_g_per_m2,
                "site.standing_crop_g_per_m2",
                "Standing crop in June",
                "not measured: drawn from the soil phosphorus",
            ),
            (
                site.resident_species_per_m2,
                "site.resident_species_per_m2",
                "Species there now",
                "not counted: drawn from the kind of grass",
            ),
        ):
            if given is None:
                self.assume(where, label, words, MEMORY)

    def verdict(self, sward: str, p_index: float) -> str:
        """Whether to sow at all."""
        interest = self.site.existing_interest or ()
        count = self.site.resident_species_per_m2
        rich = self.value("advice", "rich_turf_species")
        if sward == "flower_rich" or any(x in INTEREST for x in interest) or (count is not None and count >= rich):
            if "orchids" in interest:
                self.reasons.append("Orchids are there already; sowing and scarifying can do them harm.")
            if "waxcaps" in interest:
                self.reasons.append("Waxcap fungi mark old, undisturbed grass; leave the turf whole.")
            if sward == "flower_rich" or "rich_turf" in interest or (count is not None and count >= rich):
                self.reasons.append(
                    f"With {rich:.0f} or more kinds in a square metre the ground is already rich: change the cutting first."
                )
            return "not_here"
        crop = self.site.standing_crop_g_per_m2
        if self.tested_index() >= self.value("advice", "high_p_index"):
            self.reasons.append(
                f"The soil is rich in phosphorus (index {p_index:.0f}); strong grass will crowd most seedlings out."
            )
            self.reasons.append(
                "Taking hay lowers phosphorus only over decades; stripping the turf and topsoil works at once, at a price."
            )
            return "lower_fertility_first"
        if crop is not None and crop > self.value("advice", "high_crop"):
            self.reasons.append(f"A standing crop of {crop:.0f} g/m2 in June is too strong for most meadow flowers.")
            return "lower_fertility_first"
        if self.site.existing_interest is None or "not_looked" in interest:
            self.reasons.append(
                "Nobody has said what is there already: walk the ground in May and June before disturbing it."
            )
            return "look_first"
        return "sow"

    # ---------------------------------------------------------------- scale of the work

    def fits(self, machine: str) -> str:
        """Empty where the machine can work on the site, else why not."""
        gate = self.parameters.find("machine_values", machine, "gate_width")
        width = self.site.gate_width_m
        if gate is not None and width is not None and width < gate.middle:
            return f"the gate of {width:g} m is too narrow (about {gate.middle:g} m needed)"
        slope = self.parameters.find("machine_values", machine, "slope_limit")
        steep = self.site.slope_degrees
        if slope is not None and steep is not None and steep > slope.middle:
            return f"the slope of {steep:g} degrees is too steep (general limit {slope.middle:g})"
        return ""

    def fits_operation(self, operation: str) -> str:
        machine = self.parameters.nouns["operations"][operation]["machine"]
        return self.fits(machine) if machine else ""

    def hand_sessions(self, net_m2: float, volunteers: int, hours: float) -> float:
        """Sessions of the crew to cut and open the ground by hand, most likely rates."""
        work = 0.0
        for key in (CUT_FIRST["hand"], OPEN_UP["hand"]):
            work += net_m2 / self.parameters.value("operation_values", key, "work_rate")
        share = self.parameters.value("rates", "volunteers", "working_share")
        came = self.parameters.value("rates", "volunteers", "attendance_share")
        return work / share / (max(volunteers * came, 1) * hours)

    def scale(self, net_m2: float, volunteers: int, hours: float) -> tuple[str, str]:
        """Hand, pedestrian or tractor: the cheapest that the gate, the slope and the size allow, with the reason."""
        no_tractor = self.fits("tractor_harrow") or self.fits("tractor_cut_collect")
        if not no_tractor and net_m2 < self.value("scale", "tractor_from"):
            no_tractor = f"{net_m2:g} m2 is too small to bring a tractor for"
        no_walk_behind = self.fits("pedestrian_scarifier")
        has_kit = "pedestrian_scarifier" in self.plan.kit_to_hand
        by_hand = self.hand_sessions(net_m2, volunteers, hours)
        most = self.value("scale", "most_hand_sessions")
        if not no_tractor:
            return "tractor", "a tractor fits the gate, the slope and the size, and is cheapest for this area"
        if no_walk_behind:
            return "hand", f"by hand: no tractor, since {no_tractor}; no walk-behind machine, since {no_walk_behind}"
        if has_kit:
            return "pedestrian", f"a walk-behind scarifier is to hand; no tractor, since {no_tractor}"
        if by_hand <= 1:
            return "hand", f"the crew can do it by hand in one session; no tractor, since {no_tractor}"
        if by_hand > most:
            return "pedestrian", f"by hand it would take about {by_hand:.0f} sessions; no tractor, since {no_tractor}"
        return "pedestrian", f"a day's hire saves about {by_hand:.0f} sessions by hand; no tractor, since {no_tractor}"

    # ---------------------------------------------------------------- seed

    def ground_class(self, sward: str) -> str:
        site = self.site
        if site.shade == "shade":
            return "shade"
        if site.wetness in {"wet", "damp"}:
            return site.wetness
        if site.soil_ph is not None and site.soil_ph >= self.value("soil", "lime_rich_from"):
            return "lime"
        if site.soil_ph is not None and site.soil_ph < self.value("soil", "acid_below"):
            return "acid"
        return "rank" if sward == "rank_grass" else "usual"

    def seed(self, sward: str, on_bare: bool, net_m2: float, p_index: float) -> tuple[SeedItem, ...]:
        """The service's own choice of seed for the whole net area."""
        table = ON_BARE if on_bare else INTO_SWARD
        mix = table.get(self.ground_class(sward), table["usual"])
        item = SeedItem(mix=mix, kg=1.0)
        rate = usual_rate(self.parameters, item, on_bare)
        items = [SeedItem(mix=mix, kg=kg_for(rate.middle, net_m2))]
        label = self.parameters.nouns["mixes"][mix]["label"]
        words = f"{label}, {rate.middle:g} g/m2 (usual {rate.low:g} to {rate.high:g})"
        shares, inert = contents(self.parameters, item)
        grassy = not on_bare and sward not in {"bare_or_arable", "flower_rich"}
        if grassy and p_index < self.value("advice", "high_p_index"):
            in_mix = rate.middle * shares.get(RATTLE_TAXON, 0.0) * (1 - inert)
            missing = self.value("rattle", "top_up") - in_mix
            smallest = min(pack.size for pack in packs_of(self.parameters, "seed_rattle"))
            if kg_for(missing, net_m2) > smallest / 2:
                items.append(SeedItem(taxon=RATTLE_TAXON, kg=kg_for(missing, net_m2)))
                words += f", and {missing:.2g} g/m2 of yellow rattle to weaken the grass"
        self.assume("plan.seed", "Seed", words, rate.confidence)
        return tuple(items)

    def check_rates(self, steps: tuple[Step, ...], net_m2: float, bare: bool) -> None:
        """Ask about rates far from the usual; a slip of units is the likeliest cause."""
        far = self.value("advice", "rate_far_from_usual")
        number = 0
        for index, step in enumerate(steps):
            for place, item in enumerate(step.seed or ()):
                rate = item.kg * 1000 / (net_m2 * step.area_share)
                usual = usual_rate(self.parameters, item, bare)
                pointer = f"/plan/seed/{number}/kg" if self.plan.steps is None else f"/plan/steps/{index}/seed/{place}/kg"
                number += 1
                low, high = usual.low or 0.0, usual.high or 0.0
                shown = f"{rate:.3g} g/m2 ({rate * 10:.3g} kg/ha); usual is {low:g} to {high:g} g/m2 ({low * 10:g} to {high * 10:g} kg/ha)"
                if rate > usual.middle * far:
                    text = f"Much more seed than usual: {shown}. Check grams against kilograms, and acres against hectares."
                elif rate < low / 2:
                    text = f"Much less seed than usual: {shown}. Check grams against kilograms, and acres against hectares."
                else:
                    continue
                self.warnings.append(Warned("seed_rate_unusual", pointer, text))

    # ---------------------------------------------------------------- dates and steps

    def sowing_day(self, smother: bool) -> date:
        """The next sensible autumn day to sow."""
        if self.plan.sow_on is not None:
            return self.plan.sow_on
        month, day = int(self.value("window", "autumn_sow_month")), int(self.value("window", "autumn_sow_day"))
        lead = self.value("window", "smother_before_sowing" if smother else "lead_time")
        ready = self.as_of + timedelta(days=lead)
        usual = date(self.as_of.year, month, day)
        last = date(self.as_of.year, int(self.value("window", "autumn_to_month")), 1)
        if ready <= usual:
            chosen = usual
        elif ready <= last:
            chosen = ready
        else:
            chosen = date(self.as_of.year + 1, month, day)
        self.assume("plan.sow_on", "Sowing day", f"{chosen.day} {chosen:%B %Y}, in the usual autumn window")
        return chosen

    def preparation(self, sward: str, scale: str) -> tuple[str, ...]:
        if self.plan.preparation is not None:
            return self.plan.preparation
        if sward == "bare_or_arable":
            keys: tuple[str, ...] = (OPEN_UP["tractor" if scale == "tractor" else "hand"],)
        elif sward == "short_turf":
            keys = (OPEN_UP[scale],)
        else:
            cut = SHEARS["prepare"] if self.tiny() else CUT_FIRST[scale]
            keys = (cut, OPEN_UP[scale])
        words = ", then ".join(self.parameters.nouns["operations"][key]["label"].lower() for key in keys)
        self.assume("plan.preparation", "Preparation", words)
        return keys

    def tiny(self) -> bool:
        """Whether the patch is small enough for shears."""
        return self.site.net_m2 < self.value("scale", "shears_below") and not self.plan.kit_to_hand

    def days_before(self, operation: str) -> int:
        """Days before sowing on which a preparation is done."""
        row = self.parameters.nouns["operations"][operation]
        name = "open_before_sowing"
        if operation == SMOTHERING:
            name = "smother_before_sowing"
        elif operation in STRIPPING:
            name = "strip_before_sowing"
        elif row["cuts_sward"] == "yes":
            name = "cut_before_sowing"
        return int(self.value("window", name))

    def steps(self, sward: str, scale: str, net_m2: float, p_index: float, verdict: str) -> tuple[Step, ...]:
        """All dated steps, given ones first."""
        if self.plan.steps is not None:
            return self.with_sowing_work(self.plan.steps, scale, net_m2)
        seed, plugs = self.plan.seed, self.plan.plugs
        asked = seed is not None or plugs is not None or self.plan.preparation is not None
        if not asked and verdict == "not_here":
            self.assume("plan.seed", "Seed", "none: what is there already comes first")
            return ()
        if seed == () and not plugs and not self.plan.preparation:
            return ()
        keys = self.preparation(sward, scale) if seed != () or self.plan.preparation else ()
        sow_on = self.sowing_day(SMOTHERING in keys)
        bare = sward == "bare_or_arable" or bare_after(self.parameters, list(keys)) > 1 - self.value("advice", "little_bare_share")
        if seed is None:
            seed = self.seed(sward, bare, net_m2, p_index)
        given = self.plan.preparation is not None
        out = [Step(sow_on - timedelta(days=self.days_before(key)), operation=key, given=given) for key in keys]
        if seed:
            out.append(Step(sow_on, seed=seed, given=self.plan.seed is not None))
        if plugs:
            out.append(Step(sow_on, plugs=plugs))
        return self.with_sowing_work(tuple(out), scale, net_m2)

    def with_sowing_work(self, steps: tuple[Step, ...], scale: str, net_m2: float) -> tuple[Step, ...]:
        """Add the work of sowing, treading in and planting where the steps do not name it."""
        named = {step.operation for step in steps if step.operation}
        out = list(steps)
        by_tractor = scale == "tractor" and net_m2 >= self.value("scale", "tractor_sowing_from")
        how = "tractor" if by_tractor and not self.fits_operation(SOWN_WITH["tractor"]) else "hand"
        for step in steps:
            common = {"on": step.on, "area_share": step.area_share, "zone": step.zone, "given": False}
            if step.seed and not named & {*SOWN_WITH.values()}:
                out.append(Step(operation=SOWN_WITH[how], **common))  # type: ignore[arg-type]
                if not named & {*ROLLED_WITH.values()}:
                    out.append(Step(operation=ROLLED_WITH[how], **common))  # type: ignore[arg-type]
            if step.plugs and PLANT not in named:
                out.append(Step(operation=PLANT, **common))  # type: ignore[arg-type]
        return tuple(sorted(out, key=lambda s: s.on))

    # ---------------------------------------------------------------- yearly care

    def care(self, kind: str, scale: str, steps: tuple[Step, ...]) -> YearlyCare:
        asked = self.plan.aftercare
        default = self.parameters.nouns["site_kinds"][kind]
        grazing = asked.aftermath_grazing or Grazing()
        cuts = self.cuts(kind, grazing)
        arisings = asked.arisings or default["default_arisings"]
        if asked.arisings is None and cuts:
            self.assume("plan.aftercare.arisings", "Cuttings", self.word("arisings", arisings).lower())
        disposal = asked.disposal or default["default_disposal"]
        if asked.disposal is None and arisings == "removed" and cuts:
            self.assume("plan.aftercare.disposal", "Where the cuttings go", self.word("disposal", disposal).lower())
        first = asked.first_year_cuts
        short_lived = self.has_short_lived(steps)
        many = self.value("cut", "many_first_year_cuts")
        if first is None:
            sown = any(step.seed for step in steps)
            name = "first_year_cuts_with_rattle" if short_lived else "first_year_cuts_without_rattle"
            first = int(self.value("cut", name)) if sown and cuts else min(len(cuts), 1)
            if sown:
                why = "after yellow rattle and annuals have shed seed" if short_lived else "whenever the growth is knee high"
                self.assume("plan.aftercare.first_year_cuts", "Cuts in the first year", f"{first}, {why}")
        elif first >= many and short_lived:
            self.warnings.append(
                Warned(
                    "first_year_mowing_takes_rattle",
                    "/plan/aftercare/first_year_cuts",
                    f"{first} cuts in the first year start in April and take yellow rattle and annuals before they shed seed; 2 or fewer come after.",
                )
            )
        month, day = int(self.value("cut", "shut_up_month")), int(self.value("cut", "shut_up_day"))
        shut = (month, day) if cuts else None
        if asked.shut_up_on is not None:
            shut = (asked.shut_up_on.month, asked.shut_up_on.day)
        by = scale if scale == "tractor" else "pedestrian"
        if by == "pedestrian" and self.fits_operation(YEARLY_CUT["pedestrian"]):
            by = "hand"
        return YearlyCare(
            first_year_cuts=first,
            cuts=cuts,
            shut_up=shut,
            arisings=arisings,
            disposal=disposal,
            grazing=grazing,
            refuge_share=asked.refuge_share,
            regime=self.regime(cuts, arisings, grazing),
            cut_operation=(SHEARS["yearly"] if self.tiny() else YEARLY_CUT[by]) if cuts else None,
            first_year_operation=(SHEARS["first"] if self.tiny() else FIRST_YEAR_CUT[by]) if first else None,
        )

    def has_short_lived(self, steps: tuple[Step, ...]) -> bool:
        """Whether yellow rattle or cornfield annuals are sown."""
        for step in steps:
            for item in step.seed or ():
                for taxon in contents(self.parameters, item)[0]:
                    if self.parameters.nouns["taxa"][taxon]["model_class"] in {"rattle", "annual"}:
                        return True
        return False

    def cuts(self, kind: str, grazing: Grazing) -> tuple[tuple[int, int], ...]:
        asked = self.plan.aftercare
        day = int(self.value("cut", "default_day"))
        if asked.cut_on is not None:
            return tuple(sorted((on.month, on.day) for on in asked.cut_on))
        if asked.cut_month is not None:
            return tuple(sorted((month, day) for month in asked.cut_month))
        if grazing.by != "none" and grazing.from_month < self.value("cut", "early_before_month"):
            return ()
        month = int(self.parameters.value("site_values", f"kind:{kind}", "cut_month"))
        name = date(2000, month, 1).strftime("%B")
        self.assume("plan.aftercare.cut_month", "Yearly cut", f"one cut a year, about {day} {name}")
        return ((month, day),)

    def regime(self, cuts: tuple[tuple[int, int], ...], arisings: str, grazing: Grazing) -> str:
        """The management class of the reference tables nearest to the plan."""
        if not cuts:
            if grazing.by == "none":
                return "uncut"
            return "summer_sheep" if grazing.by == "sheep" else "summer_cattle"
        if arisings == "left":
            return "cut_left"
        early = (int(self.value("cut", "early_before_month")), 1)
        shed = (early[0], int(self.value("cut", "shed_by_day")))
        spring = (int(self.value("cut", "spring_to_month")) + 1, 1)
        in_spring = [cut for cut in cuts if cut < spring]
        in_summer = [cut for cut in cuts if spring <= cut < shed]
        late = [cut for cut in cuts if cut >= shed]
        if in_spring and in_summer:
            return "spring_summer"
        if in_spring and late:
            return "spring_autumn"
        if in_summer:
            if in_summer[0] < early:
                return "summer" if late else "early_cut"
            return "early_july"
        return "hay_aftermath" if grazing.by != "none" else "hay"

    # ---------------------------------------------------------------- all together

    def crew(self, kind: str) -> tuple[int, float]:
        crew = self.plan.crew
        volunteers, hours = crew.volunteers, crew.hours_per_session
        if volunteers is None:
            volunteers = int(self.parameters.value("site_values", f"kind:{kind}", "volunteers"))
            self.assume("plan.crew.volunteers", "Crew", f"{volunteers} people asked, some of whom will not come")
        if hours is None:
            hours = self.parameters.value("site_values", f"kind:{kind}", "hours_per_session")
            self.assume("plan.crew.hours_per_session", "Length of a session", f"{hours:g} hours")
        return volunteers, hours

    def work_out(self) -> FullPlan:
        """The complete plan."""
        site = self.site
        kind = self.kind()
        sward = self.sward(kind)
        p_index = self.p_index(sward)
        self.ground_words()
        verdict = self.verdict(sward, p_index)
        volunteers, hours = self.crew(kind)
        scale, why = self.scale(site.net_m2, volunteers, hours)
        steps = self.steps(sward, scale, site.net_m2, p_index, verdict)
        self.check_steps(steps)
        care = self.care(kind, scale, steps)
        operations = [step.operation for step in steps if step.operation]
        bare = sward == "bare_or_arable" or bare_after(self.parameters, operations) > 1 - self.value("advice", "little_bare_share")
        self.check_rates(steps, site.net_m2, bare)
        self.check_ground(sward, steps, care, operations)
        sowings = [step for step in steps if step.seed or step.plugs]
        first = min((season_of(step.on, self.parameters) for step in sowings), default=season_of(self.as_of, self.parameters))
        need = tuple(
            (item.key, *(kg_for(x, site.net_m2 * step.area_share) for x in (rate.low or 0.0, rate.middle, rate.high or 0.0)))
            for step in steps
            for item in step.seed or ()
            for rate in (usual_rate(self.parameters, item, bare),)
        )
        return FullPlan(
            kind=kind,
            sward=sward,
            last_use=site.last_use,
            net_m2=site.net_m2,
            steps=steps,
            care=care,
            volunteers=volunteers,
            hours_per_session=hours,
            kit_to_hand=self.plan.kit_to_hand,
            budget_gbp=self.plan.budget_gbp,
            first_summer=first,
            scale=scale,
            scale_reason=why,
            verdict=verdict,
            reasons=tuple(self.reasons),
            seed_need=need,
            assumptions=tuple(self.assumptions),
            warnings=tuple(self.warnings),
        )

    def check_steps(self, steps: tuple[Step, ...]) -> None:
        """Refuse an impossible order of dates: ground prepared for seed only after the seed is down."""
        given = self.plan.steps
        if given is None:
            return
        seasons = [season_of(s.on, self.parameters) for s in given if s.seed or s.plugs]
        if not seasons:
            return
        for index, step in enumerate(given):
            if step.operation is None:
                continue
            row = self.parameters.nouns["operations"][step.operation]
            opens = self.parameters.find("operation_values", step.operation, "bare_share") is not None
            if not (row["stage"] == "preparation" and opens and row["disturbs_soil"] == "yes"):
                continue
            season = season_of(step.on, self.parameters)
            later = [s for s in given if (s.seed or s.plugs) and s.on >= step.on and _same_ground(s, step)]
            earlier = [s for s in given if s.seed and s.on < step.on and season_of(s.on, self.parameters) == season and _same_ground(s, step)]
            if earlier and not later:
                raise InputError(
                    ("plan", "steps", index, "on"),
                    "dates_out_of_order",
                    f"{row['label']} on {step.on.isoformat()} comes after the seed sown on {earlier[-1].on.isoformat()} and would destroy it; prepare the ground before sowing.",
                    value=step.on.isoformat(),
                    expected=f"a date on or before {earlier[-1].on.isoformat()}",
                )

    def check_ground(self, sward: str, steps: tuple[Step, ...], care: YearlyCare, operations: list[str]) -> None:
        """Timing and ground faults that the asker should look at."""
        short_lived = self.has_short_lived(steps)
        for index, step in enumerate(steps):
            if not step.seed:
                continue
            pointer = "/plan/sow_on" if self.plan.steps is None else f"/plan/steps/{index}/on"
            if sown_late(step.on, self.parameters):
                rattle = any(RATTLE_TAXON in contents(self.parameters, item)[0] for item in step.seed)
                text = f"Sown on {step.on.day} {step.on:%B}: seed that needs winter chill waits until next year, with loss."
                if rattle:
                    text = f"Sown on {step.on.day} {step.on:%B}: yellow rattle fails without a winter in the ground, and other seed that needs chill waits a year. Sow by Christmas."
                self.warnings.append(Warned("sown_late", pointer, text))
        if any(step.seed for step in steps):
            bare = bare_after(self.parameters, operations)
            if bare < self.value("advice", "little_bare_share") and sward != "bare_or_arable":
                self.warnings.append(
                    Warned(
                        "little_bare_soil",
                        "/plan/preparation",
                        f"Only about {100 * bare:.0f} % of the ground will be bare when the seed falls; a third to a half is usual.",
                    )
                )
        if care.regime in {"early_cut", "summer", "spring_summer"} and short_lived and not care.refuge_share:
            self.warnings.append(
                Warned(
                    "cut_before_seed_shed",
                    "/plan/aftercare",
                    "The yearly cut comes before yellow rattle sheds its seed (mid July); it dies out unless a strip is left uncut.",
                )
            )
        if care.arisings == "left" and care.cuts:
            self.warnings.append(
                Warned("arisings_left", "/plan/aftercare/arisings", "Cuttings left lying smother seedlings and feed the grass; rake them off.")
            )
        if care.grazing.by != "none":
            for what, known in (("fence", care.grazing.fence), ("water", care.grazing.water), ("a grazier", care.grazing.grazier)):
                if known is False:
                    self.warnings.append(
                        Warned("grazing_not_ready", "/plan/aftercare/aftermath_grazing", f"Grazing is planned but there is no {what.removeprefix('a ')}.")
                    )


def _same_ground(one: Step, other: Step) -> bool:
    return one.zone == other.zone and (one.area_share == other.area_share or 1 in (one.area_share, other.area_share))


def p_index_of(parameters: ParameterSet, olsen_p_mg_per_l: float) -> int:
    """Olsen P index 0 to 9 of a laboratory value, rounded to whole mg/l before classing as the bands are printed."""
    whole = round(olsen_p_mg_per_l)
    index = 0
    while True:
        band = parameters.find("soil_bands", "olsen_p", f"index_{index}")
        if band is None:
            return index - 1
        if band.high is None or whole <= band.high:
            return index
        index += 1


def work_out(parameters: ParameterSet, site: Site, plan: Plan, as_of: date) -> FullPlan:
    """Fill in everything that `plan` leaves open for `site`, as of a day."""
    return Planner(parameters, site, plan, as_of).work_out()
