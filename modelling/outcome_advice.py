"""What a survey gives reason to ask: questions, each with its reason, source and how far to trust it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from modelling.contracts.outcomes import Facts
from modelling.core.parameters import Number
from modelling.outcome_words import one, percent
from modelling.selectors import parameters, source_words

_WEEDS: Final = {
    "docks": (
        "Are the docks spreading, and can they be dug or their flower stems cut before they seed?",
        "broad-leaved and curled dock may not be let spread to farmland",
    ),
    "thistles": (
        "Are the thistles spreading, and can they be cut in bud, twice a summer?",
        "creeping and spear thistle may not be let spread to farmland",
    ),
    "ragwort": (
        "Is there grazing or hay near the ragwort, and who pulls it before it seeds?",
        "ragwort in hay poisons stock, and may not be let spread to farmland",
    ),
    "nettles": (
        "Are the nettles holding their ground, and are all cuttings taken off there?",
        "nettles go with rich ground",
    ),
}


#: decimal places to compare to: ten quadrats of 30 % make 30 %
_DIGITS: Final = 9


def _over(value: float, limit: float) -> bool:
    return round(value - limit, _DIGITS) > 0


def _row(quantity: str) -> Number:
    return parameters().number("survey_values", "advice", quantity)


def _asked(key: str, question: str, reason: str, row: Number) -> dict[str, str]:
    return {
        "key": key,
        "question": question,
        "reason": reason,
        "source": source_words(row.source_id),
        "confidence": row.confidence,
    }


def advice(results: Mapping[str, Any], before: Mapping[str, Any] | None, facts: Facts) -> list[dict[str, str]]:
    """Questions that the results give reason for.

    Parameters
    ----------
    results
        A judged survey.
    before
        The sown part of the survey of the year before, with its day under `on`; or None.
    facts
        What is known of the meadow beside.
    """
    found = (
        _first_summer(results, facts),
        _rattle(results, before),
        _cuttings(results, facts),
        *_weeds(results),
        _falling(results, before, facts),
        _few_quadrats(results),
        _soil_test(results, facts),
    )
    return [entry for entry in found if entry is not None]


def _is_first(results: Mapping[str, Any], facts: Facts) -> bool:
    return facts.first_summer is not None and results["on"].year <= facts.first_summer


def _first_summer(results: Mapping[str, Any], facts: Facts) -> dict[str, str] | None:
    """Reassure: a first summer without flowers is usual."""
    part = results["sown_part"]
    if not _is_first(results, facts) or part["forb_cover"]["cover_class"] == "over_30":
        return None
    return _asked(
        "first_summer",
        "Has it been cut each time it reached about a hand's height this first summer?",
        "Few flowers, weeds and bare ground are usual in a first summer: perennials spend it on roots, and most weeds "
        "of bared soil go with the cutting. Nothing has failed.",
        _row("soil_test_from_summer"),
    )


def _rattle(results: Mapping[str, Any], before: Mapping[str, Any] | None) -> dict[str, str] | None:
    now = results["sown_part"]["rattle_plants_per_m2"]
    then = before["rattle_plants_per_m2"] if before else None
    row = _row("rattle_fell_to")
    if now is None or then is None or then["mean"] <= 0 or _over(now["mean"], row.middle * then["mean"]):
        return None
    return _asked(
        "rattle_fell",
        "Was the meadow cut before the yellow rattle had shed its seed last summer, or was there no open soil for it "
        "in autumn?",
        f"Yellow rattle fell from {one(then['mean'])} to {one(now['mean'])} plants in a square metre. It is an annual "
        "and lives from one year's seed to the next.",
        row,
    )


def _cuttings(results: Mapping[str, Any], facts: Facts) -> dict[str, str] | None:
    litter, row = results["sown_part"]["litter_share"], _row("litter_cover")
    if facts.arisings == "left":
        reason = "Cuttings left lying feed the grass and shade out seedlings."
    elif litter is not None and _over(litter["mean"], row.middle):
        reason = (
            f"Litter covers {percent(litter['mean'])} of the ground, as where cuttings lie; it shades out seedlings."
        )
    else:
        return None
    return _asked("cuttings_left", "Can every cut be raked up and taken off within some days?", reason, row)


def _weeds(results: Mapping[str, Any]) -> list[dict[str, str]]:
    stops, cover = _row("weed_stops_share"), _row("weed_cover")
    rows = [row for row in parameters().nouns["indicator_taxa"].values() if row["list"] == "to_look_at"]
    entry_of = {row["key"] if row["rank"] == "species" else f"{row['key']}_sp": row["counts_as"] for row in rows}
    shares: dict[str, float] = {}
    covers: dict[str, float] = {}
    for line in results["sown_part"]["frequency"]:
        entry = entry_of.get(line["taxon"] or "")
        if entry:
            shares[entry] = max(shares.get(entry, 0.0), line["share_of_quadrats"]["share"])
            covers[entry] = covers.get(entry, 0.0) + (line["mean_cover_share"] or 0.0)
    out = []
    for entry, (question, why) in _WEEDS.items():
        if entry not in shares or not (_over(shares[entry], stops.middle) or _over(covers[entry], cover.middle)):
            continue
        by_cover = _over(covers[entry], cover.middle)
        seen = (
            f"cover {percent(covers[entry])} of the ground" if by_cover else f"in {percent(shares[entry])} of quadrats"
        )
        reason = f"{entry.capitalize()} {seen}; {why}."
        out.append(_asked(entry, question, reason, cover if by_cover else stops))
    return out


def _falling(results: Mapping[str, Any], before: Mapping[str, Any] | None, facts: Facts) -> dict[str, str] | None:
    """Fewer kinds in each of two years running."""
    row, year = _row("fall"), results["on"].year
    means = {entry.year: entry.species_per_quadrat for entry in facts.earlier_means}
    if before is not None and before["species_per_quadrat"]["mean"] is not None:
        if before["quadrat_area_m2"] != results["sown_part"]["quadrat_area_m2"]:
            return None
        means[before["on"].year] = before["species_per_quadrat"]["mean"]
    now = results["sown_part"]["species_per_quadrat"]["mean"]
    earlier = sorted((y for y in means if y < year), reverse=True)[:2]
    if now is None or len(earlier) < 2:
        return None
    last, first = (means[y] for y in earlier)
    if _over(row.middle, first - last) or _over(row.middle, last - now):
        return None
    return _asked(
        "falling",
        "What changed in the cutting, the grazing or the cuttings taken off since then?",
        f"Kinds in a quadrat fell from {one(first)} to {one(last)} to {one(now)} over three surveys. Two falls running "
        "are less likely chance, or another eye, than one.",
        row,
    )


def _few_quadrats(results: Mapping[str, Any]) -> dict[str, str] | None:
    row, part = parameters().number("survey_values", "quadrats", "fewest"), results["sown_part"]
    if part["quadrats"] >= row.middle:
        return None
    effort = part["effort"]
    tells = (
        ""
        if effort is None
        else f" These would have missed a change of under {one(effort['smallest_change_species'])} kinds."
    )
    return _asked(
        "few_quadrats",
        f"Can there be {row.middle:.0f} quadrats next summer, spread evenly or at random?",
        f"Published rules ask for {row.middle:.0f} stops; there were {part['quadrats']}.{tells}",
        row,
    )


def _soil_test(results: Mapping[str, Any], facts: Facts) -> dict[str, str] | None:
    if facts.olsen_p_mg_per_l is not None:
        return None
    part, year = results["sown_part"], results["on"].year
    rich, forbs = _row("soil_test_ellenberg_n"), _row("soil_test_forb_cover")
    nitrogen = part["ellenberg_n"]["by_cover"]
    nitrogen = part["ellenberg_n"]["unweighted"] if nitrogen is None else nitrogen
    cover = part["forb_cover"]["cover"]
    summer = None if facts.first_summer is None else year - facts.first_summer + 1
    waited = summer is not None and summer >= _row("soil_test_from_summer").middle
    if nitrogen is not None and not _over(rich.middle, nitrogen):
        row, reason = rich, f"The plants speak of rich soil: nitrogen {one(nitrogen)} on the British Ellenberg scale."
    elif waited and cover is not None and _over(forbs.middle, cover["middle"]):
        row = forbs
        reason = f"In summer {summer} wildflowers and sedges still cover {percent(cover['middle'])} of the ground."
    else:
        return None
    return _asked(
        "soil_test",
        "Is it worth sending a soil sample off, for phosphorus by the Olsen method?",
        f"{reason} Rich soil favours grass, and cutting alone lowers it slowly.",
        row,
    )
