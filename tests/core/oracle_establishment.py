"""The establishment model again, slowly: one draw, one species, one zone, one forecast at a time, in plain numbers.

Written from the equations of the model, not from the arrays. It reads the same random draws and the same reference
tables; everything between those and the answers is done here once more.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from modelling.core import sampling

FORECASTS = (0, 1)
NOISE_YEARS = 10
NOISE_BLOCK = 500
#: marks a regime whose cuttings are left lying
LEFT = ", left"


def expit(x):
    return 1 / (1 + math.exp(-x))


def logit(p):
    return math.log(p) - math.log(1 - p)


class Luck:
    """Random draws of a run, read one at a time."""

    def __init__(self, parameters, random_seed, world_seed, n):
        self.parameters, self.n = parameters, n
        self.seeds = {"site": random_seed, "world": world_seed}
        self.kept = {}

    def keep(self, key, draws):
        if key not in self.kept:
            self.kept[key] = draws()
        return self.kept[key]

    def row(self, d, subject, quantity, whose="world", key=""):
        number = self.parameters.number("establishment", subject, quantity)
        return float(
            self.keep((subject, quantity, whose, key), lambda: sampling.draw(number, self.seeds[whose], self.n, key))[d]
        )

    def normal(self, d, whose, name, key=""):
        draws = self.keep(("normal", whose, name, key), lambda: sampling.normals(self.seeds[whose], name, self.n, key))
        return float(draws[d])

    def uniform(self, d, name, key=""):
        draws = self.keep(("uniform", name, key), lambda: sampling.uniforms(self.seeds["site"], name, self.n, key))
        return float(draws[d])

    def exponential(self, d, name, key):
        draws = self.keep(
            ("exponential", name, key), lambda: sampling.exponentials(self.seeds["site"], name, self.n, key)
        )
        return float(draws[d])

    def species_noise(self, d, key, year):
        """Standard normal of a species in a year: drawn in blocks of draws, all years of a block together."""
        blocks = -(-self.n // NOISE_BLOCK)
        draws = self.keep(
            ("species noise", key),
            lambda: sampling.stream(self.seeds["site"], "year_noise", key).standard_normal(
                (blocks, NOISE_YEARS, NOISE_BLOCK)
            ),
        )
        return float(draws[d // NOISE_BLOCK, year - 1, d % NOISE_BLOCK])


@dataclass
class Answer:
    """What one draw comes to, by (forecast, year)."""

    species: dict = field(default_factory=dict)
    sown_species: dict = field(default_factory=dict)
    species_1m2: dict = field(default_factory=dict)
    rattle: dict = field(default_factory=dict)
    rattle_held: dict = field(default_factory=dict)
    crop: dict = field(default_factory=dict)
    #: by year
    orchid: dict = field(default_factory=dict)
    #: by (taxon key, forecast, year)
    present: dict = field(default_factory=dict)
    seen: dict = field(default_factory=dict)
    flower: dict = field(default_factory=dict)
    density: dict = field(default_factory=dict)


@dataclass
class Season:
    """One summer of one zone under one forecast."""

    crop: float
    crop_felt: float
    bare: float
    floor: float
    regime: str
    rattle: float = 0.0


class Draw:
    """One draw of one scenario."""

    def __init__(self, luck, d, *, ground, taxa, zones, care, years, first_summer, quadrat_area_m2):
        self.luck, self.d = luck, d
        self.ground, self.taxa, self.zones, self.care = ground, taxa, zones, care
        self.years, self.first_summer = years, first_summer
        self.unit_m2 = min(1.0, ground.area_m2)
        self.quadrat_m2 = min(quadrat_area_m2, ground.area_m2)

    # reading

    def row(self, subject, quantity):
        return self.luck.row(self.d, subject, quantity)

    def value(self, subject, quantity):
        return self.luck.parameters.value("establishment", subject, quantity)

    def value_or(self, subject, quantity, otherwise):
        number = self.luck.parameters.find("establishment", subject, quantity)
        return otherwise if number is None else number.mode

    def regime_value(self, regime, quantity):
        """A number of a regime; with cuttings left lying as a hay cut left lying differs from one taken off."""
        key = regime.removesuffix(LEFT)
        value, hay, lying = (self.luck.parameters.value("regimes", k, quantity) for k in (key, "hay", "cut_left"))
        if key == regime:
            return value
        if quantity == "arisings_left":
            return lying
        return value * lying / hay if quantity in ("crop_factor", "bare_share") else value

    def site(self, name):
        return float(getattr(self.ground, name)[self.d])

    # care, weather, ground

    def regime(self, forecast, year):
        """The planned regime, or what a lapse makes of the year."""
        planned = self.care.regime + (LEFT if self.care.arisings_left else "")
        if forecast == 0:
            return planned
        chance = self.luck.row(self.d, "aftercare", "lapse_chance", "site")
        if self.luck.uniform(self.d, "aftercare/lapse", str(year - 1)) >= chance:
            return planned
        which = self.luck.uniform(self.d, "aftercare/which", str(year - 1))
        uncut, left = self.value("aftercare", "lapse_uncut_share"), self.value("aftercare", "lapse_left_share")
        if which < uncut:
            return "uncut"
        return "cut_left" if which < uncut + left else "early_cut"

    def lapsed(self, forecast, year):
        chance = self.luck.row(self.d, "aftercare", "lapse_chance", "site")
        return forecast == 1 and self.luck.uniform(self.d, "aftercare/lapse", str(year - 1)) < chance

    def weather(self, year):
        z = self.luck.normal(self.d, "world", "weather", str(self.first_summer + year - 1))
        return math.exp(self.value("weather", "yearly_noise") * z)

    def works(self, zone):
        """(year, bare share, share of the crop lowered, share of residents kept), the ground as found first."""
        found = [(1, self.site("bare_share"), 0.0, 1.0)]
        for work in zone.preparations:
            d = self.d
            found.append(
                (
                    work.year,
                    float(work.bare_share[d]),
                    float(work.crop_lowered_share[d]),
                    float(work.residents_kept_share[d]),
                )
            )
        return found

    def bared(self, zone, year):
        """Bare share that preparation leaves."""
        closed = 1.0
        for start, bare, _, _ in self.works(zone):
            if year == start:
                closed *= 1 - bare
            elif year > start:
                closed *= 1 - self.value("ground", "bare_carry_share") * bare / math.e ** (year - start)
        return 1 - closed

    def crop_ratio(self, zone, year):
        ratio = 1.0
        for start, bare, lowered, _ in self.works(zone):
            if year >= start:
                since = year - start
                ratio *= 1 - self.value("ground", "crop_lost_by_bare_share") * bare * math.exp(
                    -since / self.value("ground", "crop_recovery")
                )
                ratio *= 1 - lowered * math.exp(-since / self.value("ground", "stripping_recovery"))
        return ratio

    def residents_kept(self, zone, year):
        kept = 1.0
        for start, _, _, share in self.works(zone):
            if year >= start:
                kept *= 1 - (1 - share) * math.exp(-(year - start) / self.value("residents", "return_time"))
        return kept

    def tall(self, zone, forecast, year):
        """A tall sward stays closed until it is opened or cared for, and closes again after a year without care."""
        if not self.ground.tall:
            return False
        if any(work.opens_tall_sward and work.year <= year for work in zone.preparations):
            return False
        return year == 1 or self.regime_value(self.regime(forecast, year - 1), "managed") == 0

    def season(self, zone, forecast, year):
        regime = self.regime(forecast, year)
        crop = self.site("crop_g_per_m2") * self.regime_value(regime, "crop_factor") * self.crop_ratio(zone, year)
        felt = crop
        if any(sowing.year == year for sowing in zone.sowings) and not self.lapsed(forecast, year):
            cuts = self.care.first_year_cuts / self.value("ground", "mowing_half_cuts")
            felt = crop * (1 - self.row("ground", "mowing_hold_share") * (1 - math.exp(-cuts)))
        return Season(
            crop=crop,
            crop_felt=felt,
            bare=max(self.regime_value(regime, "bare_share"), self.bared(zone, year)),
            floor=self.row(
                "ground", "microsites_tall_sward" if self.tall(zone, forecast, year) else "microsites_short_sward"
            ),
            regime=regime,
        )

    def pressure(self, crop):
        return self.row("ground", "competition_slope") * crop / self.value("ground", "competition_reference")

    def microsites(self, season):
        half = self.row("ground", "microsite_half_share")
        gain = season.bare * (1 + half) / (season.bare + half)
        return season.floor + (1 - season.floor) * gain

    # seed

    def mismatch(self, taxon):
        width, steps = self.value("site", "tolerance_width"), 0.0
        if taxon.ellenberg_f is not None:
            steps += max(abs(taxon.ellenberg_f - self.site("wetness_f")) - width, 0)
        if taxon.ellenberg_r is not None:
            steps += max(abs(taxon.ellenberg_r - self.site("reaction_r")) - width - taxon.extra_reaction_width, 0)
        if taxon.ellenberg_l is not None and taxon.ellenberg_l > self.site("light_l"):
            steps += max(taxon.ellenberg_l - self.site("light_l") - width, 0)
        return steps

    def passes(self, taxon):
        """Whether seed of the taxon can establish here at all."""
        if taxon.model_class == "rattle":
            odds, fertility = logit(self.row("rattle", "passes_hurdle_share")), 0.0
        else:
            base = self.seed_base(taxon.model_class)
            odds = logit(self.row(base, "passes_hurdle_share"))
            odds += self.value_or(taxon.model_class, "hurdle_offset", 0)
            neutral = self.value("site", "fertility_neutral_n")
            own = neutral if taxon.ellenberg_n is None else taxon.ellenberg_n
            weight = max(1 + (neutral - own) / self.value("site", "fertility_n_scale"), 0)
            fertility = self.value("site", "hurdle_per_p_index") * weight * max(self.site("p_index") - 1, 0)
        odds += self.row("site", "quality_on_hurdle") * self.site("quality")
        odds -= fertility + self.row("site", "mismatch_logit_per_step") * self.mismatch(taxon)
        return self.luck.uniform(self.d, "hurdle", taxon.key) < expit(odds)

    def seed_count(self, taxon):
        z = self.luck.normal(self.d, "site", "seed_count", taxon.key)
        return math.exp(self.row("all", "seed_count_spread") * z)

    @staticmethod
    def seed_base(name):
        return {"slow": "slow", "slow_grass": "slow", "grass": "grass"}.get(name, "reliable")

    def plants_per_seed(self, taxon):
        if not self.passes(taxon):
            return 0.0
        share = self.row(self.seed_base(taxon.model_class), "establishment_share")
        share *= self.value_or(taxon.model_class, "establishment_ratio", 1)
        z = self.luck.normal(self.d, "world", "species", taxon.key)
        share = min(share * math.exp(self.row("all", "species_spread") * z), self.value("all", "establishment_cap"))
        return share * math.exp(self.site("quality")) * self.seed_count(taxon)

    def seeds_coming_up(self, taxon, zone, year):
        """Live seeds per m2 that come up this year, from every sowing so far."""
        total = 0.0
        for sowing in zone.sowings:
            age = year - sowing.year
            seeds = sowing.live_seeds_per_m2.get(taxon.key, 0.0)
            if sowing.late and taxon.chill_needed:
                age -= 1
                seeds *= self.value("ground", "spring_sown_chill_kept_share")
            if age < 0:
                continue
            first = self.value(taxon.model_class, "germinates_first_year_share")
            later = self.value(taxon.model_class, "germinates_later_share")
            total += seeds * (first if age == 0 else (1 - first) * (1 - later) ** (age - 1) * later)
        return total

    # classes

    def ceiling(self, name):
        return self.row("reliable", "ceiling") * self.value_or(name, "ceiling_ratio", 1)

    def survival(self, name):
        if name == "annual":
            return 0.0
        return expit(logit(self.row("reliable", "survival_share")) + self.value_or(name, "survival_offset", 0))

    def left(self, season):
        if not self.regime_value(season.regime, "arisings_left"):
            return 1.0
        return self.row("arisings", "left_recruits_ratio")

    def seedling_chance(self, name, season, year):
        """Seedlings per established share of seed."""
        place = self.microsites(season)
        if name == "pioneer":
            place = season.bare / (season.bare + self.value("pioneer", "bare_half_share"))
        return place * math.exp(-self.pressure(season.crop_felt)) * self.left(season) * self.weather(year)

    def staying(self, name, zone, season, year):
        """Plants this year per plant of last year."""
        exponent = self.row("ground", "adult_competition_exponent")
        if name in ("slow", "slow_grass"):
            exponent *= self.value("ground", "adult_competition_slow_ratio")
        lives = self.survival(name) * math.exp(-exponent * self.pressure(season.crop_felt)) * self.weather(year)
        lives *= self.left(season) ** self.value("arisings", "left_survival_exponent")
        if name not in ("grass", "slow_grass") and self.regime_value(season.regime, "sheep"):
            lives *= self.row("grazing", "sheep_forb_survival")
        recruits = self.row("reliable", "local_recruits") * self.value_or(name, "local_recruits_ratio", 1)
        recruits *= self.regime_value(season.regime, "seed_return_share")
        if name == "annual":
            if any(sowing.mown_early and sowing.year == year - 1 for sowing in zone.sowings):
                recruits = 0.0
            place = (season.bare / (season.bare + self.value("annual", "bare_half_share"))) ** 2
            recruits *= place * math.exp(-self.pressure(season.crop_felt)) * self.left(season) * self.weather(year)
        else:
            recruits *= self.seedling_chance(name, season, year)
        return lives + recruits

    # yellow rattle

    def rattle_years(self, zone, seasons):
        """Walk the rattle of one zone through its seasons, lowering their crop and opening their gaps."""
        taxon = next((t for t in self.taxa if t.model_class == "rattle"), None)
        if taxon is None:
            return
        most, refuge = self.row("rattle", "max_crop_loss_share"), self.care.refuge_share
        share = min(self.row("rattle", "establishment_share"), 1) * self.seed_count(taxon) * self.passes(taxon)
        fate = self.luck.exponential(self.d, "finite_site", "rattle")
        parts = ("cut", "refuge") if refuge else ("cut",)
        shed, old = dict.fromkeys(parts, 0.0), dict.fromkeys(parts, 0.0)
        burden = 0.0
        for year, season in enumerate(seasons, 1):
            season.bare = min(season.bare + self.row("rattle", "gap_share") * burden / most, 1)
            host = season.crop * (1 - burden)
            growth = self.microsites(season) * math.exp(
                -self.value("rattle", "competition_exponent") * self.pressure(season.crop_felt * (1 - burden))
            )
            if host > self.value("rattle", "crop_limit"):
                beyond = host - self.value("rattle", "crop_limit")
                growth *= math.exp(-beyond / self.value("rattle", "crop_limit_scale"))
            growth *= host**2 / (host**2 + self.value("rattle", "host_half_crop") ** 2)
            growth *= (1 - self.value("rattle", "host_exhaustion_share") * burden / most) ** 2
            z = self.luck.normal(self.d, "site", "rattle_noise", str(year - 1))
            growth *= share * math.exp(self.value("rattle", "yearly_noise") * z) * self.weather(year)
            sown = sum(
                sowing.live_seeds_per_m2.get(taxon.key, 0.0)
                for sowing in zone.sowings
                if sowing.year == year and not sowing.late
            )
            plants = {}
            for part in parts:
                came = (sown + shed[part] + old[part]) * growth
                plants[part] = came / (1 + came / self.value("rattle", "ceiling"))
            season.rattle = (1 - refuge) * plants["cut"] + (refuge * plants["refuge"] if refuge else 0)
            if season.rattle * self.ground.area_m2 < fate:
                season.rattle, plants = 0.0, dict.fromkeys(parts, 0.0)
            returned = {
                "cut": self.regime_value(season.regime, "rattle_seed_return_share"),
                "refuge": self.regime_value("uncut", "rattle_seed_return_share"),
            }
            if any(sowing.mown_early and sowing.year == year for sowing in zone.sowings):
                few = self.care.first_year_cuts < self.value("rattle", "mown_early_none_cuts")
                missed = self.value("rattle", "mown_early_return_share") if few else 0.0
                returned["cut"] = min(returned["cut"], missed)
            for part in parts:
                old[part] = self.value("rattle", "soil_seed_share") * shed[part]
                shed[part] = plants[part] * self.value("rattle", "seeds_per_plant") * returned[part]
            if refuge:
                spilt = self.value("rattle", "refuge_spill_share") * shed["refuge"]
                shed["refuge"] -= spilt
                shed["cut"] += spilt * refuge / (1 - refuge)
            loss = most * season.rattle / (season.rattle + self.value("rattle", "half_density"))
            now = max(burden, self.value("rattle", "suppression_now_share") * loss)
            season.crop *= 1 - now
            season.crop_felt *= 1 - now
            memory = self.value("rattle", "suppression_memory_share")
            burden = memory * burden + (1 - memory) * loss

    # species

    def species_years(self, taxon, seasons_of):
        """State (plants over the ceiling) of one species: {zone position: [year 1, year 2, ...]}."""
        name, ceiling = taxon.model_class, self.ceiling(taxon.model_class)
        per_seed = self.plants_per_seed(taxon) / ceiling
        start = 0.0
        if self.ground.on_arable:
            share = self.row("background", "already_there_share")
            if self.luck.uniform(self.d, "background", taxon.key) < share:
                start = self.luck.row(self.d, "background", "density", "site", taxon.key) / ceiling
        history = {z: [] for z in seasons_of}
        for year in range(1, self.years + 1):
            now = {}
            for z, seasons in seasons_of.items():
                season, zone = seasons[year - 1], self.zones[z]
                before = history[z][-1] if history[z] else start
                noise = math.exp(self.value(name, "yearly_noise") * self.luck.species_noise(self.d, taxon.key, year))
                now[z] = before * self.staying(name, zone, season, year) * noise
                seeds = self.seeds_coming_up(taxon, zone, year)
                now[z] += seeds * per_seed * self.seedling_chance(name, season, year)
                for planting in zone.plantings:
                    if planting.year == year:
                        plugs = planting.plugs_per_m2.get(taxon.key, 0.0)
                        now[z] += plugs * self.row("plugs", "survival_share") / ceiling
            mean = sum(self.zones[z].area_share * now[z] for z in now)
            for z, state in now.items():
                if len(self.zones) > 1 and mean > state:
                    come = self.seedling_chance(name, seasons_of[z][year - 1], year)
                    state += (mean - state) * self.row("arrival", "spread_from_strip") * come
                state /= 1 + state
                history[z].append(state)
        return history

    def flowering(self, taxon, zone, history, year):
        """State of the plants old enough to flower; mowing from spring on takes the annuals before they do."""
        if taxon.model_class == "annual" and any(s.mown_early and s.year == year for s in zone.sowings):
            return 0.0
        wait = max(taxon.first_flower_year - 1, 0)
        if year <= wait:
            return 0.0
        return min(history[year - 1], history[year - 1 - wait] * self.survival(taxon.model_class) ** wait)

    def seen_share(self, plants_per_m2, area_m2):
        return plants_per_m2 * area_m2 / (1 + plants_per_m2 * area_m2)

    # what is there besides

    def residents(self, zone, seasons, year, area_m2):
        balance = sum(1 if self.regime_value(season.regime, "managed") > 0 else -1 for season in seasons[:year])
        rate = self.value("residents", "yearly_gain_managed" if balance > 0 else "yearly_loss_unmanaged")
        broadleaf = area_m2 ** self.value("residents", "area_exponent_broadleaf")
        grass = area_m2 ** self.value("residents", "area_exponent_grass")
        there = self.site("residents_broadleaf") * broadleaf + self.site("residents_grass") * grass
        there *= self.residents_kept(zone, year) * (1 + rate * balance)
        fade = self.value("volunteers", "fade")
        opened = max(self.bared(zone, y) * math.exp(-(year - y) / fade) for y in range(1, year + 1))
        return there + self.row("volunteers", "species_on_bare") * opened * broadleaf

    def arrivals(self, zone, seasons, year, area_m2):
        """Arrived species expected in a quadrat: each year's arrivals grow as reliable forbs do."""
        nearness = math.exp(-self.site("distance_m") / self.row("arrival", "distance_scale"))
        away, total = 1.0, 0.0
        for came in range(1, year + 1):
            hazard = self.value("arrival", "hazard") * nearness
            hazard *= self.regime_value(seasons[came - 1].regime, "managed")
            field = min(self.ground.area_m2 / self.value("arrival", "field_area"), 1)
            count = self.value("arrival", "pool") * field ** self.value("arrival", "area_exponent") * away * hazard
            away *= 1 - hazard
            plants = self.value("arrival", "founders") / self.ground.area_m2
            for later in range(came + 1, year + 1):
                plants *= self.staying("reliable", zone, seasons[later - 1], later)
                plants /= 1 + plants / self.ceiling("reliable")
            total += count * self.seen_share(plants, area_m2)
        return total

    def orchid(self, year):
        """Chance that an orchid has come by itself, from the year after a wait on."""
        nearness = math.exp(-self.site("distance_m") / self.row("arrival", "distance_scale"))
        none = 1.0
        for _ in range(int(self.value("arrival", "orchid_wait")) + 1, year + 1):
            none *= 1 - self.row("arrival", "orchid_hazard") * nearness
        return 1 - none

    # the whole

    def follow(self):
        answer = Answer()
        answer.orchid = {year: self.orchid(year) for year in range(1, self.years + 1)}
        for forecast in FORECASTS:
            self.follow_forecast(forecast, answer)
        return answer

    def follow_forecast(self, forecast, answer):
        seasons_of = {}
        for z, zone in enumerate(self.zones):
            seasons_of[z] = [self.season(zone, forecast, year) for year in range(1, self.years + 1)]
            self.rattle_years(zone, seasons_of[z])
        plants = [taxon for taxon in self.taxa if taxon.model_class != "rattle"]
        histories = {taxon.key: self.species_years(taxon, seasons_of) for taxon in plants}
        known = self.row("residents", "sown_grass_already_there_share")
        for year in range(1, self.years + 1):
            at = forecast, year
            sown = {self.quadrat_m2: 0.0, self.unit_m2: 0.0}
            total = dict(sown)
            answer.rattle[at] = answer.crop[at] = 0.0
            for z, zone in enumerate(self.zones):
                season, weight = seasons_of[z][year - 1], zone.area_share
                answer.rattle[at] += weight * season.rattle
                answer.crop[at] += weight * season.crop
                for area in total:
                    rattle = self.seen_share(season.rattle, area)
                    sown[area] += weight * rattle
                    total[area] += weight * rattle
                    total[area] += weight * self.residents(zone, seasons_of[z], year, area)
                    total[area] += weight * self.arrivals(zone, seasons_of[z], year, area)
                for taxon in plants:
                    self.count(
                        answer, taxon, zone, histories[taxon.key][z], (forecast, year), weight, known, sown, total
                    )
            answer.sown_species[at] = sown[self.quadrat_m2]
            answer.species[at], answer.species_1m2[at] = total[self.quadrat_m2], total[self.unit_m2]
            enough = max(self.value("rattle", "held_density"), 1 / self.ground.area_m2)
            answer.rattle_held[at] = answer.rattle[at] >= enough

    def count(self, answer, taxon, zone, history, at, weight, known, sown, total):
        """Add one species of one zone to the counts and to its own line."""
        name, ceiling = taxon.model_class, self.ceiling(taxon.model_class)
        expected, flower = history[at[1] - 1], self.flowering(taxon, zone, history, at[1])
        fate = self.luck.exponential(self.d, "finite_site", taxon.key)
        plants = expected * ceiling * self.ground.area_m2
        whole = 1.0
        if self.ground.area_m2 < self.value("all", "finite_site_limit"):
            whole = 1 / (1 - math.exp(-plants)) if plants >= fate else 0.0
        state, flower = expected * whole, flower * whole
        visible = state
        if name in ("slow", "slow_grass"):
            visible = flower + self.value(name, "seen_without_flower_share") * (state - flower)
        for area in total:
            seen = self.seen_share(visible * ceiling, area)
            sown[area] += weight * seen
            total[area] += weight * seen * (1 - known / 2 if name in ("grass", "slow_grass") else 1)
        key = (taxon.key, *at)
        present = plants >= fate
        for line, amount in (
            (answer.present, float(present)),
            (answer.seen, self.seen_share(visible * ceiling, self.unit_m2)),
            (answer.flower, self.seen_share(flower * ceiling, self.unit_m2)),
            (answer.density, state * ceiling),
        ):
            line[key] = line.get(key, 0.0) + weight * amount


def follow(parameters, draws, *, ground, random_seed, world_seed, **scenario):
    """Answers of the draws at the positions `draws`, with everything `establish` is asked."""
    luck = Luck(parameters, random_seed, world_seed, len(np.asarray(ground.p_index)))
    return [Draw(luck, d, ground=ground, **scenario).follow() for d in draws]
