"""A judged survey in plain sentences. A statutory class is named with its rule and version, and nothing is graded."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from modelling import wording
from modelling.selectors import parameters

_PLACES: Final = {
    "below": "below eight in ten of what was forecast",
    "in_half": "within the middle half of what was forecast",
    "in_80": "within eight in ten but outside the middle half of what was forecast",
    "above": "above eight in ten of what was forecast",
}
_THREE_PLACES: Final = {**_PLACES, "in_80": "within eight in ten of what was forecast"}
_FIGURES: Final = {
    "species_per_quadrat": "kinds in a quadrat",
    "sown_species_per_quadrat": "sown kinds in a quadrat",
    "rattle_plants_per_m2": "plants of yellow rattle in a square metre",
}
_FORECASTS: Final = {"if_kept": "if the plan is kept", "as_usual": "as groups usually manage"}
FORECAST_ASSUMES: Final = (
    "The forecasts count what an experienced recorder finds: every kind in the quadrat but slow plants out of flower, "
    "of which about a third are seen."
)
#: what rules ask for, in words
ATTRIBUTES: Final = {
    "species_per_m2": "kinds of plant in a square metre",
    "wildflower_cover": "cover of wildflowers and sedges",
    "ryegrass_clover_cover": "cover of rye-grass and white clover",
    "herb_share_of_sward": "the share of the sward that is no grass",
    "abundant_native_grasses": "abundant grasses not sown for grazing",
    "indicators_present": "indicator plants present",
    "indicators_frequent": "indicator plants that are frequent",
    "indicators_occasional": "further indicator plants that are occasional",
    "points_with_indicators": "points with enough indicator plants",
    "negatives_frequent": "weeds that are more than occasional",
    "negatives_cover": "cover of weeds",
    "litter_cover": "cover of litter",
    "bare_ground": "bare ground",
    "sward_height": "height of the sward",
    "scrub_cover": "cover of scrub",
    "extent_lost": "ground lost",
    "fritillary_extent": "extent of flowering fritillaries",
    "soil_p_index": "the soil's phosphorus index",
}
_COVER_CLASSES: Final = {
    "under_10": "under a tenth", "from_10_to_30": "a tenth to three tenths", "over_30": "over three tenths",
}  # fmt: skip
_LAYOUTS: Final = {
    "chosen": (
        "The spots were chosen, not placed at random: the figures are of those spots, and the meadow as a whole may "
        "differ."
    ),
    "walk": (
        "The quadrats lie along a walk, not at random: the intervals hold only so far as the walk passes every kind "
        "of ground."
    ),
    "not_said": "How the quadrats were placed is not said; the intervals take them as placed at random.",
}
_GRADES: Final = {
    "learning": "The surveyor was learning: expect a good many kinds to have been overlooked.",
    "knows_common": "The surveyor knew the common plants: some kinds were surely overlooked.",
}


def one(value: float) -> str:
    """One decimal place."""
    return f"{value:.1f}"


def percent(share: float) -> str:
    """A share in whole per cent."""
    return f"{share * 100:.0f} %"


def _quadrats(n: int) -> str:
    word = wording.count(n)
    return f"{word[:1].upper()}{word[1:]} quadrat{'' if n == 1 else 's'}"


def _kinds(n: int) -> str:
    return f"{wording.count(n)} kind{'' if n == 1 else 's'}"


def sentences(results: Mapping[str, Any]) -> list[str]:
    """What was found, most telling first."""
    part = results["sown_part"]
    out = [part_sentence(part), *_pool(results)]
    if results["control_part"] is not None:
        out.append(part_sentence(results["control_part"]).replace(" held ", " on the unsown part held ", 1))
    out += [sentence for change in results["changes"] if (sentence := change_sentence(change))]
    if results["sown"] is not None:
        met, all_of = len(results["sown"]["met"]), len(results["sown"]["met"]) + len(results["sown"]["not_met"])
        out.append(f"Of {_kinds(all_of)} sown or planted, {wording.count(met)} {'was' if met == 1 else 'were'} met.")
    forbs = part["forb_cover"]
    if forbs["cover"] is not None:
        words = _COVER_CLASSES[forbs["cover_class"]]
        out.append(f"Wildflowers and sedges cover {percent(forbs['cover']['middle'])} of the ground: {words}.")
    nitrogen = part["ellenberg_n"]
    if nitrogen["unweighted"] is not None:
        out.append(
            f"The plants speak of soil of nitrogen {one(nitrogen['unweighted'])} on the British Ellenberg scale from "
            f"1, poor, to 9, rich; {wording.count(nitrogen['kinds_used'])} of "
            f"{_kinds(nitrogen['kinds'])} {'has' if nitrogen['kinds_used'] == 1 else 'have'} a value."
        )
    # what cannot be judged is told further down, with what it would take
    judged = [verdict for verdict in results["classes"] if verdict["judged"]]
    out += [verdict["sentence"] for verdict in sorted(judged, key=lambda v: v["class_label"] is None)][:1]
    return out


def part_sentence(part: Mapping[str, Any]) -> str:
    """Kinds per quadrat with the interval: ten quadrats of 1 m² held 7.4 kinds of plant on average."""
    found, n = part["species_per_quadrat"], part["quadrats"]
    if not n:
        return "No quadrat was looked at, so nothing can be said per square metre."
    start = f"{_quadrats(n)} of {part['quadrat_area_m2']:g} m² held {one(found['mean'])} kinds of plant"
    if n == 1:
        return f"{start}; one quadrat says nothing of the rest."
    ends = f"{one(max(found['low'], 0))} to {one(found['high'])}"
    if found["sd"] == 0:
        return (
            f"{_quadrats(n)} of {part['quadrat_area_m2']:g} m² held {_kinds(round(found['mean']))} of plant each. As "
            "all held the same number, their spread says nothing of the rest; counting in whole kinds alone leaves "
            f"{ends} open."
        )
    sure = parameters().value("survey_values", "interval", "confidence")
    return f"{start} on average ({percent(sure)}: {ends})."


def _pool(results: Mapping[str, Any]) -> list[str]:
    pool, n = results["sown_part"]["pool"], results["sown_part"]["quadrats"]
    site = len(results["kinds_on_site"])
    if not n:
        return [f"A list of the whole site has {_kinds(site)}."] if site else []
    text = f"{_kinds(pool['seen'])} were met in them"
    text = f"{text[:1].upper()}{text[1:]}" if pool["seen"] != 1 else "One kind was met in them"
    if site > pool["seen"]:
        text += f", {wording.count(site)} on the whole site"
    guess = pool["chao2_bias_corrected"]
    if n > 1 and guess is not None and round(guess) > max(site, pool["seen"]):
        text += f"; from how many were met only once or twice, about {round(guess)} grow there"
    return [f"{text}."]


def change_sentence(change: Mapping[str, Any]) -> str:
    """More or fewer kinds than before, than before sowing, than on the unsown part."""
    than = {
        "before": "than the year before" if change["on"] is None else f"than on {wording.day(change['on'])}",
        "baseline": "than before sowing",
        "control": "than on the unsown part",
    }[change["against"]]
    difference = change["difference_species"]
    if difference is None:
        return ""
    words = f"{one(abs(difference))} {'more' if difference > 0 else 'fewer'} kinds in a quadrat {than}"
    if one(abs(difference)) == "0.0":
        words = f"As many kinds in a quadrat {than.replace('than', 'as', 1)}"
    if change["low"] is None:
        return f"{words}; too few quadrats to say whether that is chance."
    ends = f"from {change['low']:+.1f} to {change['high']:+.1f}".replace("-", "−")
    tail = "so it may be chance" if change["low"] <= 0 <= change["high"] else "more than chance would give"
    spots = f", of {wording.count(change['spots'])} spots walked both times" if change["method"] == "paired" else ""
    sure = percent(parameters().value("survey_values", "interval", "confidence"))
    return f"{words} ({sure}: {ends}{spots}), {tail}."


def verdict_sentence(verdict: Mapping[str, Any], kind: str) -> str:
    """What one published set of rules says, with its name and version."""
    name = f"{verdict['label']}, version {verdict['version']}"
    if not verdict["judged"]:
        return f"By the {name}: cannot be judged; missing: {wording.joined(verdict['missing'])}."
    if verdict["class_label"] is None:
        if kind == "condition":
            failed = _failed(verdict)
            return f"By the {name}: not met, because of {wording.joined(failed)}.{_base_rate(verdict['rule_set'])}"
        labels = [held["label"] for held in verdict["classes"]]
        if len(labels) == 1:
            return f"By the {name}: not {labels[0]}."
        return f"By the {name}: none of its classes ({'; '.join(labels)})."
    close = "" if verdict["sure"] else " It lies close to a limit, so another survey might class it otherwise."
    return f"Class by the {name}: {verdict['class_label']}.{close}"


def _base_rate(rule_set: str) -> str:
    """How many stands meet the targets elsewhere, where somebody has looked."""
    row = parameters().find("survey_values", "base_rate", rule_set)
    if row is None:
        return ""
    return f" Most do not meet it: {percent(row.middle)} did of the {row.condition}."


def _failed(verdict: Mapping[str, Any]) -> list[str]:
    names = {
        ATTRIBUTES[rule["attribute"]]: None
        for held in verdict["classes"]
        for rule in held["rules"]
        if rule["held"] is False and rule["counts_as"] == "must"
    }
    return list(names) or ["too few of its targets"]


def cautions(results: Mapping[str, Any]) -> list[str]:
    """What to bear in mind when the figures are read or sent on."""
    part, counted = results["sown_part"], results["counted"]
    fewest = round(parameters().value("survey_values", "quadrats", "fewest"))
    area = parameters().value("survey_values", "quadrats", "area")
    out = []
    if part["quadrats"] < fewest:
        out.append(
            f"{_quadrats(part['quadrats'])} {'is' if part['quadrats'] == 1 else 'are'} few: published rules ask for "
            f"{wording.count(fewest)} stops."
        )
    if part["quadrats"] and part["quadrat_area_m2"] != area:
        out.append(
            f"The quadrats are of {part['quadrat_area_m2']:g} m². Limits of kinds per square metre hold for "
            f"{area:g} m² alone, so nothing is judged by them."
        )
    if part["quadrats_of_other_sizes"]:
        out.append(
            f"{_quadrats(part['quadrats_of_other_sizes'])} of another size {_were(part['quadrats_of_other_sizes'])} "
            "left out of the figures per quadrat."
        )
    if results["layout"] in _LAYOUTS and part["quadrats"]:
        out.append(_LAYOUTS[results["layout"]])
    if results["grade"] in _GRADES:
        out.append(_GRADES[results["grade"]])
    out += [
        f"On {wording.day(change['on'])} somebody of another grade looked, so some of the change may be another eye."
        for change in results["changes"]
        if change["grade"] not in (None, results["grade"]) and change["difference_species"] is not None
    ]
    if counted["not_settled"]:
        n = len(counted["not_settled"])
        out.append(
            f"{wording.count(n).capitalize()} name{'' if n == 1 else 's'} not settled count{'s' if n == 1 else ''} as "
            f"written: {wording.joined(counted['not_settled'])}."
        )
    if counted["mosses_left_out"]:
        out.append(f"Mosses do not count and were left out: {wording.joined(counted['mosses_left_out'])}.")
    if counted["groups_not_counted"]:
        out.append(
            "Not counted, since it may be a kind already counted: "
            + wording.joined(counted["groups_not_counted"])
            + "."
        )
    if counted["unread"]:
        n = len(counted["unread"])
        out.append(
            f"{wording.count(n).capitalize()} amount{'' if n == 1 else 's'} could not be read on the scale named; the "
            "plants count as present, without a cover."
        )
    return out


def _were(n: int) -> str:
    return "was" if n == 1 else "were"


def forecast_sentence(figure: Mapping[str, Any]) -> str:
    """Where a finding lies in both forecasts."""
    parts = []
    for fan in figure["fans"]:
        words = _THREE_PLACES if fan["p25"] is None else _PLACES
        parts.append(f"{words[fan['place']]} {_FORECASTS[fan['forecast']]}")
    start = f"{one(figure['found'])} {_FIGURES[figure['figure']]}"
    if figure["adjusted"] != figure["found"]:
        start += (
            f", about {one(figure['adjusted'])} ({one(figure['adjusted_low'])} to {one(figure['adjusted_high'])}) once "
            "it is allowed for what was overlooked,"
        )
    return f"{start} lie {' and '.join(parts)}."
