"""Answers: what the core worked out, in numbers and plain sentences, shaped as `modelling.contracts` describes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from modelling import calendar, contracts, wording
from modelling.answer_growth import Growth
from modelling.answer_parts import P10_P50_P90, THRESHOLDS, Part, money_of, range_of
from modelling.answer_work import Work
from modelling.arrays import canonical_text, checksum, rounded
from modelling.core import plan as core
from modelling.core.cost import SETUP
from modelling.core.establishment import KEPT
from modelling.core.estimate import Compared, Estimate
from modelling.core.parameters import ParameterSet
from modelling.core.summary import quantiles
from modelling.release import MODEL_VERSION, RELEASE

#: class of care whose cuttings lie, whatever the date of the cut
LYING: Final = "cut_left"


class Answers(Part):
    """Builds the answer of one estimate."""

    def __init__(
        self, parameters: ParameterSet, request: contracts.EstimateRequest, estimate: Estimate, lowered: bool
    ) -> None:
        super().__init__(parameters, estimate)
        self.request, self.lowered = request, lowered

    def answer(self) -> dict[str, Any]:
        """The whole answer, shaped as `contracts.EstimateAnswer`."""
        made = calendar.Maker(self.parameters, self.e)
        work, growth = Work(self.parameters, self.e), Growth(self.parameters, self.e)
        machinery = work.machinery()
        return {
            "recipe": recipe(self.parameters, self.request, self.e.question, self.lowered),
            "sentence": self.sentence(),
            "advice": self.advice(),
            "plan": self.plan_answer(),
            "seed": growth.seed(),
            "labour": work.labour(),
            "machinery": machinery,
            "arisings": work.arisings(),
            "cost": work.cost(),
            "establishment": growth.establishment(),
            "taxa": growth.timelines(),
            "drivers": growth.drivers(),
            "permissions": made.permissions(),
            "calendar": made.entries(),
            "cautions": made.cautions(),
            "warnings": self.warnings(machinery["lines"]),
            "assumptions": self.assumptions(),
        }

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
        if plan.verdict == "not_here" and plan.steps:
            # the figures alone would read as praise of the plan
            where = f"The advice is not to sow here. If it is done all the same, your {wording.area(plan.net_m2)}"
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
        left = care.arisings == "left" and bool(care.cuts)
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
            "regime": LYING if left else care.regime,
            "regime_label": self.word("regime", LYING if left else care.regime),
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

    def warnings(self, machines: list[dict[str, Any]]) -> list[dict[str, str]]:
        """What the asker should look at again, and machines that shake more than the crew can share in a day."""
        found = [{"code": w.code, "pointer": w.pointer, "text": w.text} for w in self.plan.warnings]
        shaking = {m["label"]: m["share_between_people"] for m in machines if m["share_between_people"]}
        for label, people in shaking.items():
            if people > self.plan.volunteers:
                text = (
                    f"{label}: to keep everybody's day below the action value for vibration takes about "
                    f"{wording.count(people)} people, and the crew is {wording.count(self.plan.volunteers)}. Spread "
                    "the work over more days, ask more people, or ask a contractor."
                )
                found.append({"code": "vibration_above_crew", "pointer": "/plan/crew/volunteers", "text": text})
        return found

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


def inputs_of(
    request: contracts.EstimateRequest | contracts.ComparisonRequest, question: core.Question
) -> dict[str, Any]:
    """What was asked, with what was left to us filled in, so that it can be asked again to the same answer."""
    inputs = request.model_dump(mode="json", exclude_none=True, exclude_defaults=True)
    return inputs | {
        "as_of": question.as_of.isoformat(),
        "draws": question.draws,
        "random_seed": question.random_seed,
        "world_seed": question.world_seed,
    }


def inputs_checksum(inputs: dict[str, Any]) -> str:
    """SHA-256 of the inputs of a recipe."""
    return checksum(canonical_text({"inputs": inputs}))


def recipe(
    parameters: ParameterSet,
    request: contracts.EstimateRequest | contracts.ComparisonRequest,
    question: core.Question,
    lowered: bool,
) -> dict[str, Any]:
    """How to make the answer again."""
    inputs = inputs_of(request, question)
    return {
        "schema_version": contracts.SCHEMA_VERSION,
        "release": RELEASE,
        "model_version": MODEL_VERSION,
        "as_of": question.as_of,
        "inputs_checksum": inputs_checksum(inputs),
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
