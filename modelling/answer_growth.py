"""What grows in an answer: seed, both forecasts, species by species, and what drives the range."""

from __future__ import annotations

from typing import Any, Final

from modelling import wording
from modelling.answer_parts import THRESHOLDS, Part, range_of
from modelling.core import plan as core
from modelling.core.brief import season_of, sown_late
from modelling.core.establishment import FORECASTS, KEPT, USUAL
from modelling.core.seed import contents, live_by_taxon
from modelling.core.species import ANNUAL, RATTLE
from modelling.core.summary import quantiles
from modelling.core.units import G_PER_KG
from modelling.core.work import SOW_BY_HAND

#: a timeline says "flowers from" where a square metre shows a flower at least this often
_FLOWERS: Final = 0.01


class Growth(Part):
    """Seed, forecasts, timelines and drivers of one estimate."""

    def seed(self) -> dict[str, Any]:
        items = []
        # seed is bought in the order of the plan, step by step, with the plugs of a step after its seed
        bought = iter([b for b in self.work.bought if not b.item.startswith("plugs_")])
        needs = iter(self.plan.seed_need)
        for step in self.plan.steps:
            area = self.plan.net_m2 * step.area_share
            for item in step.seed or ():
                _, low, _, high = next(needs)
                rate = item.kg * G_PER_KG / area
                live = self.item_live(item, area)
                items.append(
                    {
                        "key": item.key,
                        "label": self.work.label(item),
                        "kg": item.kg,
                        "g_per_m2": rate,
                        "usual_g_per_m2": [low * G_PER_KG / area, high * G_PER_KG / area],
                        "needed_kg": [low, high],
                        "packs": [{"kg": size, "count": n} for size, n in next(bought).packs.items()],
                        "live_seeds_per_m2": live,
                    }
                )
        order = [key for key in self.parameters.nouns["taxa"] if key in self.e.live_seeds_per_m2 or key in self.e.plugs]
        taxa = []
        for key in order:
            words = self.parameters.nouns["taxa"][key]
            seeds = self.e.live_seeds_per_m2.get(key)
            taxa.append(
                {
                    "taxon": key,
                    "english_name": words["english_name"],
                    "scientific_name": words["scientific_name"],
                    "live_seeds_per_m2": None if seeds is None else range_of(seeds),
                    "plugs": self.e.plugs.get(key, 0),
                }
            )
        rate = self.parameters.value("sowing_rates", "carrier", "sand_per_area")
        by_hand = sum(self.plan.net_m2 * s.area_share for s in self.plan.steps if s.operation == SOW_BY_HAND)
        return {
            "items": items,
            "taxa": taxa,
            "carrier_kg": rate * by_hand / G_PER_KG,
            "total_kg": sum(item["kg"] for item in items),
        }

    def item_live(self, item: core.SeedItem, area_m2: float) -> float:
        """Mean live seeds per m2 of one item."""
        q = self.e.question
        live = live_by_taxon(self.parameters, [item], area_m2, q.world_seed, q.draws)
        return float(sum(seeds.mean() for seeds in live.values()))

    def establishment(self) -> dict[str, Any]:
        forecasts = {
            name: {"by_year": [self.year(forecast, year) for year in range(self.years)]}
            for forecast, name in enumerate(FORECASTS)
        }
        return {
            **forecasts,
            "quadrat_area_m2": min(self.e.question.quadrat_area_m2, self.plan.net_m2),
            "whole_site_is_smaller": self.plan.net_m2 < max(self.e.question.quadrat_area_m2, 1),
            "chance_orchid_by_year": [float(x) for x in self.outcome.orchids_by_year],
            "first_summer_colour": self.first_colour(),
            "weeds_to_expect": self.weeds(),
        }

    def year(self, forecast: int, year: int) -> dict[str, Any]:
        out = self.outcome
        low, high = THRESHOLDS
        one = out.species_1m2[forecast, year]
        quarter, three_quarters = quantiles(out.species[forecast, year], (0.25, 0.75))
        rattle = None
        if out.rattle.any():
            rattle = {
                "plants_per_m2": range_of(out.rattle[forecast, year]),
                "chance_held": float(out.rattle_held[forecast, year].mean()),
            }
        return {
            "year": year + 1,
            "calendar_year": self.plan.first_summer + year,
            "species_per_m2": range_of(out.species[forecast, year]),
            "sown_species_per_m2": range_of(out.sown_species[forecast, year]),
            "species_per_m2_p25": quarter,
            "species_per_m2_p75": three_quarters,
            "chance_at_least_9": float((one >= low).mean()),
            "chance_at_least_15": float((one >= high).mean()),
            "rattle": rattle,
            "standing_crop_g_per_m2": range_of(out.crop[forecast, year]),
        }

    def first_classes(self) -> set[str]:
        """Model classes of what can come up in the first summer; yellow rattle fails where it is sown late."""
        classes: set[str] = set()
        for step in self.plan.steps:
            if season_of(step.on, self.parameters) > self.plan.first_summer:
                continue
            taxa = {key for item in step.seed or () for key in contents(self.parameters, item)[0]}
            found = {self.parameters.nouns["taxa"][key]["model_class"] for key in taxa}
            classes |= found - {RATTLE} if sown_late(step.on, self.parameters) else found
        return classes

    def mown_early(self) -> bool:
        """Whether first-year mowing starts in spring."""
        many = self.parameters.value("planning", "cut", "many_first_year_cuts")
        return self.plan.care.first_year_cuts >= many

    def first_colour(self) -> str:
        classes = self.first_classes()
        if classes & {ANNUAL, RATTLE} and self.mown_early():
            return (
                "Green: mowing from April takes yellow rattle and cornfield flowers before they bloom, and the "
                "perennials flower from the second summer."
            )
        if "annual" in classes:
            under = "; the perennials under them are still leaves" if classes - {"annual", "pioneer"} else ""
            return f"Cornfield flowers colour the first summer and are all but gone by the third{under}."
        if "rattle" in classes:
            return (
                "Mostly green, with yellow rattle in June if it takes. That is not failure: the perennials spend the "
                "first year on roots."
            )
        if classes:
            return (
                "Mostly green, and weedy where soil was bared. That is not failure: perennials flower from the second "
                "summer."
            )
        return "What is there already, let grow."

    def weeds(self) -> list[str]:
        if not self.plan.steps:
            return []
        key = self.plan.last_use or "unknown"
        return [self.word("weeds", key)]

    def timelines(self) -> list[dict[str, Any]]:
        out = []
        for line in self.outcome.timelines:
            words = self.parameters.nouns["taxa"][line.taxon]
            flower = [float(x) for x in line.chance_in_flower_per_m2[KEPT]]
            first = next((i + 1 for i, x in enumerate(flower) if x >= _FLOWERS), None)
            seen = [float(x) for x in line.chance_seen_per_m2[KEPT]]
            out.append(
                {
                    "taxon": line.taxon,
                    "english_name": words["english_name"],
                    "scientific_name": words["scientific_name"],
                    "chance_present": [float(x) for x in line.chance_present[KEPT]],
                    "chance_seen_per_m2": seen,
                    "chance_in_flower_per_m2": flower,
                    "chance_seen_per_m2_as_usual": [float(x) for x in line.chance_seen_per_m2[USUAL]],
                    "plants_per_m2": [float(x) for x in line.plants_per_m2[KEPT]],
                    "first_flower_year": first,
                    "sentence": self.timeline_sentence(words["model_class"], seen, first),
                }
            )
        return sorted(out, key=lambda t: (-max(t["chance_seen_per_m2"]), t["taxon"]))

    def timeline_sentence(self, model_class: str, seen: list[float], first: int | None) -> str:
        at = self.e.headline_index
        if model_class == ANNUAL and first is None:
            return "Mown in its first summer before it can flower."
        if model_class == ANNUAL:
            return "In flower in the first summer, few in the second, gone by the third without fresh soil."
        flowers = (
            "not in flower within these years" if first is None else f"flowers from the {wording.ordinal(first)} summer"
        )
        share = f"{wording.chance(seen[at])} of being seen in a square metre by the {wording.ordinal(at + 1)} summer"
        slow = "; slow, may take seven years and more" if model_class in {"slow", "slow_grass"} else ""
        return f"{flowers.capitalize()}; {share}{slow}."

    def drivers(self) -> list[dict[str, Any]]:
        least = self.parameters.value("planning", "drivers", "worth_saying")
        keys = {**self.e.species_drivers, **self.e.cost_drivers}
        out = []
        for key in keys:
            species, money = self.e.species_drivers.get(key, 0.0), self.e.cost_drivers.get(key, 0.0)
            if max(species, money) < least:
                continue
            words = self.parameters.nouns["vocabularies"][f"driver:{key}"]
            out.append(
                {
                    "key": key,
                    "label": words["label"],
                    "share_of_species_spread": species,
                    "share_of_cost_spread": money,
                    "what_would_help": words["help"],
                }
            )
        return sorted(out, key=lambda d: (-d["share_of_species_spread"], -d["share_of_cost_spread"], d["key"]))
