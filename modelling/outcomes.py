"""Judge one summer's survey, and lay it beside the forecast of its summer: a question in, plain values out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any, Final

import numpy as np

from modelling import outcome_advice, outcome_words
from modelling.contracts import outcomes as contract
from modelling.contracts.outcome_answers import OUTCOME_SCHEMA_VERSION, ForecastFound, SurveyAnswer
from modelling.core.brief import p_index_of
from modelling.core.distributions import Array
from modelling.core.outcomes import (
    change,
    classes,
    diversity,
    ellenberg,
    forbs,
    forecast,
    found,
    frequency,
    intervals,
    scales,
    similarity,
    sown,
)  # fmt: skip
from modelling.core.outcomes.measures import Measured, Measures
from modelling.outcome_plants import Notes, sightings_of, squares_of, words_of
from modelling.release import RELEASE, RESULTS_VERSION
from modelling.selectors import parameters, source_words

FORECASTS: Final = ("if_kept", "as_usual")
#: points of a forecast that a stored answer has: with the middle half, and without
_FIVE: Final = (0.1, 0.25, 0.5, 0.75, 0.9)
_THREE: Final = (0.1, 0.5, 0.9)
_NOT_WILDFLOWERS: Final = "not_wildflowers"


def judge(question: contract.SurveyQuestion) -> dict[str, Any]:
    """Judge one survey, beside earlier ones of the same meadow: plain values, shaped as `SurveyAnswer`."""
    return _Judged(question).answer()


def _number(subject: str, quantity: str) -> float:
    return parameters().value("survey_values", subject, quantity)


def _stand(squares: Iterable[found.Square], part: str) -> found.Stand:
    usual = _number("quadrats", "area")
    return found.stand_of((square for square in squares if square.part == part), usual)


def _counts(stand: found.Stand) -> Array:
    return stand.counts.astype(np.float64)


def _kind(plant: found.Plant) -> dict[str, Any]:
    return {"taxon": None if plant.key.startswith("?") else plant.key, "name": plant.name}


def _kind_of(key: str) -> dict[str, Any]:
    return {"taxon": key, "name": words_of(key)}


def _mean_covers(stand: found.Stand) -> Array:
    """Mean cover of each kind, NaN where it was present without one."""
    # in order of size, so that the order of the quadrats is nothing
    return np.sort(stand.middle, axis=0).mean(axis=0) if stand.n else np.zeros(0)


class _Judged:
    """One survey with everything worked out from it."""

    def __init__(self, question: contract.SurveyQuestion) -> None:
        self.question, self.survey, self.facts = question, question.survey, question.facts
        self.notes = Notes()
        self.confidence = _number("interval", "confidence")
        self.power = _number("interval", "power")
        self.resamples = round(_number("interval", "resamples"))
        self.squares = squares_of(self.survey, self.notes)
        self.whole_site = tuple(
            sighting.plant for sighting in sightings_of(self.survey.whole_site, "whole site", self.notes)
        )
        self.sown_taxa = frozenset(self.survey.sown_taxa)
        self.sown = _stand(self.squares, found.SOWN)
        self.control = _stand(self.squares, found.CONTROL)
        self.on_sown_part = tuple(
            sighting.plant for square in self.squares if square.part == found.SOWN for sighting in square.sightings
        )
        self.on_site = found.distinct([*self.on_sown_part, *self.whole_site])

    def answer(self) -> dict[str, Any]:
        """Everything, as plain values."""
        sown_part = self.part(self.sown, found.SOWN)
        before = None
        if self.question.before is not None:
            earlier = _stand(squares_of(self.question.before, Notes()), found.SOWN)
            before = {"on": self.question.before.on, **self.part(earlier, found.SOWN, possible=False)}
        measures = Measures(parameters(), self.sown, self.known())
        verdicts = [_verdict(v) for v in classes.verdicts(parameters(), measures.of)]
        sward = {row["key"] for row in parameters().nouns["rule_sets"].values() if row["kind"] == "sward"}
        out: dict[str, Any] = {
            "sentences": [],
            "cautions": [],
            "on": self.survey.on,
            "grade": self.survey.grade,
            "layout": self.survey.layout,
            "sown_part": sown_part,
            "control_part": self.part(self.control, found.CONTROL) if self.control.n else None,
            "kinds_on_site": [_kind(plant) for plant in self.on_site],
            "sown": self.sown_kinds(),
            "changes": self.changes(),
            "donor": self.donor(),
            "classes": [v for v in verdicts if v["rule_set"] in sward],
            "condition": [v for v in verdicts if v["rule_set"] not in sward],
            "counted": self.counted(),
            "advice": [],
            "recipe": {
                "schema_version": OUTCOME_SCHEMA_VERSION,
                "results_version": RESULTS_VERSION,
                "release": RELEASE,
                "reference_checksum": parameters().checksum,
                "random_seed": self.question.random_seed,
                "resamples": self.resamples,
            },
        }
        out["sentences"] = outcome_words.sentences(out)
        out["cautions"] = outcome_words.cautions(out)
        out["advice"] = outcome_advice.advice(out, before, self.facts)
        return SurveyAnswer.model_validate(out).model_dump(mode="python")

    def known(self) -> dict[str, float]:
        """What is known beside the quadrats, as the rules ask for it."""
        percents = {
            "scrub_cover": self.facts.scrub_cover_percent,
            "extent_lost": self.facts.extent_lost_percent,
            "fritillary_extent": self.facts.fritillary_extent_percent,
        }
        out = {key: scales.share_from_percent(value) for key, value in percents.items() if value is not None}
        if self.facts.olsen_p_mg_per_l is not None:
            out["soil_p_index"] = float(p_index_of(parameters(), self.facts.olsen_p_mg_per_l))
        return out

    # ------------------------------------------------------------------ one part

    def possible(self, stand: found.Stand) -> float | None:
        """Quadrats that the meadow holds, where those looked at are a good part of them."""
        area = self.facts.meadow_area_m2
        if area is None or stand.n * stand.area_m2 < _number("interval", "finite_from_share") * area:
            return None
        return area / stand.area_m2

    def part(self, stand: found.Stand, part: str, *, possible: bool = True) -> dict[str, Any]:
        """What the quadrats of one part hold."""
        counts = _counts(stand)
        held = self.possible(stand) if possible and part == found.SOWN else None
        per_quadrat = intervals.mean_interval(counts, self.confidence, held, least_sd=intervals.COUNT_SD)
        by_resampling = intervals.bootstrap_mean(
            counts, self.confidence, self.resamples, self.question.random_seed, part
        )
        if per_quadrat.sd == 0:
            by_resampling = None
        pool = diversity.pool(stand.in_quadrats, stand.n)
        sown_here = sown.sown_kinds(stand, self.sown_taxa)
        covers = _mean_covers(stand)
        whole = stand.has_covers()
        values = ellenberg.values_of(parameters(), tuple(plant.slug for plant in stand.plants))
        return {
            "part": part,
            "quadrats": stand.n,
            "quadrat_area_m2": stand.area_m2,
            "quadrats_of_other_sizes": stand.left_out,
            "species_in_each": [int(count) for count in stand.counts],
            "species_per_quadrat": asdict(per_quadrat),
            "species_bootstrap": _ends(by_resampling),
            "sown_species_per_quadrat": asdict(
                intervals.mean_interval(sown_here.per_quadrat, self.confidence, held, least_sd=intervals.COUNT_SD)
            )
            if self.sown_taxa and stand.n
            else None,
            "finite_size_allowed_for": held is not None,
            "pool": {
                "seen": pool.seen,
                "in_one_quadrat": pool.in_one,
                "in_two_quadrats": pool.in_two,
                "chao2": pool.chao2,
                "chao2_bias_corrected": pool.chao2_bias_corrected,
                "jackknife_1": pool.jackknife_1,
                "jackknife_2": pool.jackknife_2,
                "bootstrap": pool.bootstrap,
            },
            "accumulation": [float(x) for x in diversity.accumulation(stand.in_quadrats, stand.n)],
            "diversity": _diversity(covers) if whole else None,
            "effort": self.effort(per_quadrat),
            "frequency": self.frequency(stand, covers),
            "ellenberg_n": asdict(ellenberg.mean_n(values, covers if whole else None)),
            "forb_cover": _forb_cover(stand),
            "bare_ground_share": self.noted(square.bare_ground for square in stand.squares),
            "litter_share": self.noted(square.litter for square in stand.squares),
            "sward_height_m": self.noted(square.sward_height_m for square in stand.squares),
            "rattle_plants_per_m2": self.noted(
                None if square.rattle_plants is None else square.rattle_plants / square.area_m2
                for square in stand.squares
            ),
        }

    def noted(self, values: Iterable[float | None]) -> dict[str, Any] | None:
        """Mean of what was noted in some quadrats, with its interval."""
        known = np.array([value for value in values if value is not None], dtype=np.float64)
        return asdict(intervals.mean_interval(known, self.confidence)) if len(known) else None

    def effort(self, per_quadrat: intervals.Mean) -> dict[str, Any] | None:
        """What so many quadrats could tell, and how many would tell what is wished."""
        if per_quadrat.sd is None:
            return None
        sd, n = max(per_quadrat.sd, intervals.COUNT_SD), per_quadrat.n
        half, worth = _number("interval", "wanted_half_width"), _number("change", "worth_seeing")
        how = {"confidence": self.confidence, "power": self.power}
        return {
            "quadrats_for_half_width": intervals.quadrats_by_t(sd, half, self.confidence),
            "half_width_species": half,
            "smallest_change_species": intervals.smallest_change(sd, n, **how, paired=False),
            "smallest_change_same_spots_species": intervals.smallest_change(sd, n, **how, paired=True),
            "quadrats_for_change": intervals.quadrats_for_change(sd, worth, **how, paired=False),
            "change_species": worth,
        }

    def frequency(self, stand: found.Stand, covers: Array) -> list[dict[str, Any]]:
        """How often each kind was met, the commonest first."""
        shares = frequency.frequencies(stand.in_quadrats, stand.n, self.confidence)
        rows = []
        for plant, held, share, cover in zip(stand.plants, stand.in_quadrats, shares, covers, strict=True):
            rows.append(
                {
                    **_kind(plant),
                    "kind": plant.kind,
                    "quadrats": int(held),
                    "share_of_quadrats": {"share": share.middle, "low": share.low, "high": share.high},
                    "class_by_fep": scales.frequency_class(parameters(), "fep_frequency", share.middle),
                    "class_by_csm": scales.frequency_class(parameters(), "csm_frequency", share.middle),
                    "mean_cover_share": None if np.isnan(cover) else float(cover),
                    "sown": plant.key in self.sown_taxa,
                }
            )
        return sorted(rows, key=lambda row: (-row["quadrats"], row["name"]))

    # ------------------------------------------------------------------ beside others

    def sown_kinds(self) -> dict[str, Any] | None:
        """Sown kinds met and not met on the sown part or elsewhere on the site."""
        if not self.sown_taxa:
            return None
        met = sown.sown_kinds(self.sown, self.sown_taxa, (*self.on_sown_part, *self.whole_site))
        return {"met": [_kind_of(key) for key in met.met], "not_met": [_kind_of(key) for key in met.not_met]}

    def changes(self) -> list[dict[str, Any]]:
        """The survey against earlier ones and against the unsown part."""
        out = []
        if self.question.before is not None:
            out.append(self.against("before", self.question.before))
        if self.question.baseline is not None:
            out.append(self.against("baseline", self.question.baseline))
        if self.control.n:
            out.append(self.compared("control", None, self.control, ()))
        return out

    def against(self, name: str, survey: contract.Survey) -> dict[str, Any]:
        """The survey against an earlier one of the same ground."""
        earlier = _stand(squares_of(survey, Notes()), found.SOWN)
        elsewhere = tuple(s.plant for s in sightings_of(survey.whole_site, "whole site", Notes()))
        return self.compared(name, survey, earlier, elsewhere)

    def same_spots(self, survey: contract.Survey | None, other: found.Stand) -> tuple[Array, Array] | None:
        """Counts of the spots that both surveys walked, by label; None unless they are fixed and all in the larger."""
        if survey is None or not survey.layout == self.survey.layout == "fixed":
            return None
        now, then = _by_label(self.sown), _by_label(other)
        if now is None or then is None:
            return None
        both = sorted(now.keys() & then.keys())
        if len(both) < min(len(now), len(then)):
            return None
        return np.array([now[label] for label in both]), np.array([then[label] for label in both])

    def compared(
        self, name: str, survey: contract.Survey | None, other: found.Stand, elsewhere: tuple[found.Plant, ...]
    ) -> dict[str, Any]:
        """Difference of means, and how alike the lists and the covers are."""
        difference, missing, resampled = None, "", None
        spots = self.same_spots(survey, other)
        how: Any = (self.confidence, self.resamples, self.question.random_seed, f"change {name}")
        if not self.sown.n or not other.n:
            missing = "quadrats in both"
        elif self.sown.area_m2 != other.area_m2:
            missing = "quadrats of one size in both"
        elif spots is not None:
            # a difference of two counts has the roundings of both
            least = intervals.COUNT_SD * 2**0.5
            difference = change.paired(*spots, self.confidence, least_sd=least)
            resampled = intervals.bootstrap_mean(spots[0] - spots[1], *how)
        else:
            counts = _counts(self.sown), _counts(other)
            difference = change.welch(*counts, self.confidence, least_sd=intervals.COUNT_SD)
            resampled = intervals.bootstrap_difference(*counts, *how)
        whole_lists = survey is not None
        here = {p.key for p in (self.on_site if whole_lists else self.sown.plants)}
        there = {p.key for p in found.distinct([*other.plants, *elsewhere])}
        both = self.sown.has_covers() and other.has_covers()
        rattle = [self.rattle(self.sown), self.rattle(other)]
        return {
            "against": name,
            "on": None if survey is None else survey.on,
            "grade": None if survey is None else survey.grade,
            "difference_species": None if difference is None else difference.difference,
            "method": None if difference is None else "welch" if spots is None else "paired",
            "spots": None if difference is None or spots is None else len(spots[0]),
            "low": None if difference is None else difference.low,
            "high": None if difference is None else difference.high,
            # no spread at all: drawn again, it would always come out the same
            "bootstrap": None if resampled is None or resampled.low == resampled.high else _ends(resampled),
            "smallest_change_species": None
            if difference is None or difference.se is None
            else intervals.smallest_by_error(difference.se, self.confidence, self.power),
            "missing": missing,
            "jaccard": similarity.jaccard(here, there),
            "sorensen": similarity.sorensen(here, there),
            "bray_curtis_likeness": similarity.bray_curtis(_covers_by_key(self.sown), _covers_by_key(other))
            if both
            else None,
            "rattle_ratio": rattle[0] / rattle[1] if rattle[0] is not None and rattle[1] else None,
        }

    def rattle(self, stand: found.Stand) -> float | None:
        """Mean plants of yellow rattle per m2, where they were counted."""
        found_here = self.noted(None if s.rattle_plants is None else s.rattle_plants / s.area_m2 for s in stand.squares)
        return None if found_here is None else found_here["mean"]

    def donor(self) -> dict[str, Any] | None:
        """How much of the donor meadow's list was met."""
        there = frozenset(self.question.donor_taxa)
        if not there:
            return None
        here = frozenset(plant.key for plant in self.on_site)
        return {
            "jaccard": similarity.jaccard(here, there),
            "sorensen": similarity.sorensen(here, there),
            "met": [_kind_of(key) for key in sorted(here & there)],
            "not_met": [_kind_of(key) for key in sorted(there - here)],
        }

    def counted(self) -> dict[str, Any]:
        """What was left out of the counting, and what is told apart."""
        every = {p.key: p for p in (*(s.plant for q in self.squares for s in q.sightings), *self.whole_site)}
        counting = {plant.key for plant in found.distinct(every.values())}
        groups = [p.name for key, p in sorted(every.items()) if p.vascular and key not in counting]
        return {
            "not_settled": list(self.notes.not_settled),
            "mosses_left_out": list(self.notes.mosses),
            "no_plants": list(self.notes.no_plants),
            "groups_not_counted": groups,
            "unread": self.notes.unread,
        }


def _ends(interval: intervals.Interval | None) -> dict[str, float] | None:
    return None if interval is None else {"low": interval.low, "high": interval.high}


def _by_label(stand: found.Stand) -> dict[str, float] | None:
    """Kinds in each quadrat by its label; None where labels are missing or not each its own."""
    labels = [" ".join(square.label.casefold().split()) for square in stand.squares]
    if "" in labels or len(set(labels)) < len(labels):
        return None
    return dict(zip(labels, _counts(stand).tolist(), strict=True))


def _covers_by_key(stand: found.Stand) -> dict[str, float]:
    return {plant.key: float(cover) for plant, cover in zip(stand.plants, _mean_covers(stand), strict=True)}


def _diversity(covers: Array) -> dict[str, Any] | None:
    """Diversity of mean covers; None where everything written down has no cover to speak of."""
    shannon, simpson = diversity.shannon(covers), diversity.simpson(covers)
    if shannon is None or simpson is None:
        return None
    return {
        "shannon": shannon,
        "simpson": simpson,
        **{f"hill_{q}": diversity.hill(covers, q) for q in (0, 1, 2)},
        "evenness": diversity.evenness(covers),
    }


def _forb_cover(stand: found.Stand) -> dict[str, Any]:
    measured: Measured = Measures(parameters(), stand, {}).wildflower_cover(_NOT_WILDFLOWERS)
    if measured.value is None:
        return {"cover": None, "cover_class": None, "missing": measured.missing}
    cover = {"middle": measured.value, "low": measured.low, "high": measured.high}
    return {"cover": cover, "cover_class": forbs.cover_class(parameters(), measured.value), "missing": ""}


def _verdict(verdict: classes.Verdict) -> dict[str, Any]:
    out: dict[str, Any] = {
        "rule_set": verdict.rule_set,
        "label": verdict.label,
        "version": verdict.version,
        "nation": verdict.nation,
        "judged": verdict.judged,
        "class_key": verdict.class_key,
        "class_label": verdict.class_label,
        "sure": verdict.sure,
        "missing": list(verdict.missing),
        "classes": [
            {
                "key": held.key,
                "label": held.label,
                "rules_needed": held.needed,
                "held": held.held,
                "rules": [_rule(ruled) for ruled in held.rules],
            }
            for held in verdict.classes
        ],
    }
    return {**out, "sentence": outcome_words.verdict_sentence(out, verdict.kind)}


def _rule(ruled: classes.Ruled) -> dict[str, Any]:
    rule = ruled.rule
    return {
        "rule": rule.extra["rule_id"],
        "attribute": rule.quantity,
        "operator": rule.extra["operator"],
        "threshold": rule.mode,
        "threshold_low": rule.low,
        "threshold_high": rule.high,
        "unit": rule.unit,
        "value": ruled.found.value,
        "low": ruled.found.low,
        "high": ruled.found.high,
        "held": ruled.held,
        "sure": ruled.sure,
        "missing": ruled.found.missing,
        "counts_as": rule.extra["counts_as"],
        "source": source_words(rule.source_id),
        "confidence": rule.confidence,
    }


# ------------------------------------------------------------------ beside the forecast


def found_on_forecast(answer: Mapping[str, Any], results: Mapping[str, Any], year: int) -> dict[str, Any]:
    """Where a survey lies in both forecasts of its summer, shaped as `ForecastFound`.

    The forecasts count what an experienced recorder finds in a quadrat; the finding is first divided by the share of
    those kinds that people of the surveyor's grade find.

    Parameters
    ----------
    answer
        A stored estimate's answer.
    results
        What `judge` gave.
    year
        Calendar year of the summer.
    """
    detection = parameters().number("survey_values", "detection", results["grade"])
    part, growth = results["sown_part"], answer["establishment"]
    summers = {
        name: next((entry for entry in growth[name]["by_year"] if entry["calendar_year"] == year), None)
        for name in FORECASTS
    }
    why_not = ""
    if any(summer is None for summer in summers.values()):
        years = [entry["calendar_year"] for entry in growth[FORECASTS[0]]["by_year"]]
        why_not = f"The forecast runs from {min(years)} to {max(years)}; the survey is of {year}."
    elif not part["quadrats"]:
        why_not = "No quadrat was looked at; the forecast is of kinds in a quadrat."
    elif part["quadrat_area_m2"] != growth["quadrat_area_m2"]:
        why_not = (
            f"The forecast is of quadrats of {growth['quadrat_area_m2']:g} m², the survey of "
            f"{part['quadrat_area_m2']:g} m²."
        )
    figures: list[dict[str, Any]] = []
    if not why_not:
        points = {
            "species_per_quadrat": ("species_per_m2", True),
            "sown_species_per_quadrat": ("sown_species_per_m2", False),
            "rattle_plants_per_m2": ("rattle", False),
        }
        for figure, (forecast_key, halves) in points.items():
            measured = part[figure]
            if measured is None or measured["mean"] is None:
                continue
            fans = {name: _fan(summer, forecast_key, halves=halves) for name, summer in summers.items() if summer}
            if any(fan is None for fan in fans.values()):
                continue
            figures.append(_on_fans(figure, measured, detection, {k: v for k, v in fans.items() if v}))
    out = {
        "year": year,
        "comparable": not why_not,
        "why_not": why_not,
        "grade": results["grade"],
        "detection_source": source_words(detection.source_id),
        "detection_confidence": detection.confidence,
        "assumed_of_forecast": outcome_words.FORECAST_ASSUMES,
        "figures": figures,
    }
    return ForecastFound.model_validate(out).model_dump(mode="python")


def _fan(summer: Mapping[str, Any], key: str, *, halves: bool) -> dict[str, Any] | None:
    """Points of one forecast of one figure."""
    if key == "rattle":
        if summer["rattle"] is None:
            return None
        points = summer["rattle"]["plants_per_m2"]
    else:
        points = summer[key]
    return {
        "p10": points["p10"],
        "p25": summer["species_per_m2_p25"] if halves else None,
        "p50": points["p50"],
        "p75": summer["species_per_m2_p75"] if halves else None,
        "p90": points["p90"],
    }


def _on_fans(
    figure: str, measured: Mapping[str, Any], detection: Any, fans: Mapping[str, Mapping[str, Any]]
) -> dict[str, Any]:
    mean = measured["mean"]
    low = mean if measured["low"] is None else measured["low"]
    high = mean if measured["high"] is None else measured["high"]
    if figure == "rattle_plants_per_m2":
        # counted, not overlooked: everyone knows the plant by the time they count it
        found_by_all = forecast.Adjusted(max(low, 0.0), mean, high)
    else:
        found_by_all = forecast.adjusted(mean, low, high, detection)
    places = []
    for name, fan in fans.items():
        five = fan["p25"] is not None
        points = [fan[key] for key in (("p10", "p25", "p50", "p75", "p90") if five else ("p10", "p50", "p90"))]
        where = [
            forecast.place_in(value, fan["p10"], fan["p25"], fan["p75"], fan["p90"])
            for value in (found_by_all.middle, found_by_all.high, found_by_all.low)
        ]
        places.append(
            {
                "forecast": name,
                "place": where[0],
                "place_if_most_was_overlooked": where[1],
                "place_if_least_was_overlooked": where[2],
                "quantile": forecast.quantile_in(found_by_all.middle, _FIVE if five else _THREE, points),
                **fan,
            }
        )
    out = {
        "figure": figure,
        "found": mean,
        "found_low": max(low, 0.0),
        "found_high": high,
        "adjusted": found_by_all.middle,
        "adjusted_low": found_by_all.low,
        "adjusted_high": found_by_all.high,
        "fans": places,
    }
    return {**out, "sentence": outcome_words.forecast_sentence(out)}
