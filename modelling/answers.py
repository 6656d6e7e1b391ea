"""Answers: what the core worked out, in numbers and plain sentences, shaped as `modelling.contracts` describes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

import numpy as np

from modelling import calendar, contracts, wording
from modelling.arrays import canonical_text, checksum, rounded
from modelling.core import plan as core
from modelling.core.cost import FIRST_YEAR, SETUP, YEARLY, Line
from modelling.core.distributions import Array
from modelling.core.establishment import FORECASTS, KEPT, USUAL
from modelling.core.estimate import Compared, Estimate
from modelling.core.parameters import ParameterSet
from modelling.core.seed import live_by_taxon
from modelling.core.summary import quantiles
from modelling.core.units import G_PER_KG
from modelling.core.work import Done
from modelling.release import MODEL_VERSION, RELEASE

#: species per m2 that published schemes ask for
THRESHOLDS: Final = (9, 15)
P10_P50_P90: Final = (0.1, 0.5, 0.9)
MONEY_SHARES: Final = (0.1, 0.5, 0.8, 0.9)


def range_of(draws: Array) -> dict[str, float]:
    """P10, P50, P90 and mean of draws."""
    p10, p50, p90 = quantiles(draws, P10_P50_P90)
    return {"p10": p10, "p50": p50, "p90": p90, "mean": float(draws.mean())}


def money_of(draws: Array) -> dict[str, float]:
    """P10, P50, P80, P90 and mean of pounds, to the penny."""
    p10, p50, p80, p90 = (round(x, 2) for x in quantiles(draws, MONEY_SHARES))
    mean = round(float(draws.mean()), 2)
    return {"p10_gbp": p10, "p50_gbp": p50, "p80_gbp": p80, "p90_gbp": p90, "mean_gbp": mean}


def pence_shares(amounts: list[float], total: float) -> list[int]:
    """Whole pence for each amount that add up to the total's whole pence, by largest remainder."""
    pence = [amount * 100 for amount in amounts]
    whole = [int(np.floor(p)) for p in pence]
    missing = round(total * 100) - sum(whole)
    order = sorted(range(len(pence)), key=lambda i: (whole[i] - pence[i], i))
    for i in order[:missing]:
        whole[i] += 1
    return whole


class Answers:
    """Builds the answer of one estimate."""

    def __init__(
        self,
        parameters: ParameterSet,
        request: contracts.EstimateRequest,
        estimate: Estimate,
        lowered: bool,
    ) -> None:
        self.parameters, self.request, self.e, self.lowered = parameters, request, estimate, lowered
        self.plan, self.work, self.outcome = estimate.plan, estimate.work, estimate.outcome
        self.years = estimate.question.horizon_years

    def word(self, vocabulary: str, key: str) -> str:
        return self.parameters.nouns["vocabularies"][f"{vocabulary}:{key}"]["label"]

    def operation(self, key: str) -> dict[str, str]:
        return dict(self.parameters.nouns["operations"][key])

    def answer(self) -> dict[str, Any]:
        """The whole answer, shaped as `contracts.EstimateAnswer`."""
        made = calendar.Maker(self.parameters, self.e)
        return {
            "recipe": recipe(self.parameters, self.request, self.e.question, self.lowered),
            "sentence": self.sentence(),
            "advice": self.advice(),
            "plan": self.plan_answer(),
            "seed": self.seed(),
            "labour": self.labour(),
            "machinery": self.machinery(),
            "arisings": self.arisings(),
            "cost": self.cost(),
            "establishment": self.establishment(),
            "taxa": self.timelines(),
            "drivers": self.drivers(),
            "permissions": made.permissions(),
            "calendar": made.entries(),
            "cautions": made.cautions(),
            "warnings": self.warnings(),
            "assumptions": self.assumptions(),
        }

    # -------------------------------------------------------------- words first

    def sentence(self) -> str:
        plan, at = self.plan, self.e.headline_index
        kept = self.outcome.species_1m2[KEPT, at]
        low, high = THRESHOLDS
        chances = (
            f"has {wording.chance(float((kept >= low).mean()))} of {low} species per m² and "
            f"{wording.chance(float((kept >= high).mean()))} of {high}, if the yearly care is kept"
        )
        if self.plan.net_m2 < 1:
            p10, _, p90 = quantiles(kept, P10_P50_P90)
            chances = f"should hold {wording.between(p10, p90)} kinds of plant, if the yearly care is kept"
        when = f"by its {wording.ordinal(at + 1)} summer"
        where = f"Your {wording.area(plan.net_m2)}"
        needs = []
        if plan.seed_need:
            planned = sum(item.kg for step in plan.steps for item in step.seed or ())
            given = all(step.given for step in plan.steps if step.seed)
            needs.append(f"{'' if given else 'about '}{wording.weight(planned, planned)} of seed")
        plugs = sum(self.e.plugs.values())
        if plugs:
            needs.append(f"{plugs:,} plug plants")
        hours = self.work.stage_hours(SETUP)
        if hours.mean() > 0:
            p10, _, p90 = quantiles(self.work.stage_sessions(SETUP), P10_P50_P90)
            people = wording.count(plan.volunteers) + (" person" if plan.volunteers == 1 else " people")
            needs.append(f"{people} for {wording.sessions(round(p10), round(p90))}")
        if self.e.money.setup_cash.mean() > 0:
            p10, _, p90 = quantiles(self.e.money.setup_cash, P10_P50_P90)
            needs.append(f"{wording.pounds(p10, p90)} in cash")
        if not needs:
            return f"{where}, with nothing sown, {when} {chances}."
        return f"{where} will need {wording.joined(needs)}, and {when} {chances}."

    def advice(self) -> dict[str, Any]:
        sentences = {
            "sow": "Nothing here speaks against sowing.",
            "look_first": "Look before you sow: what is there already may be worth more than seed.",
            "not_here": "Do not sow here: what is there already is worth more. Change the mowing and watch.",
            "lower_fertility_first": "Ordinary over-sowing will probably disappoint here: the ground is too rich.",
        }
        return {
            "verdict": self.plan.verdict,
            "sentence": sentences[self.plan.verdict],
            "reasons": list(self.plan.reasons),
        }

    def plan_answer(self) -> dict[str, Any]:
        plan, care = self.plan, self.plan.care
        steps = []
        for step in plan.steps:
            if step.operation is not None:
                label = self.operation(step.operation)["label"]
            elif step.seed:
                label = "Sow: " + wording.joined([self.work.label(item) for item in step.seed])
            else:
                names = [self.parameters.nouns["taxa"][p.taxon]["english_name"] for p in step.plugs or ()]
                label = "Plant plugs: " + wording.joined(names)
            area = plan.net_m2 * step.area_share
            steps.append(
                {
                    "on": step.on,
                    "label": label,
                    "operation": step.operation,
                    "area_share": step.area_share,
                    "area_m2": area,
                    "given": step.given,
                }
            )
        return {
            "kind": plan.kind,
            "sward": plan.sward,
            "net_area_m2": plan.net_m2,
            "steps": steps,
            "regime": care.regime,
            "regime_label": self.word("regime", care.regime),
            "first_year_cuts": care.first_year_cuts,
            "cut_on": [wording.month_day(*cut) for cut in care.cuts],
            "shut_up_on": None if care.shut_up is None else wording.month_day(*care.shut_up),
            "arisings": care.arisings,
            "disposal": care.disposal,
            "grazing": care.grazing.by,
            "refuge_share": care.refuge_share,
            "volunteers": plan.volunteers,
            "hours_per_session": plan.hours_per_session,
            "first_summer": plan.first_summer,
        }

    def seed(self) -> dict[str, Any]:
        items = []
        bought = {b.item: b for b in self.work.bought}
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
                        "packs": [{"kg": size, "count": n} for size, n in bought[item.key].packs.items()],
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
        sown = sum(self.plan.net_m2 * step.area_share for step in self.plan.steps if step.seed)
        return {
            "items": items,
            "taxa": taxa,
            "carrier_kg": rate * sown / G_PER_KG,
            "total_kg": sum(item["kg"] for item in items),
        }

    def item_live(self, item: core.SeedItem, area_m2: float) -> float:
        """Mean live seeds per m2 of one item."""
        q = self.e.question
        live = live_by_taxon(self.parameters, [item], area_m2, q.world_seed, q.draws)
        return float(sum(seeds.mean() for seeds in live.values()))

    # -------------------------------------------------------------- hands and machines

    def labour(self) -> dict[str, Any]:
        tasks = []
        for done in self.work.done:
            if not (done.on_site_h > 0).any():
                continue
            words = self.operation(done.task.operation)
            times = f" ({done.task.times} times)" if done.task.times > 1 else ""
            tasks.append(
                {
                    "operation": done.task.operation,
                    "label": words["label"] + times,
                    "stage": done.task.stage,
                    "skill": words["skill"],
                    "on": done.task.on,
                    "person_hours": range_of(done.on_site_h),
                }
            )
        return {
            "tasks": tasks,
            "person_hours_setup": range_of(self.work.stage_hours(SETUP)),
            "person_hours_first_year": range_of(self.work.stage_hours(FIRST_YEAR)),
            "person_hours_yearly": range_of(self.work.stage_hours(YEARLY)),
            "sessions_setup": range_of(self.work.stage_sessions(SETUP)),
            "sessions_yearly": range_of(self.work.stage_sessions(YEARLY)),
            "volunteers": self.plan.volunteers,
            "hours_per_session": self.plan.hours_per_session,
        }

    def machinery(self) -> dict[str, Any]:
        lines = [self.machine_line(done) for done in self.work.done if done.machine is not None]
        return {"lines": lines, "scale": self.plan.scale, "scale_reason": self.plan.scale_reason}

    def machine_line(self, done: Done) -> dict[str, Any]:
        used = done.machine
        assert used is not None  # noqa: S101 - the caller has looked
        points = used.vibration_points
        share = None
        if points is not None:
            action = self.parameters.value("rates", "hand_arm_vibration", "action_points")
            share = max(int(np.ceil(quantiles(points, P10_P50_P90)[2] / action)), 1)
        none = np.zeros_like(used.hours)
        return {
            "machine": used.machine,
            "label": self.parameters.nouns["machines"][used.machine]["label"],
            "operation": done.task.operation,
            "stage": done.task.stage,
            "to_hand": used.to_hand,
            "contractor": used.contractor,
            "hours": range_of(used.hours),
            "hire_days": range_of(none if used.contractor or used.to_hand else used.hire_days),
            "fuel_litres": range_of(used.fuel_l),
            "vibration_points": None if points is None or used.contractor else range_of(points),
            "share_between_people": None if used.contractor else share,
        }

    def arisings(self) -> dict[str, Any]:
        heaps = self.e.heaps
        where = self.word("disposal", self.plan.care.disposal)
        if self.plan.care.arisings == "left":
            where = self.word("arisings", "left")
        if heaps.spoil_t is not None and self.work.spoil_away_gbp is not None:
            p10, _, p90 = quantiles(self.work.spoil_away_gbp, P10_P50_P90)
            where += (
                f". The spoil is taken to be banked on the site, where there is room and leave for it; "
                f"carting it away would cost {wording.pounds(p10, p90)} more"
            )
        return {
            "cuttings_t_per_year": range_of(heaps.cuttings_t),
            "cuttings_m3_per_year": range_of(heaps.cuttings_m3),
            "spoil_t": None if heaps.spoil_t is None else range_of(heaps.spoil_t),
            "spoil_m3": None if heaps.spoil_m3 is None else range_of(heaps.spoil_m3),
            "where": where,
        }

    # -------------------------------------------------------------- money

    def cost(self) -> dict[str, Any]:
        money, plan = self.e.money, self.plan
        lines: list[dict[str, Any]] = []
        groups: dict[tuple[str, str], list[Line]] = {}
        for line in self.work.lines:
            groups.setdefault((line.stage, line.kind), []).append(line)
        for group in groups.values():
            gross = [float(line.gross_gbp.mean()) for line in group]
            for line, pence in zip(group, pence_shares(gross, sum(gross)), strict=True):
                lines.append(self.cost_line(line, pence))
        budget = plan.budget_gbp
        return {
            "lines": lines,
            "setup_cash": money_of(money.setup_cash),
            "first_year_cash": money_of(money.first_year_cash),
            "yearly_cash": money_of(money.yearly_cash),
            "whole_life_cash": money_of(money.whole_life_cash),
            "setup_in_kind": money_of(money.setup_in_kind),
            "yearly_in_kind": money_of(money.yearly_in_kind),
            "chance_within_budget": None if budget is None else float((money.setup_cash <= budget).mean()),
            "budget_gbp": None if budget is None else round(budget, 2),
            "price_year": self.e.question.as_of.year,
            "discount_rate": self.parameters.value("rates", "green_book", "discount_rate"),
            "whole_life_years": self.years,
            "note": (
                "With VAT, which most groups cannot reclaim. Cash and in kind are kept apart. Only means add up: the "
                "lines' P90 add to more than the total's. Travel, insurance and the charity's own time are not in."
            ),
        }

    def cost_line(self, line: Line, gross_pence: int) -> dict[str, Any]:
        net = round(float(line.net_gbp.mean()) * 100) if line.vat_share else gross_pence
        p10, p90 = (round(x, 2) for x in quantiles(line.gross_gbp, (0.1, 0.9)))
        return {
            "key": line.key,
            "label": line.label,
            "stage": line.stage,
            "category": line.category,
            "kind": line.kind,
            "mean_net_gbp": net / 100,
            "mean_vat_gbp": (gross_pence - net) / 100,
            "mean_gross_gbp": gross_pence / 100,
            "p10_gross_gbp": p10,
            "p90_gross_gbp": p90,
            "note": line.note,
        }

    # -------------------------------------------------------------- what will grow

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

    def sown_classes(self) -> set[str]:
        return {self.parameters.nouns["taxa"][key]["model_class"] for key in self.e.live_seeds_per_m2}

    def first_colour(self) -> str:
        classes = self.sown_classes()
        if "annual" in classes:
            return (
                "Cornfield flowers colour the first summer and are all but gone by the third; the perennials under "
                "them are still leaves."
            )
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
        if model_class == "annual":
            return "In flower in the first summer, few in the second, gone by the third without fresh soil."
        flowers = (
            "not in flower within these years" if first is None else f"flowers from the {wording.ordinal(first)} summer"
        )
        share = f"{wording.chance(seen[at])} of being seen in a square metre by the {wording.ordinal(at + 1)} summer"
        slow = "; slow, may take seven years and more" if model_class in {"slow", "slow_grass"} else ""
        return f"{flowers.capitalize()}; {share}{slow}."

    # -------------------------------------------------------------- the rest

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

    def warnings(self) -> list[dict[str, str]]:
        return [{"code": w.code, "pointer": w.pointer, "text": w.text} for w in self.plan.warnings]

    def assumptions(self) -> list[dict[str, str]]:
        taken = [
            {"field": a.field, "label": a.label, "value": a.value, "confidence": a.confidence}
            for a in self.plan.assumptions
        ]
        lapse = self.parameters.number("establishment", "aftercare", "lapse_chance")
        taken.append(
            {
                "field": "model.as_usual",
                "label": "As groups usually manage",
                "value": (
                    f"in some {100 * (lapse.low or 0):.0f} to {100 * (lapse.high or 0):.0f} years of 100 the yearly "
                    "cut goes wrong"
                ),
                "confidence": lapse.confidence,
            }
        )
        shift = self.parameters.number("establishment", "site", "group_site_shift")
        taken.append(
            {
                "field": "model.group_site",
                "label": "A group's own site",
                "value": "takes seed somewhat worse than the plots of published trials",
                "confidence": shift.confidence,
            }
        )
        taken.append(
            {
                "field": "model.count",
                "label": "How species are counted",
                "value": (
                    "all flowering plants, grasses and sedges in a square metre, by an experienced recorder, mean "
                    "over many squares"
                ),
                "confidence": "common practice",
            }
        )
        return taken


#: a timeline says "flowers from" where a square metre shows a flower at least this often
_FLOWERS: Final = 0.01


def recipe(
    parameters: ParameterSet,
    request: contracts.EstimateRequest | contracts.ComparisonRequest,
    question: core.Question,
    lowered: bool,
) -> dict[str, Any]:
    """How to make the answer again."""
    inputs = request.model_dump(mode="json", exclude_none=True, exclude_defaults=True)
    inputs |= {
        "as_of": question.as_of.isoformat(),
        "draws": question.draws,
        "random_seed": question.random_seed,
        "world_seed": question.world_seed,
    }
    return {
        "schema_version": contracts.SCHEMA_VERSION,
        "release": RELEASE,
        "model_version": MODEL_VERSION,
        "as_of": question.as_of,
        "inputs_checksum": checksum(canonical_text(inputs)),
        "reference_checksum": parameters.checksum,
        "random_seed": question.random_seed,
        "world_seed": question.world_seed,
        "draws": question.draws,
        "draws_lowered_to_fit": lowered,
        "horizon_years": question.horizon_years,
        "quadrat_area_m2": question.quadrat_area_m2,
        "inputs": inputs,
    }


def estimate_answer(
    parameters: ParameterSet, request: contracts.EstimateRequest, estimate: Estimate, lowered: bool
) -> dict[str, Any]:
    """The answer as plain JSON-ready values, shaped as `contracts.EstimateAnswer`."""
    answer: dict[str, Any] = rounded(Answers(parameters, request, estimate, lowered).answer())
    return answer


def comparison_answer(
    parameters: ParameterSet,
    request: contracts.ComparisonRequest,
    question: core.Question,
    options: Iterable[Compared],
    undominated: list[bool],
    lowered: bool,
) -> dict[str, Any]:
    """The comparison as plain values, shaped as `contracts.ComparisonAnswer`."""
    rows = [compared(option, flag) for option, flag in zip(options, undominated, strict=True)]
    best = [row["name"] for row in rows if row["undominated"]]
    sentence = f"Worth weighing: {wording.joined(best)}. Any other option costs as much or more for no better a meadow."
    if len(best) == len(rows):
        sentence = "Each option buys something for its money: none beats another on both cost and species."
    answer: dict[str, Any] = rounded(
        {"recipe": recipe(parameters, request, question, lowered), "sentence": sentence, "options": rows}
    )
    return answer


def compared(option: Compared, undominated: bool) -> dict[str, Any]:
    """One option."""
    money = option.estimate.money
    nine, fifteen, nine_usual = option.chances
    p10, _, p90 = quantiles(option.species, P10_P50_P90)
    low, _, high = quantiles(money.setup_cash, P10_P50_P90)
    cash = f"{wording.pounds(low, high)} to set up" if money.setup_cash.mean() > 0 else "no cash to set up"
    return {
        "name": option.name,
        "key": option.key,
        "added_by_service": option.added,
        "undominated": undominated,
        "setup_cash": money_of(money.setup_cash),
        "whole_life_cash": money_of(money.whole_life_cash),
        "person_hours_setup": range_of(option.estimate.work.stage_hours(SETUP)),
        "species_per_m2": range_of(option.species),
        "species_per_m2_as_usual": range_of(option.species_usual),
        "chance_at_least_9": nine,
        "chance_at_least_15": fifteen,
        "chance_at_least_9_as_usual": nine_usual,
        "chance_rattle_held": option.held,
        "year": option.year,
        "sentence": (
            f"{cash}; {wording.between(p10, p90)} species per m² in the {wording.ordinal(option.year)} summer if kept; "
            f"{wording.chance(nine)} of 9."
        ),
    }
