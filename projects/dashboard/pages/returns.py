"""A yearly return in words and figures, beside the forecast of its summer, and a county's returns of a year."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any, Final

from django.utils import timezone
from django.utils.safestring import SafeString

from modelling.outcome_words import ATTRIBUTES
from projects.choices import CameBy, GroupRole, NetworkRole, ReturnState
from projects.contracts.returns import ReturnNew
from projects.dashboard import charts, words
from projects.models import Forecast, OutcomeReturn, ReturnStep, ReturnVersion
from projects.rules.due import Entry
from projects.selectors.returns import Judged, Sent, YearLine

_ROLES: Final = {**dict(GroupRole.choices), **dict(NetworkRole.choices)}
_STATES: Final = {
    ReturnState.SENT: "sent, and nobody has looked it through yet",
    ReturnState.CHECKING: "being checked",
    ReturnState.SENT_BACK: "sent back to the group",
    ReturnState.AGREED: "agreed",
}
_CAME: Final = {
    CameBy.FORM: "typed into the form",
    CameBy.SHEET: "as a spreadsheet",
    CameBy.FIELD_SHEET: "typed in from a field sheet",
    CameBy.API: "by a program",
}
#: what was done, as lists of work say it
_WORK: Final = {
    "cut": "cut", "collected": "cuttings taken off", "grazed": "grazed", "weeded": "weeded", "sown": "sown",
    "planted": "planted", "watered": "watered", "fenced": "fenced", "prepared": "ground prepared",
    "seed_gathered": "seed gathered", "other": "other work",
}  # fmt: skip
_GRADES: Final = {
    "learning": "somebody learning their plants",
    "knows_common": "somebody who knows the common plants",
    "knows_most": "somebody who knows most plants",
    "expert": "an expert",
}
_LAYOUTS: Final = {
    "random": "at random", "regular": "at even distances", "walk": "along a walk", "chosen": "where somebody chose",
    "fixed": "at the same marked spots every year",
}  # fmt: skip
_AGAINST: Final = {"before": "the walk before", "baseline": "before sowing", "control": "the unsown part"}
_FIGURES: Final = {
    "species_per_quadrat": "Kinds in a quadrat",
    "sown_species_per_quadrat": "Sown kinds in a quadrat",
    "rattle_plants_per_m2": "Plants of yellow rattle in 1 m²",
}
_FORECASTS: Final = {"if_kept": "if the plan is kept", "as_usual": "as groups usually manage"}
_ORDINALS: Final = ("", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")
_OPERATORS: Final = {
    "at_least": "at least", "more_than": "more than", "at_most": "at most", "less_than": "less than",
    "between": "between",
}  # fmt: skip
#: shares are told to the nearest so many hundredths
_ROUND_TO: Final = 5
Answer = Mapping[str, Any]


def one(value: float | None) -> str:
    """A figure of a survey with one decimal place; a dash where there is none."""
    return "–" if value is None else f"{value:.1f}"


def per_cent(share: float | None) -> str:
    """A share in whole per cent; a dash where there is none."""
    return "–" if share is None else f"{share * 100:.0f}{words.NARROW_SPACE}%"


def ends(found: Answer | None, times: float = 1, least: float | None = 0) -> str:
    """The ends of an interval; a dash where there is none."""
    if found is None or found["low"] is None:
        return "–"
    low = found["low"] if least is None else max(found["low"], least)
    return f"{one(low * times)} to {one(found['high'] * times)}".replace("-", "−")


def came_by(version: ReturnVersion) -> str:
    """How a version came, in words."""
    return _CAME[CameBy(version.came_by)]


class ReturnPage:
    """One return: its answer first, then what it rests on, then what was sent."""

    def __init__(
        self,
        row: OutcomeReturn,
        version: ReturnVersion,
        content: ReturnNew,
        judged: Judged | None,
        *,
        questions: int,
        names: int,
    ) -> None:
        self.row, self.version, self.content, self.judged = row, version, content, judged
        self.questions, self.names = questions, names
        self.found: dict[str, Any] | None = judged.read() if judged is not None else None

    @property
    def is_current(self) -> bool:
        return self.version.pk == self.row.current_id

    @property
    def sentence(self) -> str:
        """The answer first."""
        year = self.row.year
        if self.found is not None:
            part = self.found["sown_part"]
            mean = part["species_per_quadrat"]
            if not mean["sd"]:
                return str(self.found["sentences"][0])
            size = part["quadrat_area_m2"]
            area = "a square metre" if size == 1 else f"{words.figure(size)} m²"
            return (
                f"In {year}, {self.row.project.name} held {one(mean['mean'])} kinds of plant in {area}, on average "
                f"over {words.counted(part['quadrats'])} quadrats; over the whole meadow the average is very likely "
                f"between {one(max(mean['low'], 0))} and {one(mean['high'])}."
            )
        match self.content.answered:
            case "nothing_done":
                return f"In {year} nothing was done here, and nothing was looked at. That is an answer like any other."
            case "failed":
                return f"The group reports that the meadow failed in {year}. That is an answer like any other."
        return f"The return of {year} tells of work done; no plants were written down, so nothing can be judged."

    @property
    def further(self) -> list[str]:
        return [] if self.found is None else self.found["sentences"][1:]

    @property
    def standing(self) -> str:
        """How far it has come, and what waits."""
        state = ReturnState(self.row.state)
        text = f"The return of {self.row.year} is {_STATES[state]}"
        waits = waiting(self.questions, self.names)
        if waits:
            text += f"; {waits}"
        text += "."
        agreed = self.row.agreed
        if agreed is not None and agreed.pk != self.row.current_id:
            text += f" Version {agreed.number}, agreed before, counts until this one is agreed."
        return text

    @property
    def kept(self) -> str:
        """By which rules it was judged, and whether that was kept."""
        if self.judged is None or self.found is None:
            return ""
        recipe = self.found["recipe"]
        text = (
            f"Judged by Forbcast {recipe['release']}, results version {recipe['results_version']}, reference "
            f"{recipe['reference_checksum'][:12]}, inputs {self.judged.recipe['inputs_checksum'][:12]}, seed "
            f"{recipe['random_seed']}, {recipe['resamples']:,} resamples"
        )
        if self.judged.kept_at is None:
            return (
                f"{text}; worked out just now and not kept, because the rules, or the year before, have changed since "
                "the return was last sent, settled or agreed."
            )
        return f"{text}; kept on {words.day(timezone.localdate(self.judged.kept_at))}."

    # ------------------------------------------------------------ what was found

    @property
    def parts(self) -> list[Answer]:
        return [] if self.found is None else [p for p in (self.found["sown_part"], self.found["control_part"]) if p]

    @property
    def walked(self) -> str:
        """Who looked, when, and where the quadrats lay."""
        if self.found is None:
            return ""
        text = f"Walked on {words.day(self.found['on'])} by {_GRADES[self.found['grade']]}"
        layout = _LAYOUTS.get(self.found["layout"])
        return f"{text}; the quadrats were placed {layout}." if layout and self.parts[0]["quadrats"] else f"{text}."

    @cached_property
    def measures(self) -> list[dict[str, str]]:
        """A line for each measure and part: mean, spread, both intervals, quadrats."""
        rows: list[dict[str, str]] = []
        for part in self.parts:
            if not part["quadrats"]:
                continue
            where = " on the unsown part" if part["part"] == "control" else ""
            area = words.figure(part["quadrat_area_m2"])
            rows.append(
                self._measure(f"Kinds in {area} m²{where}", part["species_per_quadrat"])
                | {"bootstrap": ends(part["species_bootstrap"])}
            )
            for key, label, times, unit in (
                ("sown_species_per_quadrat", f"Sown kinds in {area} m²", 1, ""),
                ("bare_ground_share", "Bare ground", 100, "%"),
                ("litter_share", "Litter", 100, "%"),
                ("sward_height_m", "Height of the sward", 100, "cm"),
                ("rattle_plants_per_m2", "Plants of yellow rattle in 1 m²", 1, ""),
            ):
                if part[key] is not None:
                    rows.append(self._measure(label + where, part[key], times, unit))
            forbs = part["forb_cover"]["cover"]
            if forbs is not None:
                shown = {"mean": forbs["middle"], "sd": None, "n": part["quadrats"], "low": None, "high": None}
                row = self._measure(f"Cover of wildflowers and sedges{where}", shown, 100, "%")
                rows.append(row | {"interval": ends(forbs, 100), "detail": "ends: what the scale leaves open"})
        return rows

    @staticmethod
    def _measure(label: str, found: Answer, times: float = 1, unit: str = "") -> dict[str, str]:
        tail = f"{words.NARROW_SPACE}{unit}" if unit else ""
        mean = None if found["mean"] is None else found["mean"] * times
        return {
            "label": label,
            "mean": f"{one(mean)}{tail}",
            "sd": "–" if found["sd"] is None else one(found["sd"] * times),
            "interval": ends(found, times),
            "bootstrap": "–",
            "n": str(found["n"]),
        }

    @property
    def alike(self) -> bool:
        """Whether all quadrats held the same number of kinds."""
        return any(part["species_per_quadrat"]["sd"] == 0 for part in self.parts)

    @property
    def effort(self) -> str:
        """What so many quadrats can tell, and how many would tell what is wished."""
        effort = self.parts[0]["effort"] if self.parts else None
        if effort is None:
            return ""
        return (
            f"Two walks of {words.counted(self.parts[0]['quadrats'])} quadrats placed anew would have missed a change "
            f"of under {one(effort['smallest_change_species'])} kinds; for a mean known to "
            f"{words.figure(effort['half_width_species'])} kind either way it takes about "
            f"{words.counted(effort['quadrats_for_half_width'])} quadrats, and to see a change of "
            f"{words.figure(effort['change_species'])} kinds about {words.counted(effort['quadrats_for_change'])} in "
            "each walk."
        )

    @cached_property
    def changes(self) -> list[dict[str, str]]:
        """A line for each comparison: with the walk before, with before sowing, with the unsown part."""
        rows = []
        for change in self.found["changes"] if self.found else ():
            on = f", {words.day(change['on'])}" if change["on"] else ""
            difference = change["difference_species"]
            spots = change["spots"]
            rows.append(
                {
                    "against": f"{words.opened(_AGAINST[change['against']])}{on}",
                    "difference": "–" if difference is None else f"{difference:+.1f}".replace("-", "−"),
                    "interval": ends(change, least=None),
                    "bootstrap": ends(change["bootstrap"], least=None),
                    "smallest": one(change["smallest_change_species"]),
                    "how": f"missing: {change['missing']}"
                    if change["missing"]
                    else f"{words.counted(spots)} spots walked both times"
                    if spots
                    else "quadrats placed anew",
                    "lists": f"{per_cent(change['sorensen'])} and {per_cent(change['jaccard'])}",
                    "covers": per_cent(change["bray_curtis_likeness"]),
                }
            )
        return rows

    @property
    def pool(self) -> list[tuple[str, str]]:
        """Kinds seen and kinds there may be, diversity, nitrogen."""
        if not self.parts or not self.parts[0]["quadrats"]:
            return []
        part = self.parts[0]
        pool, nitrogen, hill = part["pool"], part["ellenberg_n"], part["diversity"]
        chao = pool["chao2_bias_corrected"]
        rows = [
            (
                "Kinds met in the quadrats",
                f"{pool['seen']}, {words.counted(pool['in_one_quadrat'])} of them in one quadrat only",
            ),
            ("Kinds that may be there, by Chao’s second estimator", "–" if chao is None else f"about {chao:.0f}"),
            (
                "The same by the first and second jackknife",
                f"{one(pool['jackknife_1'])} and {one(pool['jackknife_2'])}",
            ),
        ]
        rows.append(
            (
                "Effective kinds (Hill numbers of order 0, 1, 2)",
                ", ".join(one(hill[f"hill_{order}"]) for order in range(3))
                if hill
                else "not known: some plants were written down without a cover",
            )
        )
        if nitrogen["unweighted"] is not None:
            text = f"{one(nitrogen['unweighted'])}, from {nitrogen['kinds_used']} of {nitrogen['kinds']} kinds"
            if nitrogen["by_cover"] is not None:
                text += (
                    f"; weighted by cover {one(nitrogen['by_cover'])}, from {per_cent(nitrogen['cover_used_share'])}"
                )
                text += " of the cover"
            rows.append(("British Ellenberg N, 1 poor to 9 rich", text))
        return rows

    @property
    def accumulation(self) -> list[tuple[int, str]]:
        """Kinds expected in so many quadrats, at a few numbers of them."""
        found = self.parts[0]["accumulation"] if self.parts else []
        wanted = sorted({number for number in (1, 2, 3, 5, 10, 20, 50, 100, 200, len(found)) if number <= len(found)})
        return [(number, one(found[number - 1])) for number in wanted if number]

    @cached_property
    def frequency(self) -> list[dict[str, Any]]:
        """A line for each kind on the sown part."""
        rows = []
        for line in self.parts[0]["frequency"] if self.parts else ():
            share = line["share_of_quadrats"]
            rows.append(
                {
                    "name": words.opened(line["name"]),
                    "as_written": line["taxon"] is None,
                    "sown": line["sown"],
                    "quadrats": line["quadrats"],
                    "share": f"{per_cent(share['share'])} ({share['low'] * 100:.0f} to {share['high'] * 100:.0f})",
                    "fep": line["class_by_fep"],
                    "csm": line["class_by_csm"],
                    "cover": per_cent(line["mean_cover_share"]),
                }
            )
        return rows

    @property
    def only_on_site(self) -> list[str]:
        """Kinds of the list of the whole site that no quadrat held."""
        if self.found is None:
            return []
        there = {line["name"] for line in self.parts[0]["frequency"]}
        return [kind["name"] for kind in self.found["kinds_on_site"] if kind["name"] not in there]

    @property
    def met(self) -> list[str]:
        sown = self.found["sown"] if self.found else None
        return [kind["name"] for kind in sown["met"]] if sown else []

    @property
    def not_met(self) -> list[str]:
        sown = self.found["sown"] if self.found else None
        return [kind["name"] for kind in sown["not_met"]] if sown else []

    # ------------------------------------------------------------ rules

    @cached_property
    def verdicts(self) -> list[dict[str, Any]]:
        """What each published set of rules says that could be judged, with its rules."""
        return [self._verdict(v) for v in self._every_verdict if v["judged"]]

    @cached_property
    def not_judged(self) -> list[tuple[str, str]]:
        """Sets of rules that could not be judged, and what it would take."""
        return [
            (f"{v['label']}, version {v['version']}", words.listed(v["missing"]))
            for v in self._every_verdict
            if not v["judged"]
        ]

    @property
    def _every_verdict(self) -> list[Answer]:
        return [*self.found["classes"], *self.found["condition"]] if self.found else []

    def _verdict(self, verdict: Answer) -> dict[str, Any]:
        rules = [
            {
                "class": held["label"],
                "asked": f"{words.opened(ATTRIBUTES[rule['attribute']])}: {self._limit(rule)}",
                "found": self._amount(rule, rule["value"])
                if rule["value"] is not None
                else f"not known: {rule['missing']}",
                "held": {True: "holds", False: "does not hold", None: "cannot be said"}[rule["held"]],
            }
            for held in verdict["classes"]
            for rule in held["rules"]
        ]
        return {"sentence": verdict["sentence"], "key": verdict["rule_set"], "rules": rules}

    @staticmethod
    def _amount(rule: Answer, value: float) -> str:
        """What was found, in the unit of its rule."""
        return one(value) if rule["attribute"] == "species_per_m2" else ReturnPage._asked(rule, value)

    @staticmethod
    def _asked(rule: Answer, value: float) -> str:
        if rule["unit"] == "share":
            return per_cent(value)
        if rule["unit"] == "m":
            return f"{value * 100:.0f}{words.NARROW_SPACE}cm"
        return words.figure(value)

    def _limit(self, rule: Answer) -> str:
        start = _OPERATORS[rule["operator"]]
        if rule["operator"] == "between":
            return f"{start} {self._asked(rule, rule['threshold_low'])} and {self._asked(rule, rule['threshold_high'])}"
        return f"{start} {self._asked(rule, rule['threshold'])}" if rule["threshold"] is not None else start

    @cached_property
    def indicators(self) -> list[tuple[str, str, str, str]]:
        """Counts of indicator plants and weeds by each set of rules: what, rules, asked, counted."""
        found: dict[tuple[str, str, str], str] = {}
        for verdict in self._every_verdict:
            for held in verdict["classes"]:
                for rule in held["rules"]:
                    if rule["attribute"].startswith(("indicators_", "negatives_")) and rule["value"] is not None:
                        key = (words.opened(ATTRIBUTES[rule["attribute"]]), verdict["label"], self._limit(rule))
                        found.setdefault(key, self._amount(rule, rule["value"]))
        return [(*key, counted) for key, counted in found.items()]

    # ------------------------------------------------------------ what next

    @property
    def advice(self) -> list[Answer]:
        return self.found["advice"] if self.found else []

    # ------------------------------------------------------------ what was sent

    @cached_property
    def told(self) -> list[tuple[str, str]]:
        """What else the return tells, as it was written."""
        said = self.content
        rows = [
            (words.opened(_WORK[work.what]), "; ".join(filter(None, (
                words.day(work.on) if work.on else "", work.where_to, work.note
            ))))
            for work in said.work
        ]  # fmt: skip
        people = []
        if said.heads is not None:
            people.append(f"{words.counted(said.heads)} {words.plural(said.heads, 'person', 'people')}")
        if said.person_hours is not None:
            people.append(f"{words.figure(float(said.person_hours), 4)} person-hours")
        if said.machine_hours is not None:
            people.append(f"{words.figure(float(said.machine_hours), 4)} hours of machines")
        if said.cash_gbp is not None:
            people.append(f"£{float(said.cash_gbp):,.2f} spent")
        if people:
            rows.append(("Hands and money", words.listed(people)))
        rows += [
            (words.opened(event.kind), "; ".join(filter(None, (
                words.day(event.on) if event.on else "", f"{event.heads:,} came" if event.heads else ""
            ))))
            for event in said.gatherings
        ]  # fmt: skip
        if said.insects:
            rows.append(("Insects", ", ".join(f"{insect.name} ({insect.count:,})" for insect in said.insects)))
        texts = (
            ("In flower", said.flowering),
            ("Could not be done", said.missed),
            ("In the group’s words", said.narrative),
        )
        return rows + [(label, text) for label, text in texts if text]


def waiting(questions: int, names: int) -> str:
    """What waits in a return: questions not accepted, names not settled; empty where nothing does."""
    parts = []
    if questions:
        parts.append(f"{words.counted(questions)} {words.plural(questions, 'question is', 'questions are')} open")
    if names:
        parts.append(f"{words.counted(names)} {words.plural(names, 'name is', 'names are')} to settle")
    return words.listed(parts)


@dataclass(frozen=True)
class SentLine:
    """A version as it was sent."""

    sent: Sent
    counts: bool

    @property
    def version(self) -> ReturnVersion:
        return self.sent.version

    @property
    def who(self) -> str:
        """By whom, in which role, and by which way."""
        version = self.sent.version
        person = version.created_by
        role = words.lowered(_ROLES.get(self.sent.role, ""))
        name = str(person) if person is not None else "the service"
        text = f"{name}, {role}" if role else name
        if version.on_behalf:
            text += ", on behalf of the group"
        return f"{text}; {came_by(version)}"


@dataclass(frozen=True)
class StepLine:
    """What became of a return, in words."""

    step: ReturnStep

    @property
    def text(self) -> str:
        step = self.step
        who = f" by {step.created_by}" if step.created_by is not None else ""
        label = words.lowered(str(ReturnState(step.to_state).label))
        return f"Version {step.version_number} {label}{who}."


def coming_year(entries: Iterable[Entry], year: int) -> list[Entry]:
    """What the calendar has for the year after a return: what comes every year, and what has its day then."""
    return sorted(
        (entry for entry in entries if entry.every_year or entry.on.year == year + 1),
        key=lambda entry: (entry.on.month, entry.on.day),
    )


# ------------------------------------------------------------------ forecast against found


@dataclass(frozen=True)
class SummerFound:
    """One summer's walk beside the forecast for it."""

    outcome: OutcomeReturn
    on: date
    #: shaped as `ForecastFound`; None where the forecast was made after the walk
    found: Answer | None
    summer: int | None

    @property
    def species(self) -> Answer | None:
        figures = self.found["figures"] if self.found else ()
        return next((figure for figure in figures if figure["figure"] == "species_per_quadrat"), None)

    @property
    def why_not(self) -> str:
        if self.found is None:
            return f"The forecast was made after the walk of {words.day(self.on)}, so it foretold nothing."
        return str(self.found["why_not"])

    @property
    def name(self) -> str:
        """The second summer, 2028."""
        n = self.summer
        if n is None or n < 1:
            return f"The summer of {self.outcome.year}"
        ordinal = _ORDINALS[n] if n < len(_ORDINALS) else f"{n}th"
        return f"The {ordinal} summer, {self.outcome.year},"

    @property
    def sentence(self) -> str:
        """Where it fell in both forecasts, in one line."""
        figure = self.species
        if figure is None:
            return self.why_not or "No kinds in a quadrat were counted."
        kept, usual = figure["fans"]
        return (
            f"{self.name} came out {place(kept)} if the plan is kept, and {place(usual)} as groups usually manage: "
            f"{expectation(kept['place'], usual['place'])}."
        )

    @property
    def figures(self) -> list[dict[str, str]]:
        """A line for each figure and forecast."""
        rows = []
        for figure in self.found["figures"] if self.found else ():
            rows += [
                {
                    "figure": _FIGURES[figure["figure"]],
                    "found": f"{one(figure['found'])} ({one(figure['found_low'])} to {one(figure['found_high'])})",
                    "adjusted": one(figure["adjusted"])
                    + f" ({one(figure['adjusted_low'])} to {one(figure['adjusted_high'])})",
                    "forecast": _FORECASTS[fan["forecast"]],
                    "range": f"{one(fan['p50'])} ({one(fan['p10'])} to {one(fan['p90'])})",
                    "place": words.opened(place(fan)),
                }
                for fan in figure["fans"]
            ]
        return rows


def place(fan: Answer) -> str:
    """Where a finding lies in one forecast: higher than about 70 in 100 of what was forecast."""
    if fan["place"] == "below":
        return "lower than 9 in 10 of what was forecast"
    if fan["place"] == "above":
        return "higher than 9 in 10 of what was forecast"
    share = round(fan["quantile"] * 100 / _ROUND_TO) * _ROUND_TO
    return f"higher than about {share} in 100 of what was forecast"


def expectation(kept: str, usual: str) -> str:
    """What the places in both forecasts come to."""
    if kept in ("in_half", "in_80"):
        return "inside what was expected"
    if kept == "above":
        return "more than was expected"
    return "less than was expected" if usual == "below" else "less than was expected of a kept plan, but not of groups"


class FoundPage:
    """What was found, summer by summer, on the forecast that was stored before."""

    def __init__(
        self, forecast: Forecast | None, answer: Answer | None, summers: Sequence[SummerFound], *, fixed: bool
    ) -> None:
        self.forecast, self.answer, self.summers, self.fixed = forecast, answer, summers, fixed

    @property
    def comparable(self) -> list[SummerFound]:
        return [summer for summer in self.summers if summer.species is not None]

    @property
    def finding(self) -> str:
        """One line above the chart."""
        if self.forecast is None:
            return "No forecast was stored before the first walk, so there is nothing to hold the walks against."
        if not self.comparable:
            return " ".join(dict.fromkeys(summer.sentence for summer in self.summers))
        return self.comparable[-1].sentence

    @property
    def left_out(self) -> list[str]:
        """Walks that could not be compared, with the reason."""
        if not self.comparable:
            return []
        return [f"{summer.outcome.year}: {summer.sentence}" for summer in self.summers if summer.species is None]

    @property
    def made(self) -> str:
        return words.day(timezone.localdate(self.forecast.created_at)) if self.forecast else ""

    @property
    def detection(self) -> str:
        """How the surveyor's grade was allowed for."""
        found = next((summer.found for summer in reversed(self.comparable)), None)
        if found is None:
            return ""
        return (
            f"{found['assumed_of_forecast']} Other grades overlook more, so what was found is divided by the share "
            f"that they find ({found['detection_confidence']}: {found['detection_source']})."
        )

    @cached_property
    def chart(self) -> SafeString:
        if self.answer is None or not self.comparable:
            return SafeString("")
        growth = self.answer["establishment"]
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
            for kept, usual in zip(growth["if_kept"]["by_year"], growth["as_usual"]["by_year"], strict=True)
        ]
        walked = [
            charts.Walked(
                str(summer.outcome.year), figure["found"], figure["adjusted_low"], figure["adjusted"],
                figure["adjusted_high"],
            )
            for summer in self.comparable
            if (figure := summer.species) is not None
        ]  # fmt: skip
        return charts.fan(
            "found",
            "Species forecast and found, summer by summer",
            rows,
            y_title=f"Species in {words.figure(growth['quadrat_area_m2'])} m²",
            main="Forecast if the plan is kept",
            other="Forecast as groups usually manage",
            lines={9: "nine species", 15: "fifteen species"},
            walked=walked,
        )


def summer_number(answer: Answer, year: int) -> int | None:
    """Which summer of a forecast a calendar year is; None outside it."""
    rows = answer["establishment"]["if_kept"]["by_year"]
    return next((int(row["year"]) for row in rows if row["calendar_year"] == year), None)


# ------------------------------------------------------------------ a county's year


#: how far a return has come, for the list of a year
STATES: Final = (
    ("missing", "Not sent yet"),
    ("sent", "Sent, to be checked"),
    ("checking", "Being checked"),
    ("sent_back", "Sent back"),
    ("agreed", "Agreed"),
    ("questions", "With questions open"),
    ("names", "With names to settle"),
)


class YearPage:
    """The returns of one year, in one sentence and as lines."""

    def __init__(self, year: int, lines: Sequence[YearLine], today: date) -> None:
        self.year, self.lines, self.today = year, lines, today

    def fitting(self, *, state: str, group: str, district: str) -> list[ReturnLine]:
        """Lines that fit a filter; empty words ask for all."""

        def fits(line: YearLine) -> bool:
            where = line.project.site.district
            if state == "questions" and not line.questions:
                return False
            if state == "names" and not line.names:
                return False
            if state not in ("", "questions", "names") and line.state != state:
                return False
            if group and str(line.project.group.public_id) != group:
                return False
            return not district or (where is not None and str(where.public_id) == district)

        return [ReturnLine(line) for line in self.lines if fits(line)]

    @property
    def sentence(self) -> str:
        """How many have come and how many are awaited, in one sentence."""
        if not self.lines:
            return f"No meadow had a summer to tell of in {self.year}."
        missing = [line for line in self.lines if line.outcome is None]
        there = len(self.lines) - len(missing)
        text = f"Of {words.counted(len(self.lines))} {words.plural(len(self.lines), 'meadow', 'meadows')}, "
        have = words.plural(max(there, 1), "has", "have")
        text += f"{words.counted(there) if there else 'none'} {have} told of {self.year}"
        by_state = [
            (sum(line.state == state for line in self.lines), what)
            for state, what in (
                ("agreed", "agreed"),
                ("sent_back", "sent back"),
                ("checking", "being checked"),
                ("sent", "to be checked"),
            )
        ]
        parts = [f"{words.counted(n)} {what}" for n, what in by_state if n]
        if parts:
            text += f" ({words.listed(parts)})"
        if missing:
            n = len(missing)
            late = " and are overdue" if n > 1 else " and is overdue"
            text += f"; {words.counted(n)} {words.plural(n, 'has', 'have')} not"
            text += late if all(line.late for line in missing) else ""
        text += "."
        waits = waiting(sum(line.questions for line in self.lines), sum(line.names for line in self.lines))
        return f"{text} {words.opened(waits)}." if waits else text


@dataclass(frozen=True)
class ReturnLine:
    """A meadow and its return of a year."""

    line: YearLine

    @property
    def address(self) -> str:
        if self.line.outcome is None:
            return f"/projects/{self.line.project.public_id}/"
        return f"/returns/{self.line.outcome.public_id}/"

    @property
    def state(self) -> str:
        if self.line.outcome is None:
            return "Overdue" if self.line.late else "Not sent yet"
        label = str(ReturnState(self.line.outcome.state).label)
        agreed = self.line.outcome.agreed
        if agreed is not None and agreed.pk != self.line.outcome.current_id:
            label += f"; version {agreed.number} counts"
        return label

    @property
    def waits(self) -> str:
        return words.opened(waiting(self.line.questions, self.line.names))

    @property
    def district(self) -> str:
        where = self.line.project.site.district
        return where.name if where is not None else ""
