"""Appraise one bid: claims beside the model, promises beside their chances, flags to look at. Never a score."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any, Final

import numpy as np

from modelling import appraisal_words, wording
from modelling.answer_parts import THRESHOLDS, money_of, range_of
from modelling.appraisal_flags import Flags, hours_needed, hours_promised, seed_rates
from modelling.appraisal_money import Budget
from modelling.appraisal_parts import Project, projects_of, species_rich
from modelling.arrays import canonical_text, checksum
from modelling.contracts import appraisal as contract
from modelling.contracts.appraisal_answers import APPRAISAL_SCHEMA_VERSION, AppraisalAnswer
from modelling.core.appraisal import share_below
from modelling.core.cost import CASH, SETUP
from modelling.core.distributions import Array
from modelling.core.establishment import KEPT, USUAL
from modelling.core.estimate import KEPT_DRAWS
from modelling.core.units import M2_PER_HA, ha
from modelling.errors import FieldError, RequestRefused
from modelling.release import MODEL_VERSION, RELEASE
from modelling.selectors import parameters, source_words

ORCHIDS: Final = "orchids"
SIZES: Final = {
    "small": "small, under {small} m²",
    "middling": "middling, {small} m² to {middling} ha",
    "large": "large, {middling} ha and more",
}


def question_checksum(question: contract.AppraisalQuestion) -> str:
    """SHA-256 of a question: the same question has the same appraisal on the same release and tables."""
    asked = question.model_dump(mode="json", exclude_none=True, exclude_defaults=True)
    return checksum(canonical_text({"inputs": asked}))


def appraise(question: contract.AppraisalQuestion) -> dict[str, Any]:
    """Appraise one bid: plain values, shaped as `contracts.appraisal_answers.AppraisalAnswer`.

    Raises
    ------
    RequestRefused
        If a plan cannot be carried out as asked, or asks for fewer draws than are kept for the choice among bids.
    """
    for number, project in enumerate(question.projects):
        draws = project.estimate.draws
        if draws is not None and draws < KEPT_DRAWS:
            text = f"An appraisal keeps {KEPT_DRAWS} draws; {draws} are too few."
            pointer = f"/projects/{number}/estimate/draws"
            raise RequestRefused([FieldError(pointer, "out_of_range", text, draws, f"at least {KEPT_DRAWS}")])
    return _Appraisal(question).answer()


class _Appraisal:
    """One bid with everything worked out from it."""

    def __init__(self, question: contract.AppraisalQuestion) -> None:
        self.question, self.parameters = question, parameters()
        self.projects = projects_of(self.parameters, question)
        self.by_key = {project.bid.key: project for project in self.projects}
        self.budget = Budget(question, self.projects)
        self.n = self.budget.n
        self.rich = species_rich(self.parameters)

    def answer(self) -> dict[str, Any]:
        promises = [self.promise(number) for number in range(len(self.question.promises))]
        permissions = self.permissions()
        flags = Flags(self.question, self.projects, self.budget, promises, permissions)
        out: dict[str, Any] = {
            "recipe": {
                "schema_version": APPRAISAL_SCHEMA_VERSION,
                "release": RELEASE,
                "model_version": MODEL_VERSION,
                "as_of": self.question.as_of,
                "reference_checksum": self.parameters.checksum,
                "question_checksum": question_checksum(self.question),
                "world_seeds": sorted({project.result.question.world_seed for project in self.projects}),
            },
            "sentences": [],
            "flags": flags.all(),
            "outcome": self.outcome(),
            "promises": promises,
            "cost": self.budget.answer(),
            "value": self.value(),
            "projects": [self.project(project) for project in self.projects],
            "permissions": permissions,
            "delivery": self.delivery(),
            "worlds": {
                "rich_ha_if_kept": self.rich_ha(KEPT)[:KEPT_DRAWS].tolist(),
                "rich_ha_as_usual": self.rich_ha(USUAL)[:KEPT_DRAWS].tolist(),
            },
        }
        out["sentences"] = appraisal_words.sentences(out)
        return AppraisalAnswer.model_validate(out).model_dump(mode="python")

    # ---------------------------------------------------------------- outcome

    def rich_ha(self, forecast: int) -> Array:
        """Species-rich hectares of the whole bid: (draws,)."""
        return np.sum([project.rich_ha(forecast)[: self.n] for project in self.projects], axis=0)

    def outcome(self) -> dict[str, Any]:
        return {
            "species_rich_from": self.rich.middle,
            "source": source_words(self.rich.source_id),
            "rich_ha_if_kept": range_of(self.rich_ha(KEPT)),
            "rich_ha_as_usual": range_of(self.rich_ha(USUAL)),
        }

    def project(self, project: Project) -> dict[str, Any]:
        at = project.result.headline_index
        low, _ = THRESHOLDS
        kept, usual = (project.result.outcome.species_1m2[forecast, at] for forecast in (KEPT, USUAL))
        rich = self.rich.middle
        seed = [
            {
                "key": row.subject,
                "label": label,
                "g_per_m2": rate,
                "usual_g_per_m2": [row.low or row.middle, row.high or row.middle],
                "source": source_words(row.source_id),
                "confidence": row.confidence,
            }
            for rate, row, label, _ in seed_rates(project)
        ]
        return {
            "key": project.bid.key,
            "label": project.bid.label,
            "area_m2": project.plan.net_m2,
            "starts_on": project.starts_on,
            "moved_to": project.moved_to,
            "first_summer": project.plan.first_summer,
            "headline_year": at + 1,
            "species_per_m2_if_kept": range_of(kept),
            "species_per_m2_as_usual": range_of(usual),
            "chance_at_least_9_if_kept": float((kept >= low).mean()),
            "chance_at_least_9_as_usual": float((usual >= low).mean()),
            "chance_species_rich_if_kept": float((kept >= rich).mean()),
            "chance_species_rich_as_usual": float((usual >= rich).mean()),
            "seed": seed,
            "seen": [self.seen(project, on) for on in sorted(self.question.round.report_on)],
        }

    def seen(self, project: Project, on: date) -> dict[str, Any]:
        summer = project.summer(on)
        kept, usual = (project.species(forecast, summer) for forecast in (KEPT, USUAL))
        found = None if usual is None else range_of(usual)
        return {
            "on": on,
            "summer": summer,
            "species_per_m2_if_kept": None if kept is None else range_of(kept),
            "species_per_m2_as_usual": found,
            "sentence": appraisal_words.seen(on, summer, found),
        }

    # ---------------------------------------------------------------- promises

    def promise(self, number: int) -> dict[str, Any]:
        promise = self.question.promises[number]
        told: dict[str, Any] = {
            "promise": number,
            "kind": promise.kind,
            "chance_if_kept": None,
            "chance_as_usual": None,
            "modelled": None,
        }
        if isinstance(promise, contract.SpeciesPromise):
            return told | self.species_promise(promise)
        if isinstance(promise, contract.PlantPromise):
            return told | self.plant_promise(promise)
        if isinstance(promise, contract.AreaPromise):
            area = sum(ha(project.plan.net_m2) for project in self.projects)
            text = f"{promise.hectares:g} ha is promised; the plans cover {wording.area(area * M2_PER_HA)}."
            return told | {"sentence": text}
        if isinstance(promise, contract.HoursPromise):
            needed = hours_needed(self.projects)
            found = range_of(needed)
            text = (
                f"{wording.figure(promise.hours, 3)} volunteer hours are promised; the work takes "
                f"{wording.between(found['p10'], found['p90'], 'hours')} within the grant's time."
            )
            share = 1 - share_below(needed, promise.hours)
            return told | {"modelled": found, "chance_if_kept": share, "chance_as_usual": share, "sentence": text}
        text = f"{promise.people:,} people reached: the model cannot tell."
        return told | {"sentence": text}

    def species_promise(self, promise: contract.SpeciesPromise) -> dict[str, Any]:
        project = self.by_key[promise.project]
        summer = promise.by_year - project.plan.first_summer + 1
        what = f"{project.named}{promise.species_per_m2:g} species per m² by {promise.by_year}"
        if summer < 1:
            text = f"{what}: the first summer is {project.plan.first_summer}, so there is nothing to count by then."
            return {"chance_if_kept": 0.0, "chance_as_usual": 0.0, "sentence": text}
        kept, usual = (project.species(forecast, summer) for forecast in (KEPT, USUAL))
        if kept is None or usual is None:
            return {"sentence": appraisal_words.promised_chance(what, None, None)}
        chances = [float((draws >= promise.species_per_m2).mean()) for draws in (kept, usual)]
        return {
            "chance_if_kept": chances[0],
            "chance_as_usual": chances[1],
            "modelled": range_of(usual),
            "sentence": appraisal_words.promised_chance(what, *chances),
        }

    def plant_promise(self, promise: contract.PlantPromise) -> dict[str, Any]:
        project = self.by_key[promise.project]
        summer, horizon = promise.by_year - project.plan.first_summer + 1, project.result.question.horizon_years
        taxon = self.parameters.nouns["taxa"].get(promise.plant)
        name = promise.plant.capitalize() if taxon is None else taxon["english_name"].capitalize()
        what = f"{project.named}{name} by {promise.by_year}"
        if summer < 1:
            text = f"{what}: the first summer is {project.plan.first_summer}."
            return {"chance_if_kept": 0.0, "chance_as_usual": 0.0, "sentence": text}
        at = min(summer, horizon) - 1
        outcome = project.result.outcome
        if promise.plant == ORCHIDS:
            chance = float(outcome.orchids_by_year[at])
            text = f"{what}: {wording.chance(chance)}. Orchids come by themselves, late or never; seed brings none."
            return {"chance_if_kept": chance, "chance_as_usual": chance, "sentence": text}
        line = next((line for line in outcome.timelines if line.taxon == promise.plant), None)
        if line is None:
            text = f"{what}: it is neither sown nor planted, so the model has no way for it to come."
            return {"sentence": text}
        kept, usual = (float(line.chance_present[forecast, at]) for forecast in (KEPT, USUAL))
        return {
            "chance_if_kept": kept,
            "chance_as_usual": usual,
            "sentence": appraisal_words.promised_chance(what, kept, usual),
        }

    # ---------------------------------------------------------------- money

    def value(self) -> dict[str, Any]:
        area = sum(ha(project.plan.net_m2) for project in self.projects)
        grant, match = self.budget.fund("grant"), self.budget.fund("match")
        expected = float(self.rich_ha(USUAL).mean())
        least = self.parameters.value("planning", "appraisal", "least_rich_share")
        _, modelled = self.budget.pays(self.budget.total(CASH))
        size, label = self.size(area)
        return {
            "area_ha": area,
            "size_class": size,
            "size_class_label": label,
            "grant_per_ha_gbp": round(grant / area, 2),
            "cash_per_ha_gbp": round((grant + match) / area, 2),
            "modelled_cash_per_ha": money_of(modelled / area),
            "grant_per_rich_ha_gbp": round(grant / expected, 2) if expected >= least * area else None,
            "whole_life": self.whole_life(),
            "optimism": self.optimism(grant + match),
        }

    def size(self, area_ha: float) -> tuple[str, str]:
        """Size class of the whole bid, and its label."""
        small, middling = (
            ha(self.parameters.value("planning", "appraisal", name)) for name in ("small_below", "middling_below")
        )
        key = "small" if area_ha < small else "middling" if area_ha < middling else "large"
        return key, SIZES[key].format(small=f"{small * M2_PER_HA:,.0f}", middling=f"{middling:g}")

    def whole_life(self) -> dict[str, Any]:
        rate = self.parameters.number("rates", "green_book", "discount_rate")
        cash = np.sum([project.result.money.whole_life_cash[: self.n] for project in self.projects], axis=0)
        return {
            "cash": money_of(cash),
            "years": max(project.result.question.horizon_years for project in self.projects),
            "discount_rate": rate.middle,
            "source": source_words(rate.source_id),
            "confidence": rate.confidence,
        }

    def optimism(self, claimed_gbp: float) -> dict[str, Any] | None:
        least = self.parameters.value("planning", "appraisal", "optimism_from")
        if claimed_gbp < least:
            return None
        lower, upper = (
            self.parameters.number("rates", "optimism_bias_civil_works", name)
            for name in ("capital_lower", "capital_upper")
        )
        return {
            "label": (
                "An outer view, not an estimate: the claim raised by what large public works went over by, before "
                "their risks were managed"
            ),
            "from_gbp": claimed_gbp,
            "lower_share": lower.middle,
            "upper_share": upper.middle,
            "lower_gbp": round(claimed_gbp * (1 + lower.middle), 2),
            "upper_gbp": round(claimed_gbp * (1 + upper.middle), 2),
            "source": source_words(upper.source_id),
            "confidence": upper.confidence,
        }

    # ---------------------------------------------------------------- permissions and delivery

    def permissions(self) -> list[dict[str, Any]]:
        """What the plans need, as the bid says it stands, and what the bid names beside."""
        named = list(self.question.permissions)
        out: list[dict[str, Any]] = []
        met: set[int] = set()
        for project in self.projects:
            for row in project.permissions:
                fits = [
                    index
                    for index, entry in enumerate(named)
                    if entry.key == row["key"] and entry.project in (None, project.bid.key)
                ]
                met.update(fits)
                told = {"key": row["key"], "project": project.bid.key, "label": row["label"], "needed": True}
                entry = named[fits[0]] if fits else None
                out.append(
                    told
                    | {
                        "standing": "not_asked" if entry is None else entry.standing,
                        "expires_on": None if entry is None else entry.expires_on,
                    }
                )
        for index, entry in enumerate(named):
            if index not in met:
                out.append(
                    {
                        "key": entry.key,
                        "project": entry.project or self.projects[0].bid.key,
                        "label": entry.label,
                        "needed": False,
                        "standing": entry.standing,
                        "expires_on": entry.expires_on,
                    }
                )
        return out

    def delivery(self) -> dict[str, Any]:
        record = self.question.record
        claim, draws = self.budget.pays(self.budget.total(CASH))
        days = np.sum([project.result.work.stage_sessions(SETUP)[: self.n] for project in self.projects], axis=0)
        found = [entry.found - entry.p50 for entry in record.forecasts]
        operations = self.parameters.nouns["operations"]
        contractor = any(
            operations[done.task.operation]["contractor"] == "yes"
            for project in self.projects
            for done in project.result.work.done
        )
        return {
            "chance_cash_enough": float((draws <= claim).mean()),
            "person_hours": range_of(hours_needed(self.projects)),
            "crew": max(project.plan.volunteers for project in self.projects),
            "crew_hours_promised": hours_promised(self.question),
            "work_days": range_of(days),
            "uses_contractor": contractor,
            "returns_due": record.returns_due,
            "returns_agreed": record.returns_agreed,
            "forecasts": len(record.forecasts),
            "found_below_p10": sum(entry.found < entry.p10 for entry in record.forecasts),
            "found_above_p90": sum(entry.found > entry.p90 for entry in record.forecasts),
            "mean_found_less_forecast": sum(found) / len(found) if found else None,
        }


def within_size_class(answers: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Where each of several appraised bids stands by the hectare among those of its size class, dearest last.

    Returns
    -------
    list
        For each appraisal: `size_class`, `bids` in it, `place` from 1 for the cheapest grant by the hectare, and the
        class's `median_grant_per_ha_gbp`. Bids of one price share the better place.
    """
    out = []
    for answer in answers:
        size = answer["value"]["size_class"]
        prices = [other["value"]["grant_per_ha_gbp"] for other in answers if other["value"]["size_class"] == size]
        own = answer["value"]["grant_per_ha_gbp"]
        out.append(
            {
                "size_class": size,
                "bids": len(prices),
                "place": 1 + sum(price < own for price in prices),
                "median_grant_per_ha_gbp": float(np.median(prices)),
            }
        )
    return out
