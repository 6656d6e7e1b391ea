"""Flags of a bid: what to look at, with its figures, the rule and where the rule comes from. A flag decides nothing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any, Final

import numpy as np

from modelling import wording
from modelling.appraisal_money import AFTERCARE, CONTINGENCY, LABELS, PENCE, VOLUNTEERS, WEEDING, Budget, Compared
from modelling.appraisal_parts import Project
from modelling.contracts.appraisal import AppraisalQuestion, ClaimedLine
from modelling.core.appraisal import misfits, share_below
from modelling.core.brief import RATTLE_TAXON, bare_after, p_index_of, sown_late
from modelling.core.cost import CASH, FIRST_YEAR, IN_KIND
from modelling.core.establishment import USUAL
from modelling.core.parameters import Number
from modelling.core.seed import contents, usual_rate
from modelling.core.summary import quantiles
from modelling.core.units import G_PER_KG, ha
from modelling.core.work import WEEDING as PULLING
from modelling.selectors import source_words

PRACTICE: Final = "practice_meadow_model"
COMMON: Final = "common practice"
ROUND: Final = "What this round asks"
ROUND_CONFIDENCE: Final = "published"
SOIL_TEST: Final = "soil_test"
HOURS: Final = ("h", "hour", "hours")
HELD: Final = ("held", "not_needed")
SCHEME: Final = "farm_scheme"
#: usual rates are printed to two or three digits
RATE_SLACK: Final = 0.01
#: grounds are measured to about a hundredth
AREA_SLACK: Final = 1.01

#: warnings of a plan that a bid is asked about: question to the group
ASKED: Final = {
    "sown_late": "Can it be sown in autumn, before Christmas?",
    "rattle_sown_after_christmas": "Can the yellow rattle be sown before Christmas?",
    "annuals_only": "Are perennials to be sown as well, or is the ground to be dug again every year?",
    "little_bare_soil": "How will a third to a half of the ground be made bare before sowing?",
    "cut_before_seed_shed": "Can the cut wait until mid July, or a strip be left uncut?",
    "cut_only_in_spring": "Can it be cut in July, August or September too?",
    "cut_late": "Can it be cut by September?",
    "grazed_while_growing": "Can the stock wait until after the cut?",
    "grazing_not_ready": "How will there be a fence, water and somebody who looks after the stock?",
    "arisings_left": "Can every cut be raked up and taken off?",
}


class Flags:
    """All flags of one bid, in the order of the reading: money, seed, season, ground, permissions, delivery."""

    def __init__(
        self,
        question: AppraisalQuestion,
        projects: Sequence[Project],
        budget: Budget,
        promises: Sequence[Mapping[str, Any]],
        permissions: Sequence[Mapping[str, Any]],
    ) -> None:
        self.question, self.projects, self.budget = question, projects, budget
        self.promises, self.permissions = promises, permissions
        self.parameters = projects[0].parameters
        self.found: list[dict[str, Any]] = []

    def all(self) -> list[dict[str, Any]]:
        """Every flag."""
        self.cost()
        self.missing()
        self.tax()
        self.match()
        for project in self.projects:
            self.seed(project)
            self.season(project)
            self.ground(project)
            self.warned(project)
        self.promised()
        self.permitted()
        self.paid_for()
        self.delivery()
        return self.found

    # ---------------------------------------------------------------- helpers

    def rule(self, quantity: str) -> Number:
        """A rule of thumb of appraisals."""
        return self.parameters.number("planning", "appraisal", quantity)

    def add(
        self,
        code: str,
        pointer: str,
        sentence: str,
        numbers: Mapping[str, float],
        rule: Number | None = None,
        *,
        question: str = "",
        of_round: bool = False,
    ) -> None:
        """Note one flag: its rule is a row, or the round's own, or else common practice."""
        source, confidence = source_words(PRACTICE), COMMON
        if of_round:
            source, confidence = ROUND, ROUND_CONFIDENCE
        elif rule is not None:
            source, confidence = source_words(rule.source_id), rule.confidence
        self.found.append(
            {
                "code": code,
                "pointer": pointer,
                "sentence": sentence,
                "numbers": {name: float(value) for name, value in numbers.items()},
                "source": source,
                "confidence": confidence,
                "can_answer": bool(question),
                "question": question,
            }
        )

    # ---------------------------------------------------------------- money

    def cost(self) -> None:
        """The whole claim, and each heading, far out in the range of the model."""
        total = self.budget.total(CASH)
        self.out_of_range("cash", "/lines", "all cash that the model has a figure for", total)
        for kind in (CASH, IN_KIND):
            for category in self.budget.categories(kind):
                part = self.budget.compared(kind, category)
                if part.lines and category != CONTINGENCY and (kind == CASH or category == VOLUNTEERS):
                    name = LABELS[category].lower()
                    self.out_of_range("line", f"/lines/{part.lines[0]}", name, part)

    def out_of_range(self, what: str, pointer: str, name: str, part: Compared) -> None:
        claim, draws = self.budget.pays(part)
        p10, p50, p90 = quantiles(draws, (0.1, 0.5, 0.9))
        if abs(claim - p50) < self.rule("least_gap").middle:
            return
        below = share_below(draws, claim)
        low, high = self.rule("low_share"), self.rule("high_share")
        if low.middle <= below <= high.middle:
            return
        cheap = below < low.middle
        vat = "without VAT" if self.question.reclaims_vat else "with VAT"
        sentence = (
            f"{wording.pence(round(claim * PENCE))} {vat} is claimed for {name}; the model has "
            f"{wording.pounds(p10, p90)} for the same work, so the claim looks {'low' if cheap else 'high'}."
        )
        numbers = {"claimed_gbp": claim, "p10_gbp": p10, "p50_gbp": p50, "p90_gbp": p90, "share_below": below}
        ask = "What is left out, or given, or had cheaper?" if cheap else "What makes it dearer here? Is there a quote?"
        self.add(
            f"{what}_{'low' if cheap else 'high'}", pointer, sentence, numbers, low if cheap else high, question=ask
        )

    def missing(self) -> None:
        """What the plan needs and the budget does not have."""
        budget, least = self.budget, self.rule("least_gap")
        for category in budget.categories(CASH):
            part = budget.compared(CASH, category)
            _, draws = budget.pays(part)
            p10, p50, p90 = quantiles(draws, (0.1, 0.5, 0.9))
            if part.lines or category in (CONTINGENCY, "fuel") or p50 < least.middle:
                continue
            what = LABELS[category].lower()
            code, ask = "line_missing", f"Who pays for {what}?"
            if category == "disposal":
                code, ask = "arisings_forgotten", "Where do the cuttings go, and who pays for it?"
            self.add(
                code,
                "/lines",
                f"Nothing is claimed for {what}, and the plan needs {wording.pounds(p10, p90)} of it.",
                {"p10_gbp": p10, "p50_gbp": p50, "p90_gbp": p90},
                least,
                question=ask,
            )
        for project in self.projects:
            self.cuttings(project)
            self.soil_test(project)
        self.care()
        self.weeds()

    def cuttings(self, project: Project) -> None:
        care, heaps = project.plan.care, project.result.heaps
        if care.arisings != "removed" or not care.cuts or care.disposal != "nowhere":
            return
        p10, _, p90 = quantiles(heaps.cuttings_t, (0.1, 0.5, 0.9))
        self.add(
            "arisings_nowhere",
            f"{project.pointer}/estimate/plan/aftercare/disposal",
            f"{project.named}There is nowhere yet for the cuttings, {wording.between(p10, p90, 't')} a year.",
            {"p10_t_per_year": p10, "p90_t_per_year": p90},
            question="Where do the cuttings go?",
        )

    def soil_test(self, project: Project) -> None:
        site = project.bid.estimate.site
        if site.olsen_p_mg_per_l is not None or site.soil_p_index is not None:
            return
        planned = any(step.operation == SOIL_TEST for step in project.asked.steps)
        if planned or (CASH, "survey") in self.budget.claimed:
            return
        test = self.parameters.packs[SOIL_TEST][0]
        low, high = test.low or test.middle, test.high or test.middle
        self.add(
            "no_soil_test",
            f"{project.pointer}/estimate/site",
            f"{project.named}The soil has not been tested and no test is in the budget; a laboratory charges about "
            f"{wording.pounds(low, high)} and VAT.",
            {"low_gbp": low, "high_gbp": high},
            test,
            question="Can the soil be tested for Olsen P and pH before seed is bought?",
        )

    def care(self) -> None:
        """Yearly care: promised for long enough, and planned at all."""
        asked, given = self.question.round.least_aftercare_years, self.question.aftercare_years
        if given < asked or not given:
            promised = f"Yearly care is promised for {wording.years(given)}" if given else "No yearly care is promised"
            wanted = f"; the round asks for {wording.years(asked)}" if asked else ""
            self.add(
                "aftercare_short" if given else "no_aftercare",
                "/aftercare_years",
                f"{promised}{wanted}.",
                {"promised_years": given, "asked_years": asked},
                question="Who cuts it in later years, and for how long is that sure?",
                of_round=bool(asked),
            )
        for project in self.projects:
            if not project.plan.care.cuts and project.plan.care.grazing.by == "none":
                self.add(
                    "no_yearly_cut",
                    f"{project.pointer}/estimate/plan/aftercare",
                    f"{project.named}The plan has no yearly cut and no grazing; grass takes over without.",
                    {"cuts_a_year": 0},
                    question="Who cuts it every year, and when?",
                )

    def weeds(self) -> None:
        """Nobody to pull weeds in the first years."""
        hands = (VOLUNTEERS, WEEDING, "paid_labour", AFTERCARE, "contractor")
        if any(line.category in hands for line in self.question.lines):
            return
        hours = sum(
            float(np.mean(done.on_site_h))
            for project in self.projects
            for done in project.result.work.done
            if done.task.operation == PULLING and done.task.stage == FIRST_YEAR
        )
        if hours:
            self.add(
                "no_weeding",
                "/lines",
                f"Nobody is named for the weeds; the first year takes about {wording.figure(hours)} person-hours.",
                {"person_hours_first_year": hours},
                question="Who pulls docks, thistles and ragwort?",
            )

    # ---------------------------------------------------------------- VAT and match

    def tax(self) -> None:
        total = self.budget.total(CASH)
        vat = round(total.claimed_gross - total.claimed_net, 2)
        rate = self.parameters.number("rates", "vat", "standard")
        if self.question.reclaims_vat:
            asked = sum(line.vat_pence for line in self.question.lines if line.fund == "grant") / PENCE
            if asked:
                self.add(
                    "vat_reclaimed",
                    "/lines",
                    f"The group gets VAT back, and {wording.pence(round(asked * PENCE))} of VAT is claimed.",
                    {"vat_gbp": asked},
                    rate,
                    question="Is that VAT one that cannot be got back?",
                )
        elif not vat and total.claimed_net:
            draws = total.gross - total.net
            p10, p50, p90 = quantiles(draws, (0.1, 0.5, 0.9))
            if p50 >= self.rule("least_gap").middle:
                self.add(
                    "vat_missing",
                    "/lines",
                    f"No VAT is in the budget, and the group does not get it back; the model has "
                    f"{wording.pounds(p10, p90)} of it.",
                    {"vat_claimed_gbp": 0, "vat_p10_gbp": p10, "vat_p50_gbp": p50, "vat_p90_gbp": p90},
                    rate,
                    question="Are the prices with VAT?",
                )
        for number, line in enumerate(self.question.lines):
            most = line.net_pence * rate.middle
            if line.vat_pence > most + 1:
                self.add(
                    "vat_high",
                    f"/lines/{number}/vat_pence",
                    f"{line.label}: {wording.pence(line.vat_pence)} of VAT is more than {100 * rate.middle:g} % of "
                    f"{wording.pence(line.net_pence)}.",
                    {"vat_gbp": line.vat_pence / PENCE, "most_gbp": most / PENCE},
                    rate,
                    question="How is the VAT of this line worked out?",
                )

    def match(self) -> None:
        asked = self.question.round
        share, most = self.budget.volunteer_share, asked.most_volunteer_share_of_match
        if share is not None and most is not None and share > most:
            self.add(
                "volunteer_match_high",
                "/lines",
                f"{wording.percent(share)} of the match is volunteers' time; the round allows {wording.percent(most)}.",
                {"share": share, "allowed_share": most},
                question="Is there other match?",
                of_round=True,
            )
        for number, line in enumerate(self.question.lines):
            if not by_hours(line):
                continue
            skill = line.skill or "unskilled"
            rate, own = self.budget.rates.get(skill), line.net_pence / PENCE / line.quantity
            if rate is not None and own > rate + 1 / (2 * PENCE):
                self.add(
                    "volunteer_rate_high",
                    f"/lines/{number}",
                    f"{line.label}: an hour is counted for £{own:.2f}; the round counts {skill} time for £{rate:.2f}.",
                    {"claimed_gbp_per_hour": own, "allowed_gbp_per_hour": rate},
                    question="Can the line be counted at the round's rate?",
                    of_round=True,
                )

    # ---------------------------------------------------------------- seed and season

    def seed(self, project: Project) -> None:
        """Rates outside the usual, and plants that do not suit the ground."""
        rates = list(seed_rates(project))
        for place, (rate, row, label, given) in enumerate(rates):
            low, high = row.low or row.middle, row.high or row.middle
            if not given or low * (1 - RATE_SLACK) <= rate <= high * (1 + RATE_SLACK):
                continue
            little = rate < low
            self.add(
                "seed_rate_low" if little else "seed_rate_high",
                f"{project.pointer}/estimate/plan",
                f"{project.named}{label}: {rate:.3g} g/m² is {'less' if little else 'more'} than the usual {low:g} to "
                f"{high:g} g/m².",
                {"item": place, "g_per_m2": rate, "usual_low_g_per_m2": low, "usual_high_g_per_m2": high},
                row,
                question="Is the weight right, or is there a reason for the rate?",
            )
        least, share = self.rule("misfit_steps"), self.rule("misfit_share")
        items = [item for step in project.asked.steps if step.given for item in step.seed or ()]
        for misfit in misfits(self.parameters, project.result, items, least.middle):
            if misfit.share >= share.middle:
                label = project.result.work.label(misfit.item)
                self.add(
                    "wrong_plants",
                    f"{project.pointer}/estimate/plan",
                    f"{project.named}{label}: {wording.percent(misfit.share)} of the seed is of plants of other ground "
                    f"(too wet, dry, sour, limy or dark by about {wording.figure(misfit.steps)} steps of the Ellenberg "
                    "scale).",
                    {"share": misfit.share, "ellenberg_steps": misfit.steps},
                    share,
                    question="Why these plants on this ground?",
                )

    def season(self, project: Project) -> None:
        """Money that comes after the season, and reports before there is anything to see."""
        asked = self.question.round
        start, moved = project.starts_on, project.moved_to
        allowed = max(asked.money_from, asked.earliest_start)
        if start is not None and moved is not None:
            late, before = (allowed - start).days, project.asked.first_summer
            self.add(
                "money_after_season",
                f"{project.pointer}/estimate/plan",
                f"{project.named}The plan starts on {wording.day(start)} and there is money from "
                f"{wording.day(allowed)}, {late:,} days later: it is moved to {wording.day(moved)}, and its first "
                f"summer from {before} to {project.plan.first_summer}.",
                {"days_late": late, "first_summer_planned": before, "first_summer": project.plan.first_summer},
                question="Can it start later, or be paid for otherwise until then?",
                of_round=True,
            )
        last = max((step.on for step in project.plan.steps), default=None)
        if last is not None and last > asked.latest_end:
            self.add(
                "ends_before_sowing",
                f"{project.pointer}/estimate/plan",
                f"{project.named}The last step falls on {wording.day(last)}, after the round's last day "
                f"({wording.day(asked.latest_end)}).",
                {"days_late": (last - asked.latest_end).days},
                question="Can it be done within the round's time?",
                of_round=True,
            )
        elif asked.report_on and project.plan.steps and not project.summer(max(asked.report_on)):
            self.add(
                "no_summer_by_last_report",
                f"{project.pointer}/estimate/plan",
                f"{project.named}The last report is due on {wording.day(max(asked.report_on))}, before the first "
                f"summer walk ({project.plan.first_summer}): it can show work, and no plants.",
                {"first_summer": project.plan.first_summer},
                of_round=True,
            )

    def warned(self, project: Project) -> None:
        """What the estimate itself asks to look at again, of the plan as it was written."""
        care, value = project.asked.care, self.parameters.value
        numbers: dict[str, dict[str, float]] = {
            "annuals_only": {"species_per_m2_as_usual": mean_species(project)},
            "little_bare_soil": {"bare_share": bare_share(project)},
            "cut_before_seed_shed": {
                "cut_month": care.cuts[0][0] if care.cuts else 0,
                "cut_day": care.cuts[0][1] if care.cuts else 0,
                "shed_by_july_day": value("planning", "cut", "shed_by_day"),
            },
            "arisings_left": {"cuts_a_year": len(care.cuts)},
        }
        for warning in project.asked.warnings:
            if warning.code not in ASKED:
                continue
            code, on = warning.code, None
            if code == "sown_late":
                on = late_rattle(project)
                code = "rattle_in_spring" if on is not None else code
            told = numbers.get(warning.code, {} if on is None else {"month": on.month, "day": on.day})
            pointer = f"{project.pointer}/estimate{warning.pointer}"
            self.add(code, pointer, f"{project.named}{warning.text}", told, question=ASKED[warning.code])

    def ground(self, project: Project) -> None:
        """Ground that is better not sown, or not yet."""
        plan, site = project.asked, project.bid.estimate.site
        pointer = f"{project.pointer}/estimate/site"
        reasons = project.named + " ".join(plan.reasons)
        if not any(step.seed or step.plugs for step in plan.steps):
            return
        if plan.verdict == "not_here":
            rich = self.parameters.number("planning", "advice", "rich_turf_species")
            found = {} if site.resident_species_per_m2 is None else {"species_per_m2": site.resident_species_per_m2}
            self.add(
                "sown_on_interest",
                pointer,
                reasons,
                found | {"rich_from_species_per_m2": rich.middle},
                rich,
                question="Who knows what grows there, and why is it to be sown?",
            )
        elif plan.verdict == "look_first":
            self.add("nobody_looked", pointer, reasons, {}, question="Who can walk the ground in May and June?")
        elif plan.verdict == "lower_fertility_first":
            row = self.parameters.number("planning", "advice", "high_p_index")
            found = {"high_from_p_index": row.middle}
            index = site.soil_p_index
            if site.olsen_p_mg_per_l is not None:
                found["olsen_p_mg_per_l"] = site.olsen_p_mg_per_l
                index = p_index_of(self.parameters, site.olsen_p_mg_per_l)
            if index is not None and index >= row.middle:
                found["p_index"] = index
                code, ask = "rich_soil_not_stripped", "Can the turf be stripped, or poorer ground be found?"
            else:
                row = self.parameters.number("planning", "advice", "high_crop")
                found = {"crop_g_per_m2": site.standing_crop_g_per_m2 or 0.0, "high_from_g_per_m2": row.middle}
                code, ask = "crop_too_strong", "How is the grass to be weakened before sowing?"
            self.add(code, pointer, reasons, found, row, question=ask)

    # ---------------------------------------------------------------- promises, permissions, other money

    def promised(self) -> None:
        least = self.rule("promise_chance")
        ask = "Can the promise be one that is likelier to be kept?"
        for told in self.promises:
            promise = self.question.promises[told["promise"]]
            pointer, chance = f"/promises/{told['promise']}", told["chance_as_usual"]
            if promise.kind == "hectares":
                area = sum(ha(project.plan.net_m2) for project in self.projects)
                if promise.hectares > area * AREA_SLACK:
                    numbers = {"promised_ha": promise.hectares, "ground_ha": area}
                    self.add("more_ground_than_there_is", pointer, told["sentence"], numbers, question=ask)
            elif promise.kind == "plant" and chance is None:
                self.add("promise_not_planned", pointer, told["sentence"], {}, question="How is the plant to come?")
            elif promise.kind in ("species_per_m2", "plant") and chance is not None and chance < least.middle:
                numbers = {
                    "by_year": promise.by_year,
                    "chance_if_kept": told["chance_if_kept"],
                    "chance_as_usual": chance,
                }
                if promise.kind == "species_per_m2":
                    numbers["promised_species_per_m2"] = promise.species_per_m2
                self.add("promise_unlikely", pointer, told["sentence"], numbers, least, question=ask)

    def permitted(self) -> None:
        end = self.question.round.latest_end
        lacking = [
            entry for entry in self.permissions if entry["needed"] and entry["standing"] not in (*HELD, "refused")
        ]
        if lacking:
            named = wording.joined(sorted({entry["label"].lower() for entry in lacking}))
            waiting = sum(entry["standing"] == "asked" for entry in lacking)
            self.add(
                "permissions_not_held",
                "/permissions",
                f"Not yet in hand: {named}.",
                {"not_held": len(lacking), "asked": waiting},
                question="Are they given in writing, or not needed here?",
            )
        for entry in self.permissions:
            expires = entry["expires_on"]
            if entry["standing"] == "refused":
                text = f"Refused: {entry['label'].lower()}."
                self.add("permission_refused", "/permissions", text, {}, question="What is done instead?")
            elif entry["standing"] == "held" and expires is not None and expires < end:
                text = f"{entry['label']} ends on {wording.day(expires)}, before the grant ({wording.day(end)})."
                days = {"days_short": (end - expires).days}
                self.add("permission_expires", "/permissions", text, days, question="Can it be made longer?")

    def paid_for(self) -> None:
        """Other money for the same ground at the same time."""
        asked = self.question.round
        for number, other in enumerate(self.question.other_funding):
            if other.until_day < asked.earliest_start or other.from_day > asked.latest_end:
                continue
            pays, numbers, rule = "", {}, None
            if other.pence is not None:
                numbers = {"other_gbp": other.pence / PENCE}
                pays = f", {wording.pence(other.pence)} in all"
            elif other.kind == SCHEME:
                rule = self.parameters.number("rates", SCHEME, "species_rich_grassland_per_year")
                area = sum(ha(p.plan.net_m2) for p in self.projects if other.project in (None, p.bid.key))
                numbers = {
                    "scheme_gbp_per_ha_per_year": rule.middle,
                    "area_ha": area,
                    "gbp_per_year": rule.middle * area,
                }
                pays = f", where such schemes pay about {wording.pounds(*[rule.middle * area] * 2)} a year for it"
            self.add(
                "ground_paid_for",
                f"/other_funding/{number}",
                f"{other.label} pays for the same ground from {wording.day(other.from_day)} to "
                f"{wording.day(other.until_day)}{pays}.",
                numbers,
                rule,
                question="Is that for other work than this bid's?",
            )

    # ---------------------------------------------------------------- delivery

    def delivery(self) -> None:
        record = self.question.record
        if record.returns_due > record.returns_agreed:
            self.add(
                "returns_missing",
                "/record",
                f"{record.returns_agreed:,} of {record.returns_due:,} yearly returns of the group's earlier projects "
                "are agreed.",
                {"returns_due": record.returns_due, "returns_agreed": record.returns_agreed},
                question="When do the missing returns come?",
                of_round=True,
            )
        below = sum(entry.found < entry.p10 for entry in record.forecasts)
        count, share = len(record.forecasts), self.rule("record_below_share")
        if count >= self.rule("record_least").middle and below >= share.middle * count:
            self.add(
                "found_below_forecast",
                "/record/forecasts",
                f"{below} of {count} earlier meadows of the group were found below the range of their forecast; one in "
                "ten is to be expected.",
                {"found_below_p10": below, "forecasts": count},
                share,
                question="What went wrong there, and what is different now?",
            )
        promised = hours_promised(self.question)
        needed = hours_needed(self.projects)
        p10, p50, p90 = quantiles(needed, (0.1, 0.5, 0.9))
        if promised is not None and promised < p10:
            self.add(
                "too_few_hands",
                "/lines",
                f"{wording.figure(promised)} volunteer hours are promised; the work takes "
                f"{wording.between(p10, p90, 'hours')} within the grant's time.",
                {"promised_hours": promised, "p10_hours": p10, "p50_hours": p50, "p90_hours": p90},
                question="Who else comes, or what is paid for?",
            )


def by_hours(line: ClaimedLine) -> bool:
    """Whether a line is volunteers' time counted in hours."""
    return line.fund == IN_KIND and line.category in (VOLUNTEERS, WEEDING, AFTERCARE) and line.unit.lower() in HOURS


def hours_promised(question: AppraisalQuestion) -> float | None:
    """Volunteers' hours promised, or claimed in kind where none are; None where neither is said."""
    promised = [promise.hours for promise in question.promises if promise.kind == "volunteer_hours"]
    claimed = [line.quantity for line in question.lines if by_hours(line)]
    return sum(promised) if promised else sum(claimed) if claimed else None


def hours_needed(projects: Sequence[Project]) -> np.ndarray:
    """Volunteers' hours within the grant's time, all projects together: (draws,)."""
    n = min(project.result.question.draws for project in projects)
    return np.sum([project.hours_within()[:n] for project in projects], axis=0)


def mean_species(project: Project) -> float:
    """Mean kinds in a square metre in the headline summer as groups usually manage."""
    return float(project.result.outcome.species_1m2[USUAL, project.result.headline_index].mean())


def bare_share(project: Project) -> float:
    """Most likely bare share after the preparation as planned."""
    return bare_after(project.parameters, [step.operation for step in project.asked.steps if step.operation])


def seed_rates(project: Project) -> Iterator[tuple[float, Number, str, bool]]:
    """Rate in g/m2, usual rate, label, and whether the group gave it, of every item of seed as planned."""
    plan, parameters = project.asked, project.parameters
    little = parameters.value("planning", "advice", "little_bare_share")
    bare = plan.sward == "bare_or_arable" or bare_share(project) > 1 - little
    for step in plan.steps:
        for item in step.seed or ():
            rate = item.kg * G_PER_KG / (plan.net_m2 * step.area_share)
            yield rate, usual_rate(parameters, item, bare), project.result.work.label(item), step.given


def late_rattle(project: Project) -> date | None:
    """Day on which yellow rattle is sown too late to have its winter."""
    for step in project.asked.steps:
        taxa = {key for item in step.seed or () for key in contents(project.parameters, item)[0]}
        if RATTLE_TAXON in taxa and sown_late(step.on, project.parameters):
            return step.on
    return None
