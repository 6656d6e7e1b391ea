"""What is said of a sharing: who gets what, who goes without and why, and what would change it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Final

from modelling import wording
from modelling.contracts import share_out as contract
from modelling.core import share_out as core
from modelling.share_out_parts import Parts

_G_PER_KG: Final = 1000
_MG_PER_G: Final = 1000
_NAMED: Final = 3


def weight(mg: float) -> str:
    """An amount of seed: "2.4 kg", "350 g"."""
    grams = mg / _MG_PER_G
    if grams >= _G_PER_KG:
        return f"{wording.figure(grams / _G_PER_KG, 3)} kg"
    return f"{wording.figure(grams, 3)} g"


def value(amount: float, objective: str) -> str:
    """A value in the unit of the objective."""
    if objective == "area":
        return f"{wording.figure(amount)} m² of species-rich ground"
    return f"{wording.figure(amount)} of one project's whole gain"


def half_days(number: int) -> str:
    """One half-day, two half-days."""
    return f"{wording.count(number)} half-day{'' if number == 1 else 's'}"


def projects(number: int) -> str:
    """One project, two projects."""
    return f"{wording.count(number)} project{'' if number == 1 else 's'}"


def named(parts: Parts, ids: Sequence[str]) -> str:
    """A few names, and how many more."""
    words = [parts.project[key].label if key in parts.project else parts.source[key].label for key in ids]
    if len(words) <= _NAMED:
        return wording.joined(words)
    return wording.joined([*words[:_NAMED], f"{wording.count(len(words) - _NAMED)} more"])


def span(first: date, last: date) -> str:
    """12 July 2027; 12 July 2027 to 20 July 2027."""
    return wording.day(first) if first == last else f"{wording.day(first)} to {wording.day(last)}"


def answer(parts: Parts, served: int, given_mg: int, days: int, chance: float, gain_m2: float) -> str:
    """The answer in one sentence or two."""
    every = len(parts.question.projects)
    seed = f"{weight(given_mg)} of seed goes to {wording.count(served)} of {projects(every)}"
    brings = f"which can be expected to bring {wording.figure(gain_m2)} m² of species-rich ground more than without"
    if not given_mg:
        return f"No seed can be shared out among {projects(every)}."
    work = ""
    if days:
        work = (
            f" It needs {half_days(days)} of the harvester, and there is {wording.chance(chance)} that the weather "
            "allows all of them."
        )
    return f"{seed}, {brings}.{work}"


def project(asked: contract.HopefulProject, mg: int, gain: float) -> str:
    """What one project gets."""
    whole = " all that it asked for" if mg >= asked.most_mg else f" {wording.percent(mg / asked.most_mg)} of its target"
    return f"{asked.label} gets {weight(mg)},{whole}: about {wording.figure(gain)} m² of species-rich ground from it."


def pin_fault(parts: Parts, over: core.Over) -> contract.PinFault:
    """Where the pins cannot be held."""
    if over.limit in (core.HARVEST, core.DAYS):
        by, amount = over.by, half_days(over.by)
    else:
        by = over.by * parts.step
        amount = weight(by)
    if over.limit == core.DAYS:
        first, last = (date.fromisoformat(day) for day in over.of.split("/"))
        text = f"The harvests promised for {span(first, last)} need {amount} more than can be counted on."
    elif over.limit == core.HARVEST:
        text = f"The harvest of {parts.source[over.of].label} would need {amount} more than was allowed for it."
    elif over.limit == core.DONOR:
        rests = parts.rests_until(over.of)
        text = f"More is promised of {parts.donor[over.of].label} than may be taken, by {amount}."
        if rests is not None:
            text += f" It rests until {rests}."
    elif over.limit == core.TARGET:
        text = f"{parts.project[over.of].label} is promised {amount} more than its target."
    else:
        text = f"More is promised of {parts.source[over.of].label} than there is, by {amount}."
    return contract.PinFault.model_validate({"limit": over.limit, "of": over.of, "by": by, "sentence": text})


# ------------------------------------------------------------------ who goes without


def nearest(parts: Parts, project_id: str, against: Sequence[str]) -> str | None:
    """The nearest source against which nothing but these rules speaks."""
    found = [
        (parts.km(source.id, project_id) or 0.0, source.id)
        for source in parts.sources
        if set(parts.against(source.id, project_id)) <= set(against)
    ]
    return min(found)[1] if found else None


def out_of_reach(parts: Parts, project_id: str) -> tuple[str, list[contract.WouldChange]]:
    """Everything that suits is too far."""
    suited = nearest(parts, project_id, ["out_of_reach"])
    any_at_all = nearest(parts, project_id, ["out_of_reach", "habitat"])
    if any_at_all is None:
        return "There is no seed to share.", []
    near = suited or any_at_all
    km = parts.km(near, project_id) or 0.0
    what = "The nearest seed that suits it" if suited else "The nearest seed"
    reach = f"{wording.figure(parts.reach_km)} km"
    text = f"{what} is {parts.source[near].label}, {wording.figure(km)} km away; seed is taken {reach} at most."
    if suited is None:
        return text, [_change("seed", "A donor meadow nearby of a kind that suits the ground would change it.")]
    return text, [
        _change("reach", f"A reach of {wording.figure(km + 1 / 2)} km instead of {reach} would bring it within reach."),
        _change("pin", f"The coordinator may hold {parts.source[near].label} for it all the same."),
    ]


def habitat(parts: Parts, project_id: str) -> tuple[str, list[contract.WouldChange]]:
    """What is within reach does not suit."""
    kinds = sorted({parts.source[s.id].habitat or "" for s in parts.sources if near_enough(parts, s.id, project_id)})
    suits = wording.joined(list(parts.project[project_id].suits or ())) or "no kind"
    text = f"The seed within its reach is from {wording.joined(kinds)} ground; what suits its own is {suits}."
    return text, [_change("seed", f"Seed within reach from {suits} ground would change it.")]


def near_enough(parts: Parts, source: str, project_id: str) -> bool:
    """Whether a source is within reach, whatever grows there."""
    return "out_of_reach" not in parts.against(source, project_id)


def resting(parts: Parts, sources: Sequence[str]) -> tuple[str, list[contract.WouldChange]]:
    """Every meadow that would do is spent or at rest."""
    changes, until = [], []
    for key in sources:
        harvest = parts.source[key].harvest
        free = parts.rests_until(harvest.donor) if harvest is not None else None
        if harvest is not None and free is not None:
            until.append((free, parts.donor[harvest.donor].label))
    if until:
        year, label = min(until)
        changes.append(_change("rest", f"{label} may be harvested again from {year} on."))
    names = named(parts, sources)
    return f"What would suit it is used up or at rest this year: {names}.", changes


def _change(what: str, sentence: str) -> contract.WouldChange:
    return contract.WouldChange.model_validate({"what": what, "sentence": sentence})


def change(what: str, sentence: str) -> contract.WouldChange:
    """One thing that would change it."""
    return _change(what, sentence)
