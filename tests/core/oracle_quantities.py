"""The quantities again, slowly: one draw at a time, plain numbers, written from the descriptions and not the code.

Nothing here uses arrays, and nothing here is fast.
"""

import math
from fractions import Fraction


def triangular(u: float, low: float, mode: float, high: float) -> float:
    """Find by halving where the area under the triangle is `u`."""

    def area(x: float) -> float:
        if x <= low:
            return 0.0
        if x >= high:
            return 1.0
        if x < mode:
            return (x - low) ** 2 / ((high - low) * (mode - low))
        return 1 - (high - x) ** 2 / ((high - low) * (high - mode)) if high > mode else 1.0

    left, right = low, high
    for _ in range(200):
        middle = (left + right) / 2
        left, right = (middle, right) if area(middle) < u else (left, middle)
    return (left + right) / 2


def quantile(draws: list[float], share: float) -> float:
    """Straight lines between the sorted draws."""
    ordered = sorted(draws)
    place = share * (len(ordered) - 1)
    below = math.floor(place)
    above = min(below + 1, len(ordered) - 1)
    return ordered[below] + (place - below) * (ordered[above] - ordered[below])


def live_seeds_per_m2(kg: float, inert: float, share: float, area_m2: float, grams: float, live: float) -> float:
    """Seeds that can grow, on each square metre, of one kind in a sack."""
    pure_grams = kg * 1000 * (1 - inert) * share
    seeds = pure_grams / (grams / 1000)
    return seeds * live / area_m2


def person_hours(amount: float, rate: float, passes: float) -> float:
    """Hours one person takes to go over an amount so many times."""
    return passes * amount / rate


def sessions(hours: float, volunteers: int, session_h: float, attendance: float) -> int:
    """Sessions held until the hours are worked off by those who come; somebody always comes."""
    each = max(volunteers * attendance, 1) * session_h
    held, left = 0, hours
    while left > 1e-12:
        held += 1
        left = hours - held * each
    return held


def machine_hours(area_m2: float, passes: float, speed: float, width: float, efficiency: float) -> float:
    """Hours to drive every strip of the ground, turning included."""
    metres = area_m2 / width * passes
    return metres / (speed * 1000) / efficiency


def hire_gbp(days: int, first_day_gbp: float) -> float:
    """Hire terms: 40 % of the week's rate for a day, 60, 75, then the week; each day beyond a fifth more."""
    week = first_day_gbp / 0.4
    if days <= 0:
        return 0.0
    if days <= 7:
        return week * {1: 0.4, 2: 0.6, 3: 0.75}.get(days, 1.0)
    return week * (1 + 0.2 * (days - 7))


def whole_life(setup: float, first_year: float, yearly: float, rate: float, years: int) -> float:
    """Pounds of today: each later year's pound is worth less by the rate."""
    total, worth = setup, 1.0
    for year in range(1, years + 1):
        worth /= 1 + rate
        total += worth * (first_year if year == 1 else yearly)
    return total


def undominated(costs: list[float], outcomes: list[float]) -> list[bool]:
    """Leave out whoever somebody else beats on one count without losing on the other."""
    everybody = list(zip(costs, outcomes, strict=True))
    return [
        not any((c < cost and o >= outcome) or (c <= cost and o > outcome) for c, o in everybody)
        for cost, outcome in everybody
    ]


def least_cost(amount: Fraction, packs: dict[Fraction, float]) -> float:
    """Least cost of whole packs that hold at least `amount`, by dynamic programming over the common unit."""
    common = math.lcm(*(size.denominator for size in packs))
    unit = math.gcd(*(int(size * common) for size in packs))
    sizes = {int(size * common) // unit: price for size, price in packs.items()}
    needed = math.ceil(amount * common / unit)
    best = [0.0]
    for units in range(1, needed + 1):
        best.append(min(price + best[max(units - size, 0)] for size, price in sizes.items()))
    return best[needed]
