"""What the estimate page says: the finding above each section, the charts, and rows ready for their tables."""

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date
from functools import cached_property
from typing import Any

from django.utils.safestring import SafeString

from projects.dashboard import charts, words

CONFIDENCE = {
    "published": "read in the source",
    "restated": "from a source that restates another",
    "fitted": "fitted to published summaries of trials",
    "common practice": "common practice",
    "from memory": "from memory: nobody has looked it up",
    "given": "given by you",
}
ARISINGS = {"removed": "raked up and taken off", "left": "left lying"}
SHOWN_SPECIES = 18
WORTH_SAYING = 0.05
SHOWN_MONTHS = 18
LEAST_DRAWN = 0.05
STAGES = {"setup": "making it", "first_year": "first year", "yearly": "each later year"}
Answer = Mapping[str, Any]


class EstimatePage:
    """One answer, said.

    Parameters
    ----------
    answer
        As `modelling.contracts.EstimateAnswer` describes it.
    comparison
        As `modelling.contracts.ComparisonAnswer` describes it; None leaves the section out.
    not_compared
        Why other ways could not be compared, if they could not.
    """

    def __init__(self, answer: Answer, comparison: Answer | None = None, not_compared: str = "") -> None:
        self.answer = answer
        self.comparison = comparison
        self.not_compared = not_compared

    # ---------------------------------------------------------------- seed

    @property
    def seed_finding(self) -> str:
        seed = self.answer["seed"]
        plugs = sum(taxon["plugs"] for taxon in seed["taxa"])
        parts = [f"{words.weight(line['kg'])} of {words.lowered(line['label'])}" for line in seed["items"]]
        if plugs:
            parts.append(f"{plugs:,} plug {words.plural(plugs, 'plant')}")
        if not parts:
            return "Nothing to buy: this plan changes the cutting and adds no seed."
        return f"Buy or bring {words.listed(parts)}."

    @property
    def seed_lines(self) -> list[dict[str, Any]]:
        return [
            {
                **line,
                "name": words.opened(line["label"]),
                "pack_words": packs(line["packs"]),
                "usual": words.between(words.figure(low), words.figure(high), "g/m²"),
            }
            for line in self.answer["seed"]["items"]
            for low, high in [line["usual_g_per_m2"]]
        ]

    # ---------------------------------------------------------------- hands and machines

    @property
    def hands_finding(self) -> str:
        labour = self.answer["labour"]
        people = labour["volunteers"]
        setup = words.work_span(labour["person_hours_setup"])
        sessions = words.whole_span(labour["sessions_setup"], "session", "sessions")
        return (
            f"Making it takes {setup}: {words.counted(people)} {words.plural(people, 'person', 'people')} for "
            f"{sessions} of {words.figure(labour['hours_per_session'])} hours. Every later year takes "
            f"{words.work_span(labour['person_hours_yearly'])}, "
            f"{words.whole_span(labour['sessions_yearly'], 'session', 'sessions')}."
        )

    @cached_property
    def hours_chart(self) -> SafeString:
        """Mean person-hours by month; only means add up."""
        found: dict[tuple[int, int], float] = defaultdict(float)
        for task in self.answer["labour"]["tasks"]:
            dates = self._dates(task)
            for on in dates:
                found[on.year, on.month] += task["person_hours"]["mean"] / len(dates)
        if not found:
            return SafeString("")
        first = min(found)
        last = min(max(found), _month_after(first, SHOWN_MONTHS - 1))
        rows = []
        at = first
        while at <= last:
            rows.append(charts.MonthHours(*at, hours=found.get(at, 0.0)))
            at = _month_after(at, 1)
        if max(found.values()) < 1:
            rows = [replace(row, hours=row.hours * 60) for row in rows]
            return charts.months("hours", "Work by month", rows, axis="Person-minutes, on average")
        return charts.months("hours", "Work by month", rows, axis="Person-hours, on average")

    def _dates(self, task: Answer) -> list[date]:
        """Return when a task is done: a repeated one on each of its days in the calendar."""
        label = re.sub(r" \(\d+ times\)$", "", task["label"])
        on = words.as_date(task["on"])
        dates = [
            words.as_date(entry["on"])
            for entry in self.answer["calendar"]
            if entry["label"] == label and entry["kind"] == task["stage"]
        ]
        return dates or [on]

    @property
    def shared(self) -> str:
        """Machines that shake their users, and among how many people to share each."""
        return share_words(self.answer["machinery"]["lines"])

    # ---------------------------------------------------------------- money

    @property
    def money_finding(self) -> str:
        cost = self.answer["cost"]
        text = f"{words.opened(words.money_span(cost['setup_cash']))} in cash to make the meadow, VAT included"
        first, yearly = cost["first_year_cash"], cost["yearly_cash"]
        if first["p90_gbp"] > 0:
            text += f"; {words.money_span(first)} in the first year"
        text += f"; then {words.money_span(yearly)} a year." if yearly["p90_gbp"] > 0 else "; no cash in later years."
        if cost["chance_within_budget"] is not None:
            text += (
                f" The chance that {words.pounds_exact(cost['budget_gbp'])} is enough to make it is "
                f"{words.chance(cost['chance_within_budget'])}."
            )
        return text

    def _cost_lines(self, kind: str) -> list[Answer]:
        lines = [line for line in self.answer["cost"]["lines"] if line["kind"] == kind and line["p90_gross_gbp"] != 0]
        order = list(STAGES)
        return sorted(
            lines,
            key=lambda line: (order.index(line["stage"]) if line["stage"] in order else 9, -line["mean_gross_gbp"]),
        )

    @property
    def cash_lines(self) -> list[Answer]:
        return self._cost_lines("cash")

    @property
    def large_lines(self) -> list[Answer]:
        """The lines worth drawing, beside the largest of them."""
        largest = max((line["mean_gross_gbp"] for line in self.cash_lines), default=0.0)
        return [line for line in self.cash_lines if line["mean_gross_gbp"] >= largest * LEAST_DRAWN]

    @property
    def small_lines(self) -> bool:
        """Whether some lines are too small to draw."""
        return len(self.large_lines) < len(self.cash_lines)

    @cached_property
    def cost_chart(self) -> SafeString:
        rows = [
            charts.Bar(
                cost_name(line),
                line["p10_gross_gbp"],
                line["mean_gross_gbp"],
                line["p90_gross_gbp"],
                words.pounds_between(line["p10_gross_gbp"], line["p90_gross_gbp"]),
            )
            for line in self.large_lines
        ]
        if not rows:
            return SafeString("")
        return charts.bars(
            "cost", "Cash by line", rows, axis="Cash with VAT; the stroke is the mean", write=axis_pounds
        )

    # ---------------------------------------------------------------- what will grow

    @property
    def years(self) -> list[tuple[Answer, Answer]]:
        made = self.answer["establishment"]
        return list(zip(made["if_kept"]["by_year"], made["as_usual"]["by_year"], strict=True))

    @property
    def year_5(self) -> tuple[Answer, Answer]:
        """The fifth summer, or the last asked for."""
        return self.years[min(5, len(self.years)) - 1]

    @property
    def growth_finding(self) -> str:
        kept, usual = self.year_5
        square = self.answer["establishment"]["quadrat_area_m2"]
        where = "a square metre" if square == 1 else f"a square of {words.figure(square)} m²"
        return (
            f"By summer {kept['year']} ({kept['calendar_year']}), expect "
            f"{words.whole_span(kept['species_per_m2'])} species in {where} if the plan is kept, and "
            f"{words.whole_span(usual['species_per_m2'])} as groups usually manage. Nine or more: "
            f"{words.chance(kept['chance_at_least_9'])} if kept, {words.chance(usual['chance_at_least_9'])} as usual. "
            f"Fifteen or more: {words.chance(kept['chance_at_least_15'])} and "
            f"{words.chance(usual['chance_at_least_15'])}."
        )

    @cached_property
    def fan_chart(self) -> SafeString:
        return self.fan("fan")

    def fan(self, key: str) -> SafeString:
        """The fan under a name of its own, for pages with several."""
        rows = [
            charts.FanYear(
                label=str(kept["calendar_year"]),
                p10=kept["species_per_m2"]["p10"],
                p25=kept["species_per_m2_p25"],
                p50=kept["species_per_m2"]["p50"],
                p75=kept["species_per_m2_p75"],
                p90=kept["species_per_m2"]["p90"],
                other_p10=usual["species_per_m2"]["p10"],
                other_p50=usual["species_per_m2"]["p50"],
                other_p90=usual["species_per_m2"]["p90"],
            )
            for kept, usual in self.years
        ]
        return charts.fan(
            key,
            "Species in a square metre, summer by summer",
            rows,
            y_title=f"Species in {words.figure(self.answer['establishment']['quadrat_area_m2'])} m²",
            main="If the plan is kept",
            other="As groups usually manage",
            lines={9: "nine species", 15: "fifteen species"},
        )

    @property
    def has_rattle(self) -> bool:
        return any(kept["rattle"] for kept, _ in self.years)

    @property
    def rattle_finding(self) -> str:
        kept, usual = self.year_5
        if not kept["rattle"] or not usual["rattle"]:
            return ""
        return (
            f"Yellow rattle still there in summer {kept['year']}: {words.chance(kept['rattle']['chance_held'])} if the "
            f"plan is kept, {words.chance(usual['rattle']['chance_held'])} as groups usually manage."
        )

    @property
    def orchid_words(self) -> str:
        """Orchids come by themselves or not at all; said only where it is worth saying."""
        last = self.answer["establishment"]["chance_orchid_by_year"][-1]
        if last < WORTH_SAYING:
            return "Orchids cannot be sown; in these years the chance that one arrives is small."
        arrived = f"The chance that one has arrived by summer {len(self.years)} is {words.chance(last)}."
        return f"Orchids cannot be sown. {arrived}"

    # ---------------------------------------------------------------- each species

    @property
    def flowering_finding(self) -> str:
        first = defaultdict(list)
        for taxon in self.answer["taxa"]:
            if taxon["first_flower_year"]:
                first[taxon["first_flower_year"]].append(words.lowered(_name(taxon)))
        if not first:
            return "None of these can be counted on to flower within these years."
        said = [
            f"in summer {year}, {words.listed(names[:6] + ([f'{len(names) - 6} more'] if len(names) > 6 else []))}"
            for year, names in sorted(first.items())[:3]
        ]
        return f"First flowers that can be counted on: {'; '.join(said)}."

    @cached_property
    def species(self) -> list[Answer]:
        """Species, those most likely to be seen in the fifth summer first."""
        year = min(5, len(self.years)) - 1
        return sorted(self.answer["taxa"], key=lambda taxon: -taxon["chance_seen_per_m2"][year])

    @property
    def shown_species(self) -> int:
        return min(SHOWN_SPECIES, len(self.species))

    @cached_property
    def strips_chart(self) -> SafeString:
        rows = [
            charts.Strip(words.opened(_name(taxon)), taxon["chance_seen_per_m2"], taxon["chance_in_flower_per_m2"])
            for taxon in self.species[:SHOWN_SPECIES]
        ]
        if not rows:
            return SafeString("")
        return charts.strips(
            "strips",
            "How often each species is seen and flowers in a square metre",
            [str(kept["year"]) for kept, _ in self.years],
            rows,
            seen="ring: seen; full size is every square metre",
            flower="disc: in flower",
        )

    # ---------------------------------------------------------------- drivers, comparison

    @property
    def drivers_finding(self) -> str:
        drivers = self.answer["drivers"]
        if not drivers:
            return "There are too few draws to tell."
        growth = max(drivers, key=lambda driver: driver["share_of_species_spread"])
        cost = max(drivers, key=lambda driver: driver["share_of_cost_spread"])
        return (
            f"Most of the range in what grows goes with {words.lowered(growth['label'])}; "
            f"most of the range in cost with {words.lowered(cost['label'])}."
        )

    @cached_property
    def drivers_chart(self) -> SafeString:
        rows = [
            charts.Bar(driver["label"], 0, None, driver[share] * 100, f"{driver[share] * 100:.0f} in 100", tone)
            for share, tone in (("share_of_species_spread", "a"), ("share_of_cost_spread", "b"))
            for driver in sorted(self.answer["drivers"], key=lambda driver: -driver[share])
            if driver[share] >= LEAST_DRAWN / 2
        ]
        if not rows:
            return SafeString("")
        return charts.bars(
            "drivers",
            "What the range goes with",
            rows,
            axis="Parts in 100 of the spread",
            legend={"a": "of what grows", "b": "of the cost"},
        )

    @property
    def drivers(self) -> list[Answer]:
        return sorted(
            self.answer["drivers"],
            key=lambda driver: -(driver["share_of_species_spread"] + driver["share_of_cost_spread"]),
        )

    @cached_property
    def comparison_chart(self) -> SafeString:
        if self.comparison is None:
            return SafeString("")
        rows = [
            charts.Bar(
                option["name"],
                option["species_per_m2"]["p10"],
                option["species_per_m2"]["p50"],
                option["species_per_m2"]["p90"],
                words.between(
                    words.whole(option["species_per_m2"]["p10"]), words.whole(option["species_per_m2"]["p90"])
                ),
            )
            for option in self.comparison["options"]
        ]
        year = self.comparison["options"][0]["year"]
        return charts.bars(
            "ways",
            f"Species in a square metre by summer {year}, way by way",
            rows,
            axis=f"Species in a square metre, summer {year}; the stroke is the middle",
        )

    # ---------------------------------------------------------------- calendar and the rest

    @property
    def once(self) -> list[tuple[str, list[Answer]]]:
        """What is done once, day by day."""
        return self._by_day(every_year=False)

    @property
    def yearly(self) -> list[tuple[str, list[Answer]]]:
        """What is done every year, day by day."""
        return self._by_day(every_year=True)

    def _by_day(self, *, every_year: bool) -> list[tuple[str, list[Answer]]]:
        found: dict[str, list[Answer]] = {}
        for entry in self.answer["calendar"]:
            if entry["every_year"] is every_year:
                found.setdefault(words.days(entry["on"], entry["until"], every_year=every_year), []).append(entry)
        return list(found.items())

    @cached_property
    def year_chart(self) -> SafeString:
        rows = []
        for entry in self.answer["calendar"]:
            if entry["every_year"]:
                first = words.as_date(entry["on"])
                last = words.as_date(entry["until"] or entry["on"])
                rows.append(charts.Stretch(entry["label"], (first.month, first.day), (last.month, last.day)))
        return charts.year("year", "What is done every year", rows) if rows else SafeString("")

    @property
    def care(self) -> str:
        """The yearly care in one sentence."""
        plan = self.answer["plan"]
        cuts = words.listed(plan["cut_on"])
        text = f"{plan['regime_label']}" + (f": cut on {cuts}" if cuts else "")
        if cuts:
            text += f", cuttings {ARISINGS.get(plan['arisings'], plan['arisings'])}"
        if plan["grazing"] != "none":
            text += f", then grazed by {plan['grazing']}"
        if plan["refuge_share"]:
            text += f", {words.chance(plan['refuge_share']).removeprefix('about ')} left uncut each year"
        return text + "."

    @property
    def arisings_finding(self) -> str:
        arisings = self.answer["arisings"]
        if arisings["cuttings_t_per_year"]["p90"] == 0:
            text = "No cuttings are taken off in this plan."
        else:
            tonnes = arisings["cuttings_t_per_year"]
            heavy = tonnes["p90"] >= 1
            weight = (
                words.span(tonnes, "tonnes") if heavy else words.weight_span(tonnes["p10"] * 1000, tonnes["p90"] * 1000)
            )
            loose = words.span(arisings["cuttings_m3_per_year"], "m³")
            text = f"{words.opened(weight)} of cuttings a year, {loose} loose."
        if arisings["spoil_t"]:
            text += (
                f" Stripping leaves {words.span(arisings['spoil_t'], 'tonnes')} of spoil, "
                f"{words.span(arisings['spoil_m3'], 'm³')}."
            )
        return text

    @property
    def assumptions(self) -> list[dict[str, Any]]:
        return [
            {**entry, "confidence_words": CONFIDENCE.get(entry["confidence"], entry["confidence"])}
            for entry in self.answer["assumptions"]
        ]

    @property
    def recipe_line(self) -> str:
        """What it takes to make the answer again, for the foot of a sheet."""
        recipe = self.answer["recipe"]
        return (
            f"Made for {words.day(recipe['as_of'])} by Forbcast {recipe['release']}, model {recipe['model_version']}; "
            f"inputs {recipe['inputs_checksum'][:12]}, reference {recipe['reference_checksum'][:12]}, "
            f"seeds {recipe['random_seed']} and {recipe['world_seed']}, {recipe['draws']:,} draws."
        )


def share_words(lines: Iterable[Answer]) -> str:
    """Return "the strimmer between two people and the scarifier between four people"; empty if none need be."""
    people: dict[str, int] = {}
    for line in lines:
        number = line["share_between_people"]
        if number and number > 1:
            name = words.lowered(line["label"])
            people[name] = max(people.get(name, 0), number)
    return words.listed(
        f"the {name} between at least {words.counted(number)} people" for name, number in people.items()
    )


def cost_name(line: Answer) -> str:
    """Return a cost line's label, with its stage unless it is part of making the meadow."""
    stage = "" if line["stage"] == "setup" else f", {STAGES.get(line['stage'], line['stage'])}"
    return f"{line['label']}{stage}"


def packs(found: list[dict[str, float]]) -> str:
    """Return packs to buy: "1 of 500 g and 2 of 100 g"."""
    return words.listed(f"{pack['count']:.0f} of {words.weight(pack['kg'], 3)}" for pack in found)


def _name(taxon: Answer) -> str:
    return str(taxon["english_name"] or taxon["scientific_name"])


def _month_after(month: tuple[int, int], count: int) -> tuple[int, int]:
    year, index = divmod(month[0] * 12 + month[1] - 1 + count, 12)
    return year, index + 1


def axis_pounds(value: float) -> str:
    return f"£{words.figure(value)}"
