"""What a plan is worked out from, and the notes taken on the way: assumptions, warnings, reasons."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from math import floor
from typing import Final

from modelling.core.parameters import ParameterSet
from modelling.core.plan import Assumption, Plan, Site, Step, Warned
from modelling.core.seed import contents

RATTLE_TAXON: Final = "rhinanthus_minor"
INTEREST: Final = ("orchids", "waxcaps", "rich_turf")
PRACTICE: Final = "common practice"
MEMORY: Final = "from memory"
STRIPPING: Final = ("strip_turf_hand", "strip_turf_machine", "strip_turf_excavator")
SMOTHERING: Final = "smother_sheet"


@dataclass
class Brief:
    """A site, a plan as asked and a day, with the reference tables; gathers what was taken and what looks odd."""

    parameters: ParameterSet
    site: Site
    plan: Plan
    as_of: date
    assumptions: list[Assumption] = field(default_factory=list)
    warnings: list[Warned] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)

    def value(self, subject: str, quantity: str) -> float:
        """A rule of thumb of the planning table."""
        return self.parameters.value("planning", subject, quantity)

    def word(self, vocabulary: str, key: str) -> str:
        """The plain label of a key."""
        return self.parameters.nouns["vocabularies"][f"{vocabulary}:{key}"]["label"]

    def assume(self, where: str, label: str, value: str, confidence: str = PRACTICE) -> None:
        """Note something that was not given."""
        self.assumptions.append(Assumption(where, label, value, confidence))

    def warn(self, code: str, pointer: str, text: str) -> None:
        """Note something that the asker should look at again."""
        self.warnings.append(Warned(code, pointer, text))


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


def after_christmas(on: date, parameters: ParameterSet) -> bool:
    """Whether `on` is late in the winter for yellow rattle, though not too late."""
    month = int(parameters.value("planning", "window", "christmas_month"))
    day = int(parameters.value("planning", "window", "christmas_day"))
    last = int(parameters.value("planning", "window", "chill_late_month"))
    return ((on.month, on.day) > (month, day) or on.month <= last) and not sown_late(on, parameters)


def bare_after(parameters: ParameterSet, operations: list[str]) -> float:
    """Most likely bare share after several operations, each opening part of what the others left."""
    closed = 1.0
    for key in operations:
        found = parameters.find("operation_values", key, "bare_share")
        closed *= 1 - (0.0 if found is None else found.middle)
    return 1 - closed


def sown_classes(brief: Brief, steps: tuple[Step, ...]) -> set[str]:
    """Model classes of everything sown or planted."""
    taxa = {taxon for step in steps for item in step.seed or () for taxon in contents(brief.parameters, item)[0]}
    taxa |= {plug.taxon for step in steps for plug in step.plugs or ()}
    return {brief.parameters.nouns["taxa"][taxon]["model_class"] for taxon in taxa}


def has_short_lived(brief: Brief, steps: tuple[Step, ...]) -> bool:
    """Whether cornfield annuals are sown, or yellow rattle in time for its winter."""
    in_time = tuple(step for step in steps if not sown_late(step.on, brief.parameters))
    return "annual" in sown_classes(brief, steps) or "rattle" in sown_classes(brief, in_time)


def p_index_of(parameters: ParameterSet, olsen_p_mg_per_l: float) -> int:
    """Olsen P index 0 to 9 of a laboratory value, rounded to whole mg/l before classing as the bands are printed."""
    whole = floor(olsen_p_mg_per_l + 1 / 2)
    index = 0
    while True:
        band = parameters.find("soil_bands", "olsen_p", f"index_{index}")
        if band is None:
            return index - 1
        if band.high is None or whole <= band.high:
            return index
        index += 1
