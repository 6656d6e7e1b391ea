"""What counted sub-samples say of a sack of seed: a question in, plain values and sentences out."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, Final

import numpy as np

from modelling import wording
from modelling.contracts.sacks import SACK_SCHEMA_VERSION, SackQuestion
from modelling.core import seed_counts, viability
from modelling.core.distributions import Array
from modelling.core.parameters import ParameterSet
from modelling.core.sampling import draw, uniforms
from modelling.core.seed_counts import Limits
from modelling.core.units import G_PER_KG, SEEDS_PER_WEIGHED_THOUSAND
from modelling.errors import FieldError, RequestRefused, pointer_of
from modelling.reading import read_as
from modelling.release import RELEASE
from modelling.selectors import parameters, reference_checksum, taxon_row

TABLE: Final = "sack_values"
RATTLE: Final = "rhinanthus_minor"
#: the same sack always gives the same figures
_SEED: Final = 1
_DRAWS: Final = 2000
_TAILS: Final = (0.05, 0.5, 0.95)
PRECISIONS: Final = (0.1, 0.2, 0.3)


def read_sack(data: object) -> SackQuestion:
    """Read and check the counts of a sack; raises RequestRefused with every fault."""
    asked = read_as(SackQuestion, data)
    faults = [*_unknown(asked), *_too_heavy(asked), *_gaps(asked)]
    if asked.sack_g is not None and asked.sack_g < sum(sample.grams for sample in asked.samples):
        text = f"The sub-samples weigh more than the sack's {wording.figure(asked.sack_g)} g."
        faults.append(FieldError("/sack_g", "contradiction", text, asked.sack_g, "at least the sum of the sub-samples"))
    if faults:
        raise RequestRefused(faults)
    return asked


def _unknown(asked: SackQuestion) -> Iterator[FieldError]:
    for s, sample in enumerate(asked.samples):
        for taxon in sample.counts:
            if taxon_row(taxon) is None:
                yield _no_plant(("samples", s, "counts", taxon), taxon)
    counted = {taxon for sample in asked.samples for taxon in sample.counts}
    seen: set[str] = set()
    for g, test in enumerate(asked.germination):
        if taxon_row(test.taxon) is None:
            yield _no_plant(("germination", g, "taxon"), test.taxon)
        elif test.taxon not in counted:
            text = f"{_name(test.taxon).capitalize()} was not counted, so its test says nothing of this sack."
            yield FieldError(f"/germination/{g}/taxon", "not_counted", text, test.taxon, "a taxon that was counted")
        elif test.taxon in seen:
            text = f"There are two tests of {_name(test.taxon)}; add them up."
            yield FieldError(f"/germination/{g}/taxon", "twice", text, test.taxon, "one test of each taxon")
        seen.add(test.taxon)


def _no_plant(path: tuple[str | int, ...], taxon: str) -> FieldError:
    text = f"{taxon!r} is not a plant known here. The list is at /api/v1/vocabularies/."
    return FieldError(pointer_of(path), "unknown_plant", text, taxon, "a key of the plant list")


def _too_heavy(asked: SackQuestion) -> Iterator[FieldError]:
    """Yield counts whose seeds would weigh more than the sub-sample, at the lightest a seed of the taxon is."""
    for s, sample in enumerate(asked.samples):
        for taxon, count in sample.counts.items():
            row = parameters().find("taxon_values", taxon, "thousand_seed_weight")
            if row is None or row.low is None:
                continue
            least = count * row.low / SEEDS_PER_WEIGHED_THOUSAND
            if least > sample.grams:
                most = math.floor(sample.grams / row.low * SEEDS_PER_WEIGHED_THOUSAND)
                text = (
                    f"{count:,} seeds of {_name(taxon)} weigh at least {wording.figure(least)} g; "
                    f"the sub-sample weighs {wording.figure(sample.grams)} g."
                )
                yield FieldError(
                    pointer_of(("samples", s, "counts", taxon)), "too_many_seeds", text, count, f"at most {most:,}"
                )


def _gaps(asked: SackQuestion) -> Iterator[FieldError]:
    """Yield taxa counted in some sub-samples only: nobody can tell whether there were none."""
    counted = {taxon for sample in asked.samples for taxon in sample.counts}
    for s, sample in enumerate(asked.samples):
        for taxon in sorted(counted - sample.counts.keys()):
            text = f"{_name(taxon).capitalize()} is counted in other sub-samples and not in this one: write 0 for none."
            yield FieldError(pointer_of(("samples", s, "counts")), "not_counted", text, None, f"a count of {taxon}")


def _name(taxon: str) -> str:
    row = taxon_row(taxon)
    return row["english_name"] if row else taxon


def _number(subject: str, quantity: str) -> float:
    return parameters().value(TABLE, subject, quantity)


def count_sack(asked: SackQuestion) -> dict[str, Any]:
    """What the counts say: plain values, shaped as `SackAnswer`."""
    taxa = list(dict.fromkeys(taxon for sample in asked.samples for taxon in sample.counts))
    found = [_taxon(parameters(), asked, taxon) for taxon in taxa]
    held = [entry["taxon"] for entry in found if entry["holds_lot"]]
    return {
        "schema_version": SACK_SCHEMA_VERSION,
        "release": RELEASE,
        "reference_checksum": reference_checksum(),
        "sentences": [*_held_words(held), *(entry["sentence"] for entry in found), *_caveats(asked, found)],
        "how_to_draw": _how_to_draw(asked),
        "taxa": found,
        "on_hold": held,
        "exact_confidence": _number("limits", "exact_confidence"),
        "clumped_confidence": _number("limits", "clumped_confidence"),
    }


def _taxon(known: ParameterSet, asked: SackQuestion, taxon: str) -> dict[str, Any]:
    counts = np.array([sample.counts[taxon] for sample in asked.samples], dtype=np.float64)
    grams = np.array([sample.grams for sample in asked.samples], dtype=np.float64)
    total, mass = int(counts.sum()), float(grams.sum())
    exact = seed_counts.exact_limits(total, mass, _number("limits", "exact_confidence"))
    u = uniforms(_SEED, "sack/rate", _DRAWS, taxon)
    wide, clumping, rate = None, 0.0, seed_counts.well_mixed(total, mass, u)
    if len(counts) > 1:
        posterior = seed_counts.clumped(counts, grams, _number("limits", "clumping_prior_scale"))
        wide = posterior.limits(exact.mean, _number("limits", "clumped_confidence"), none_seen=total == 0)
        clumping, rate = posterior.clumping, posterior.quantile(u)
    mixing = _mixing(asked, counts, grams)
    alive = _alive(known, asked, taxon)
    in_sack = in_sack_wide = live = None
    if asked.sack_g is not None:
        in_sack = seed_counts.in_sack(exact, total, mass, asked.sack_g)
        in_sack_wide = wide and seed_counts.in_sack(wide, total, mass, asked.sack_g)
        if alive is not None:
            live = _points((total + rate * max(asked.sack_g - mass, 0.0)) * alive)
    entry: dict[str, Any] = {
        "taxon": taxon,
        "english_name": _name(taxon),
        "seeds_counted": total,
        "grams_counted": mass,
        "seeds_per_gram": _limited(exact),
        "seeds_per_gram_clumped": wide and _limited(wide),
        "seeds_per_kg": _limited(Limits(*(G_PER_KG * end for end in (exact.low, exact.mean, exact.high)))),
        "mass_percent": _mass_percent(known, taxon, exact, rate),
        "seeds_in_sack": in_sack and _limited(in_sack),
        "seeds_in_sack_clumped": in_sack_wide and _limited(in_sack_wide),
        "alive_share": None if alive is None else _points(alive),
        "live_seeds_in_sack": live,
        "mixing": mixing,
        "count_more": [] if not total else _more(exact.mean, grams, clumping),
        "holds_lot": _holds(known, taxon, total),
    }
    return entry | {"sentence": _sentence(entry, len(counts))}


def _limited(limits: Limits) -> dict[str, float]:
    return {"low": limits.low, "middle": limits.mean, "high": limits.high}


def _points(draws: Array) -> dict[str, float]:
    low, middle, high = (float(value) for value in np.quantile(draws, _TAILS))
    return {"low": low, "middle": middle, "high": high}


def _mass_percent(known: ParameterSet, taxon: str, exact: Limits, rate: Array) -> dict[str, float] | None:
    row = known.find("taxon_values", taxon, "thousand_seed_weight")
    if row is None:
        return None
    if not exact.mean:
        high = exact.high * row.middle / SEEDS_PER_WEIGHED_THOUSAND * 100
        return {"low": 0.0, "middle": 0.0, "high": min(high, 100.0)}
    grams_each = draw(row, _SEED, _DRAWS) / SEEDS_PER_WEIGHED_THOUSAND
    return _points(np.minimum(rate * grams_each * 100, 100.0))


def _alive(known: ParameterSet, asked: SackQuestion, taxon: str) -> Array | None:
    """Share of the seed alive today, by draws."""
    test = next((test for test in asked.germination if test.taxon == taxon), None)
    pair = None if test is None else (test.germinated, test.tested)
    return alive_draws(known, taxon, asked.years_in_store, pair, _DRAWS)


def alive_draws(
    known: ParameterSet, taxon: str, years_in_store: float, test: tuple[int, int] | None, n: int
) -> Array | None:
    """Share of a kind's seed alive today: (n,); what is usual ages in store, a test (germinated, tested) was made now.

    None where neither is known.
    """
    row = known.find("taxon_values", taxon, "germination_share")
    if row is None and test is None:
        return None
    half_life = known.find(TABLE, taxon, "half_life") or known.number(TABLE, "storage", "half_life")
    left = viability.aged(np.ones(n), years_in_store, draw(half_life, _SEED, n, taxon))
    fresh = row.middle if row is not None else 1 / 2
    prior = viability.usual(fresh * float(left.mean()), _number("germination", "prior_worth"))
    if test is not None:
        return viability.tested(prior, *test).draws(uniforms(_SEED, "sack/alive", n, taxon))
    return np.asarray(draw(row, _SEED, n, taxon) * left) if row is not None else None


def _mixing(asked: SackQuestion, counts: Array, grams: Array) -> dict[str, Any] | None:
    test = seed_counts.dispersion(counts, grams)
    if test is None:
        return None
    allowance = _number("heterogeneity", "allowance_chaffy" if asked.chaffy else "allowance_free_flowing")
    sure = _number("heterogeneity", "confidence")
    # H and R compare counts of equal sub-samples
    alike = bool(np.ptp(grams) <= grams.mean() / 20)
    h = seed_counts.h_value(counts, allowance, sure) if alike else None
    r = seed_counts.r_value(counts, allowance, sure) if alike else None
    return {
        "variance_by_chance": test.index,
        "chance": test.p,
        "h_value": h and h.value,
        "h_most": h and h.most,
        "r_value": r and r.value,
        "r_most": r and r.most,
        "uneven": test.p < _number("limits", "uneven_below"),
    }


def _more(rate: float, grams: Array, clumping: float) -> list[dict[str, float]]:
    sure = _number("limits", "clumped_confidence")
    return [
        {
            "precision_percent": share * 100,
            "grams": seed_counts.grams_more(rate, grams, clumping, share, sure),
        }
        for share in PRECISIONS
    ]


def _holds(known: ParameterSet, taxon: str, total: int) -> bool:
    row = known.find(TABLE, taxon, "holds_lot_from")
    return row is not None and total >= row.middle


# ------------------------------------------------------------------ words


def _sentence(entry: dict[str, Any], samples: int) -> str:
    name = entry["english_name"]
    uneven = bool(entry["mixing"] and entry["mixing"]["uneven"])
    per_gram = entry["seeds_per_gram_clumped" if uneven else "seeds_per_gram"]
    in_all = entry["seeds_in_sack_clumped" if uneven else "seeds_in_sack"]
    counted = f"{entry['seeds_counted']:,} in {wording.figure(entry['grams_counted'])} g"
    if not entry["seeds_counted"]:
        text = f"No seed of {name} in {wording.figure(entry['grams_counted'])} g: at most about "
        text += f"{wording.figure(per_gram['high'])} a gram"
        return text + (f", {wording.figure(in_all['high'])} in the sack." if in_all else ".")
    text = f"{name.capitalize()}: {_three(per_gram['middle'])} seeds a gram ({counted}), "
    text += f"{_three(per_gram['low'])} to {_three(per_gram['high'])} as far as that tells"
    if in_all:
        text += f", so about {wording.between(in_all['low'], in_all['high'])} in the sack"
    if entry["mass_percent"]:
        text += f"; about {wording.figure(entry['mass_percent']['middle'])} % of its weight"
    text += "."
    if uneven:
        text += f" The {samples} sub-samples differ more than chance: the sack is not well mixed, so the range is wide."
    return text


def _three(value: float) -> str:
    """Three significant digits: 11.8."""
    return f"{wording.significant(value, 3):,g}"


def _held_words(held: list[str]) -> list[str]:
    if not held:
        return []
    names = weeds_of_concern(held)
    return [f"Look at this lot before promising any of it: it holds {names}. Local rules and a trained eye decide."]


def weeds_of_concern(taxa: list[str]) -> str:
    """Their English names, in one phrase."""
    return wording.joined([_name(taxon) for taxon in taxa])


def _caveats(asked: SackQuestion, found: list[dict[str, Any]]) -> list[str]:
    told = []
    if len(asked.samples) == 1:
        told.append("One sub-sample cannot show whether the sack is well mixed: take at least five from all depths.")
    elif len(asked.samples) < _number("limits", "fewest_samples"):
        told.append("With fewer than five sub-samples, an uneven sack can look even.")
    uneven = [entry["english_name"] for entry in found if entry["mixing"] and entry["mixing"]["uneven"]]
    if uneven:
        told.append(
            "Tip the sack out on a clean sheet, mix it, divide the heap until a sub-sample is left, and count again."
        )
    old = asked.years_in_store
    if old >= 1 and any(entry["taxon"] == RATTLE for entry in found):
        told.append("Yellow rattle does not keep: much of it dies within a year of harvest. Test it before sowing.")
    small = [test for test in asked.germination if test.tested < _number("germination", "few_tested")]
    if small:
        names = wording.joined([_name(test.taxon) for test in small])
        told.append(f"Few seeds were tested ({names}): the share alive stays uncertain.")
    return told


def _how_to_draw(asked: SackQuestion) -> list[str]:
    told = [
        f"Take portions from {wording.count(portions(asked.sacks))} places in all, from the top, the middle and the "
        "bottom, put them together, and divide the heap again and again until a sub-sample is left.",
    ]
    if asked.drawn == "top":
        told.append(
            "Pinches from the top describe the top: seed sinks and chaff rises, so take others from below before "
            "relying on these."
        )
    if asked.drawn == "not_said":
        told.append("How these sub-samples were taken is not said; pinches from the top describe the top of the sack.")
    return told


def portions(sacks: int) -> int:
    """Portions to take from a lot in so many sacks, by the rule of the reference rows."""
    every = round(_number("sampling", "every_bag_up_to"))
    if sacks <= every:
        return max(sacks, round(_number("sampling", "cores_at_least")))
    # halves go up
    share = math.floor(_number("sampling", "share_of_bags") * sacks + 1 / 2)
    return min(round(_number("sampling", "bags_beyond")) + share, round(_number("sampling", "bags_at_most")))
