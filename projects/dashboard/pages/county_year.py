"""A county's year as a report: the answer first, then the ground, what grows, whether it is on course, money, hours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from urllib.parse import urlencode

from django.utils.safestring import SafeString

from modelling.county import SOURCES
from modelling.release import RELEASE
from projects.choices import Course, Stage, SwardClass
from projects.dashboard import charts, words
from projects.dashboard.pages.county import SiteLine, site_point
from projects.models import Network
from projects.rules import aggregates as rules
from projects.rules.aggregates import Line
from projects.selectors.aggregates import OF_MISSING, OF_PRIVATE
from projects.selectors.county_year import ORDER, StageYear

#: kinds in a square metre at which the rules for permanent grassland begin to call a sward semi-improved and rich
LINES: Final = {9.0: "9: semi-improved", 15.0: "15: species-rich"}
#: stages with seed in the ground
_GROWING: Final = (Stage.SOWN, Stage.AFTERCARE, Stage.RESOWN)
#: rows of sites that are shown at first
SITES_SHOWN: Final = 60


@dataclass(frozen=True)
class AgeRow:
    """Meadows of one age in words, for the table behind the chart."""

    age: str
    sites: int
    summers: int
    found: str
    forecast: str


@dataclass(frozen=True)
class SiteFound:
    """A site of the map and its table: where, which stage, and what its last walk found."""

    line: SiteLine
    found: str


class CountyYearPage:
    """One year of a county over its open sites; `lines` are all summers up to it."""

    def __init__(
        self,
        network: Network,
        year: int,
        lines: Sequence[Line],
        stages: Sequence[StageYear],
        filters: Mapping[str, str],
        as_of: datetime | None,
        private: Sequence[Mapping[str, Any]],
        exact: Sequence[Line] | None = None,
        *,
        over: bool = True,
    ) -> None:
        self.network, self.year, self.lines, self.stages = network, year, lines, stages
        self.filters, self.as_of, self.exact, self.over = filters, as_of, exact, over
        self.private = next((row for row in private if row["year"] == year), None)
        self.now = [line for line in lines if line.year == year]
        self.counts = rules.counts(self.now)

    def _figure(self, name: str, *, exact: bool = False) -> dict[str, Any]:
        lines = [line for line in self.exact or () if line.year == self.year] if exact else self.now
        return rules.figure(name, lines, exact=exact, raw=True)

    # -------------------------------------------------------------- the sentence

    @property
    def sentence(self) -> str:
        """The year in one sentence."""
        counts = self.counts
        where = f"In {self.year} {self.network.name} had"
        if not counts["meadows"]:
            return f"{where} no meadow with a summer to tell of that fits and that everybody may see."
        text = f"{where} {self._meadows(counts)} on {self._ha(self._figure('hectares')['total'])}"
        if not counts["told"]:
            return f"{text}; no return of that summer is agreed yet."
        species = self._figure("species_per_m2")["site_as_unit"]
        text += f"; {words.counted(counts['told'])} told of their summer"
        if species:
            text += f", with {self._estimate(species)} kinds of plant in a square metre"
        share = self._figure("on_course")["share"]
        if share:
            on, known = self._on_course()
            verb = words.plural(on, "is", "are")
            text += f"; {words.counted(on)} of {words.counted(known)} held against a forecast {verb} on course"
        return f"{text}."

    def _meadows(self, counts: Mapping[str, int]) -> str:
        return f"{words.counted(counts['meadows'])} {words.plural(counts['meadows'], 'meadow')}"

    @staticmethod
    def _ha(hectares: float) -> str:
        return words.area(hectares * 10_000)

    @staticmethod
    def _estimate(found: Mapping[str, Any]) -> str:
        middle = f"{found['estimate']:.1f}"
        if found["low"] is None:
            return f"{middle} (one site, so nobody knows how sure)"
        return f"{middle} ({max(found['low'], 0.0):.1f} to {found['high']:.1f})"

    @property
    def missing_words(self) -> str:
        """What is not known, and that it is not none."""
        parts = []
        if self.counts["missing"]:
            n = self.counts["missing"]
            parts.append(f"{words.counted(n)} {words.plural(n, 'return is', 'returns are')} missing")
        if self.counts["awaited"]:
            n = self.counts["awaited"]
            parts.append(f"{words.counted(n)} may still come or {words.plural(n, 'waits', 'wait')} to be agreed")
        return f"{words.opened(words.listed(parts))}: that is not known, and is not counted as none." if parts else ""

    @property
    def exact_sentence(self) -> str:
        """With private sites, for coordinators."""
        if self.exact is None:
            return ""
        lines = [line for line in self.exact if line.year == self.year]
        counts = rules.counts(lines)
        if not counts["meadows"]:
            return "Private sites counted in, there is none either."
        ground = self._ha(rules.ground_dm2(lines) / rules.DM2_PER_HA)
        return (
            f"Private sites counted in: {self._meadows(counts)} on {ground}, {words.counted(counts['told'])} told of."
        )

    @property
    def private_words(self) -> str:
        """The one number told of private sites."""
        if self.private is None:
            return OF_PRIVATE
        if self.private["meadows"] is None:
            return f"Private sites: too few had a meadow in {self.year} to say how many. {OF_PRIVATE}"
        return f"Private sites: about {self.private['meadows']} more meadows in {self.year}. {OF_PRIVATE}"

    # -------------------------------------------------------------- ground

    @property
    def stage_words(self) -> list[tuple[str, str]]:
        """Keys and labels of the stages that any year has."""
        there = {stage for row in self.stages for stage, hectares in row.hectares.items() if hectares}
        return [(stage, str(Stage(stage).label)) for stage in ORDER if stage in there]

    @property
    def stage_rows(self) -> list[tuple[int, list[str], str]]:
        """Ground by year and stage."""
        found = []
        for row in self.stages:
            cells = [self._cell(row.hectares.get(stage, 0.0)) for stage, _ in self.stage_words]
            found.append((row.year, cells, self._cell(sum(row.hectares.values()))))
        return found

    @staticmethod
    def _cell(hectares: float) -> str:
        return words.figure(hectares, 3) if hectares else "–"

    @property
    def ground_finding(self) -> str:
        growing = [(row.year, self._growing(row)) for row in self.stages]
        when, verb = (f"At the end of {self.year}", "was") if self.over else ("Today", "is")
        if not growing or not growing[-1][1]:
            return f"{when} no seed {verb} in the ground."
        text = f"{when} seed {verb} in the ground on {self._ha(growing[-1][1])} of live meadow"
        before = growing[-2][1] if len(growing) > 1 else 0.0
        return f"{text}; a year before it was {self._ha(before)}." if before else f"{text}."

    @staticmethod
    def _growing(row: StageYear) -> float:
        return sum(row.hectares.get(stage, 0.0) for stage in _GROWING)

    @property
    def ground_chart(self) -> SafeString:
        """Ground with seed in it, by year."""
        rows = [
            charts.Bar(str(row.year), 0.0, None, self._growing(row), f"{words.figure(self._growing(row), 3)} ha")
            for row in self.stages
        ]
        return charts.bars(
            "ground-by-year", "Ground with seed in it, by year", rows, axis="Hectares sown, in aftercare or sown again"
        )

    @property
    def class_rows(self) -> list[tuple[str, str]]:
        """Ground by what its walk found."""
        found = self._figure("sward_classes")["hectares"]
        labels = {
            **{key: str(label) for key, label in SwardClass.choices},
            "no_return": "No agreed return of this summer",
        }
        return [(labels[key], self._ha(hectares)) for key, hectares in found.items() if hectares]

    # -------------------------------------------------------------- what grows

    @property
    def _by_age(self) -> list[tuple[int, list[Line]]]:
        ages: dict[int, list[Line]] = {}
        for line in self.lines:
            if line.age is not None and line.sums is not None and line.sums.quadrats:
                ages.setdefault(line.age, []).append(line)
        return sorted(ages.items())

    @property
    def age_rows(self) -> list[AgeRow]:
        """Kinds in a square metre by age, found beside forecast."""
        rows = []
        for age, lines in self._by_age:
            found = rules.mean_of("species_per_m2", lines, 0)["site_as_unit"]
            forecast = rules.forecast_of(lines)
            told = "–" if forecast is None else f"{forecast[0]:.1f} to {forecast[2]:.1f}, middle {forecast[1]:.1f}"
            rows.append(AgeRow(str(age), found["sites"], len(lines), self._estimate(found), told))
        return rows

    @property
    def age_chart(self) -> SafeString:
        """The same, drawn."""
        rows = []
        for age, lines in self._by_age:
            found = rules.mean_of("species_per_m2", lines, 0)["site_as_unit"]
            rows.append(
                charts.AgeFound(str(age), found["estimate"], found["low"], found["high"], rules.forecast_of(lines))
            )
        title = "Kinds in a square metre by years since sowing"
        y_title = "Kinds of plant in a square metre"
        return charts.ages("kinds-by-age", title, rows, y_title=y_title, x_title="Years since sowing", lines=LINES)

    @property
    def age_finding(self) -> str:
        rows = self._by_age
        if not rows:
            return "No square metre was counted in a meadow whose age is known."
        age, lines = rows[-1]
        found = rules.mean_of("species_per_m2", lines, 0)["site_as_unit"]
        years = f"{words.counted(age)} {words.plural(age, 'year')} after sowing" if age else "in the year of sowing"
        text = f"The oldest meadows counted, {years}, hold {self._estimate(found)} kinds in a square metre"
        forecast = rules.forecast_of(lines)
        return f"{text}; {forecast[1]:.1f} were forecast." if forecast else f"{text}."

    # -------------------------------------------------------------- on course

    def _on_course(self) -> tuple[int, int]:
        meadows = self._figure("on_course")["meadows"]
        on = meadows[Course.ON_COURSE] + meadows[Course.AHEAD]
        return on, on + meadows[Course.BEHIND]

    @property
    def course_rows(self) -> list[tuple[str, int]]:
        """Meadows by where they stand."""
        found = self._figure("on_course")["meadows"]
        labels = {
            **{key: str(label) for key, label in Course.choices},
            "no_return": "No return, though its time is over",
        }
        return [(labels[key], count) for key, count in found.items()]

    @property
    def course_finding(self) -> str:
        found = self._figure("on_course")
        if found["share"] is None:
            return "No meadow could be held against a forecast of this summer."
        share = found["share"]
        text = f"{words.opened(words.odds(share['share']))} meadows that could be held against a forecast are on course"
        text += f" ({words.figure(share['low'] * 100)} to {words.figure(share['high'] * 100)} in 100)"
        if found["meadows"]["no_return"] and found["if_missing_had_failed"] is not None:
            text += f"; if all those without a return had failed, {words.odds(found['if_missing_had_failed'])}"
        return f"{text}."

    # -------------------------------------------------------------- money and hours

    @property
    def exactly(self) -> bool:
        """Whether money is told exactly, with private sites, to the network's coordinators."""
        return self.exact is not None

    @property
    def money_rows(self) -> list[tuple[str, str, str]]:
        """What, how much, and on how many summers it rests."""
        labels = (
            ("cash_gbp", "Cash"), ("in_kind_gbp", "Given in kind"), ("person_hours", "Hours of work"),
            ("machine_hours", "Hours of machines"), ("heads", "People who helped, each time counted"),
            ("events", "Gatherings"), ("event_heads", "People who came to gatherings"),
            ("cash_gbp_per_hectare", "Cash for each hectare"),
            ("cash_gbp_per_species_rich_hectare", "Cash for each species-rich hectare"),
        )  # fmt: skip
        rows = []
        for name, label in labels:
            found = self._figure(name, exact=self.exactly)
            value = found.get("total", found.get("value"))
            rests = f"{words.counted(found['summers_counted'])} told"
            if found.get("summers_silent"):
                rests += f", {words.counted(found['summers_silent'])} did not"
            told = "for coordinators only" if found["withheld"] else "not known"
            rows.append((label, told if value is None else self._amount(name, value), rests))
        return rows

    @staticmethod
    def _amount(name: str, value: float) -> str:
        return f"£{words.whole(value)}" if name.startswith(("cash", "in_kind")) else words.figure(value, 3)

    @property
    def money_finding(self) -> str:
        found = self._figure("cash_gbp", exact=self.exactly)
        hours = self._figure("person_hours", exact=self.exactly)
        if found["withheld"]:
            return "Fewer than three groups told of money, too few to say the sum without telling of one."
        if found["total"] is None:
            return "Nobody told of money."
        text = f"£{words.whole(found['total'])} in cash"
        if hours["total"]:
            text += f" and {words.whole(hours['total'])} hours of work"
        told = f"{words.counted(found['summers_counted'])} {words.plural(found['summers_counted'], 'meadow')}"
        text += f" went into the {told} that told of it"
        if found["summers_silent"]:
            text += f"; {words.counted(found['summers_silent'])} did not, so the whole is more"
        return f"{text}."

    # -------------------------------------------------------------- how it was made

    def call(self, measures: str, by: str = "", *, whole: bool = False) -> str:
        """The API's address of a figure."""
        query = {"network": str(self.network.public_id), "measures": measures, **({"by": by} if by else {})}
        query |= {"year_to": str(self.year)} if whole else {"year": str(self.year)}
        return f"/api/v1/aggregates/?{urlencode(query | dict(self.filters))}"

    @property
    def calls(self) -> dict[str, str]:
        """Of each part of the report the call that gives its figures."""
        return {
            "ground": self.call("hectares,sward_classes,species_rich_hectares", "stage"),
            "grows": self.call("species_per_m2", "years_since_sowing", whole=True),
            "course": self.call("on_course"),
            "money": self.call(
                "cash_gbp,in_kind_gbp,person_hours,machine_hours,heads,events,event_heads,cash_gbp_per_hectare,"
                "cash_gbp_per_species_rich_hectare"
            ),
        }

    @property
    def sources(self) -> tuple[str, ...]:
        return SOURCES

    @property
    def about_missing(self) -> str:
        return OF_MISSING

    @property
    def recipe_line(self) -> str:
        """What the report was made from."""
        when = "no return is agreed" if self.as_of is None else f"figures as of {words.day(self.as_of.date())}"
        return f"{self.network.name}, {self.year}: {when}. Forbcast {RELEASE}."


def sites_found(lines: Sequence[SiteLine], found: Mapping[int, Line]) -> list[SiteFound]:
    """Sites with what their last walk found."""
    rows = []
    for line in lines:
        told = found.get(line.site.pk)
        said = "no agreed return"
        if told is not None and told.sums is not None:
            said = f"{SwardClass(told.sums.sward_class).label}, {told.year}"
        rows.append(SiteFound(line, said))
    return rows


def year_map(base: Mapping[str, Any], rows: Sequence[SiteFound]) -> dict[str, Any]:
    """The map of the county with what was found; places no more precise than anybody may see."""
    points = [site_point(row.line) | {"found": row.found} for row in rows if row.line.place.geometry is not None]
    return {**base, "sites": points}
