"""Simpler ways of sharing seed out, to hold the best one against: one project after the other takes what is nearest."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from modelling.core.share_out import Sharer, Sharing, Whole


def in_turn(sharer: Sharer, order: Sequence[str]) -> Sharing:
    """Each project in turn takes up to its target from the nearest sources; promises are kept first.

    Parameters
    ----------
    order
        Ids of the projects; whoever is not named gets no more than was promised.
    """
    steps = sharer.pinned.copy()
    for name in order:
        place = sharer.place[name]
        own = [int(pair) for pair in np.flatnonzero(sharer.project_of == place)]
        taken = _take(sharer, steps, place, sorted(own, key=lambda pair: (sharer.pairs[pair].km, pair)))
        if not sharer.short(taken):
            steps = taken
    gains = sharer.gains(steps)
    return Sharing(steps, sharer.half_days(steps), gains, float(gains.sum()), proven=False)


def by_gain(sharer: Sharer) -> list[str]:
    """Projects by what they gain for each step of their target, the most first."""
    rates = {
        project.id: float(np.interp(project.most, *sharer.curves[number])) / max(project.most, 1)
        for number, project in enumerate(sharer.projects)
    }
    return sorted(rates, key=lambda name: (-rates[name], name))


def _take(sharer: Sharer, before: Whole, place: int, pairs: Sequence[int]) -> Whole:
    """What a project takes of these pairs, beside what is taken already."""
    steps, project = before.copy(), sharer.projects[place]
    for pair in pairs:
        used = int(sharer.counted(steps)[place])
        if project.most_sources is not None and not steps[pair] and used >= project.most_sources:
            continue
        more = min(project.most - int(sharer.given(steps)[place]), room(sharer, steps, int(sharer.source_of[pair])))
        if more > 0 and steps[pair] + more >= sharer.parcel(pair):
            steps[pair] += more
    return steps


def room(sharer: Sharer, steps: Whole, number: int) -> int:
    """Steps that a source has left, under every limit."""
    source, taken = sharer.sources[number], sharer.taken(steps)
    left = source.most - int(taken[number])
    if source.donor in sharer.donors:
        beside = [place for place, other in enumerate(sharer.sources) if other.donor == source.donor]
        left = min(left, sharer.donors[source.donor] - int(taken[beside].sum()))
    if source.half_days:
        days = sharer.half_days(steps)
        more = source.half_days - int(days[number])
        for stretch in sharer.stretches:
            if source.id in stretch.harvests:
                used = sum(int(days[sharer.at[key]]) for key in stretch.harvests)
                more = min(more, stretch.half_days - used)
        left = min(left, (int(days[number]) + more) * source.yield_of - int(taken[number]))
    return max(left, 0)
