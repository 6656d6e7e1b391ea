"""Every quantity against a plain version that goes one draw at a time, and against SciPy where SciPy has it."""

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some
from scipy import stats

from modelling.core import cost, distributions, labour, machinery, seed, summary
from modelling.core.parameters import INERT, Number, ParameterSet
from modelling.core.plan import SeedItem
from modelling.core.sampling import draw, exponentials, normals, uniforms
from tests.core import oracle_quantities as slow
from tests.core.conftest import made, shipped

#: the same examples every time, and as long as it takes
STEADY = settings(deadline=None, derandomize=True, max_examples=120)

SHARES = np.array([0.0, 0.001, 0.1, 0.25, 0.3, 0.5, 0.9, 0.999])
#: points of the middle and of the 10 and 90 % marks of a standard normal
THREE_MARKS = stats.norm.ppf([0.1, 0.5, 0.9])

amounts = some.floats(min_value=1e-3, max_value=1e6)
shares = some.floats(min_value=0, max_value=1)
pounds = some.floats(min_value=0, max_value=1e6)


@STEADY
@given(some.floats(0, 1, exclude_max=True), some.lists(some.integers(-400, 400), min_size=3, max_size=3, unique=True))
def test_triangular_against_halving(u: float, eighths: list[int]) -> None:
    low, mode, high = (corner / 8 for corner in sorted(eighths))
    found = distributions.triangular(np.array([u]), low, mode, high)[0]
    assert found == pytest.approx(slow.triangular(u, low, mode, high), abs=1e-6 * max(high - low, 1))


@pytest.mark.parametrize(("low", "mode", "high"), [(5, 8, 14), (2, 2, 9), (1, 6, 6), (0.6, 0.8, 0.95)])
def test_triangular_against_scipy(low: float, mode: float, high: float) -> None:
    law = stats.triang((mode - low) / (high - low), loc=low, scale=high - low)
    assert distributions.triangular(SHARES, low, mode, high) == pytest.approx(law.ppf(SHARES), rel=1e-12)


def test_triangular_of_one_point_is_that_point() -> None:
    assert list(distributions.triangular(SHARES, 3, 3, 3)) == [3] * len(SHARES)


def test_lognormal_passes_through_its_three_points_as_in_scipy() -> None:
    low, median, high = 0.8, 1.0, 1.25
    sd = math.log(high / low) / (2 * stats.norm.ppf(0.9))
    law = stats.lognorm(sd, scale=median)
    found = distributions.lognormal(THREE_MARKS, low, median, high)
    assert found == pytest.approx(law.ppf([0.1, 0.5, 0.9]), rel=1e-12)
    assert found == pytest.approx([low, median, high], rel=1e-12)


def test_logitnormal_passes_through_its_three_points_as_the_logistic_of_a_normal() -> None:
    low, median, high = 0.2, 0.5, 0.8
    normal = stats.norm(loc=math.log(median / (1 - median)), scale=math.log(high / (1 - high)) / stats.norm.ppf(0.9))
    expected = 1 / (1 + np.exp(-normal.ppf([0.1, 0.5, 0.9])))
    found = distributions.logitnormal(THREE_MARKS, low, median, high)
    assert found == pytest.approx(expected, rel=1e-12)
    assert found == pytest.approx([low, median, high], rel=1e-12)


def test_normal_passes_through_its_three_points_as_in_scipy() -> None:
    law = stats.norm(loc=5, scale=1 / stats.norm.ppf(0.9))
    assert distributions.normal(THREE_MARKS, 4, 5, 6) == pytest.approx(law.ppf([0.1, 0.5, 0.9]), rel=1e-12)


def test_draws_of_each_law_are_spread_as_the_law(parameters: ParameterSet) -> None:
    # Kolmogorov and Smirnov: the largest gap to the law stays below 1.63 / sqrt(n) in 99 cases of 100
    n = 20_000
    numbers = {
        "triangular": parameters.number("rates", "volunteers", "attendance_share"),
        "lognormal": parameters.number("planning", "work", "site_pace"),
        "normal": parameters.number("site_values", "wetness:damp", "ellenberg_f"),
    }
    half_width = 2 * stats.norm.ppf(0.9)
    for shape, number in numbers.items():
        low, mode, high = number.low, number.mode, number.high
        law = {
            "triangular": stats.triang((mode - low) / (high - low), loc=low, scale=high - low),
            "lognormal": stats.lognorm(math.log(high / low) / half_width, scale=mode),
            "normal": stats.norm(loc=mode, scale=(high - low) / half_width),
        }[shape]
        assert number.shape == shape
        assert stats.kstest(draw(number, 1, n), law.cdf).statistic < 1.63 / math.sqrt(n)


def test_plain_draws_are_spread_as_their_laws() -> None:
    n = 20_000
    for drawn, law in (
        (uniforms(1, "a", n), stats.uniform),
        (normals(1, "a", n), stats.norm),
        (exponentials(1, "a", n), stats.expon),
    ):
        assert stats.kstest(drawn, law.cdf).statistic < 1.63 / math.sqrt(n)


def test_a_row_without_a_law_cannot_be_drawn(parameters: ParameterSet) -> None:
    with pytest.raises(ValueError, match="olsen_p, index_1: a row of shape band cannot be drawn"):
        draw(parameters.number("soil_bands", "olsen_p", "index_1"), 1, 10)


@STEADY
@given(some.lists(some.floats(-1e6, 1e6), min_size=1, max_size=60), shares)
def test_quantiles_against_sorting_by_hand(draws: list[float], share: float) -> None:
    found = summary.quantiles(np.array(draws), (share,))[0]
    assert found == pytest.approx(slow.quantile(draws, share), rel=1e-9, abs=1e-6)


@STEADY
@given(some.lists(some.tuples(some.integers(-9, 9), some.integers(-9, 9)), min_size=3, max_size=80))
def test_rank_correlation_against_scipy(pairs: list[tuple[int, int]]) -> None:
    a, b = (np.array(column, dtype=float) for column in zip(*pairs, strict=True))
    found = summary.squared_rank_correlation(a, b)
    if np.ptp(a) == 0 or np.ptp(b) == 0:
        assert found == 0
    else:
        assert found == pytest.approx(stats.spearmanr(a, b).statistic ** 2, abs=1e-9)
    assert list(summary.ranks(a) + 1) == list(stats.rankdata(a))


def test_shares_of_the_spread_add_up_within_a_group_and_to_one_at_most() -> None:
    n = 4000
    a, b, c = (normals(1, name, n) for name in "abc")
    found = summary.spread_shares({"soil/a": a, "soil/b": b, "care/c": c}, 3 * a + 4 * b + 5 * c)

    def squared(parts: float) -> float:
        # of normals with correlation r the ranks have the correlation 6 / pi x arcsin(r / 2) (Pearson 1907)
        return (6 / math.pi * math.asin(math.sqrt(parts / 50) / 2)) ** 2

    assert found["soil"] == pytest.approx(squared(9) + squared(16), abs=0.03)
    assert found["care"] == pytest.approx(squared(25), abs=0.03)
    twice = summary.spread_shares({"x/a": a, "y/a": a}, a)
    assert sum(twice.values()) == pytest.approx(1)


@STEADY
@given(some.lists(some.tuples(some.integers(0, 9), some.integers(0, 9)), min_size=1, max_size=12))
def test_undominated_against_brute_force(pairs: list[tuple[int, int]]) -> None:
    costs, outcomes = ([float(x) for x in column] for column in zip(*pairs, strict=True))
    flags = summary.undominated(costs, outcomes)
    assert flags == slow.undominated(costs, outcomes)
    assert any(flags)


@pytest.mark.parametrize("wrong", [math.nan, math.inf, -math.inf])
def test_a_result_that_is_not_finite_is_refused(wrong: float) -> None:
    with pytest.raises(summary.NotFiniteError):
        summary.quantiles(np.array([1.0, wrong]), (0.5,))


@STEADY
@given(amounts, some.floats(1, 1e4), some.floats(1, 5), some.floats(0.3, 1))
def test_person_hours_and_time_on_site(amount: float, rate: float, passes: float, working: float) -> None:
    hours = labour.hours_at_rate(amount, np.array([rate]), np.array([passes]))
    assert hours[0] == pytest.approx(slow.person_hours(amount, rate, passes))
    assert labour.clock_hours(hours, np.array([working]))[0] * working == pytest.approx(hours[0])


@STEADY
@given(some.floats(0, 500), some.integers(1, 40), some.floats(1, 8), some.floats(0.3, 1))
def test_sessions_against_holding_one_after_the_other(hours: float, people: int, length: float, came: float) -> None:
    found = labour.sessions(np.array([hours]), people, length, np.array([came]))[0]
    left_over = math.remainder(hours, max(people * came, 1) * length)
    if abs(left_over) > 1e-9 * max(hours, 1):
        assert found == slow.sessions(hours, people, length, came)


def test_sessions_allow_for_people_who_do_not_come() -> None:
    # 8 people for 3 hours are 24 hours of work if all come, and 19.2 if four in five do
    work = np.array([24.0, 24.0, 19.2, 19.3, 0.0])
    came = np.array([1.0, 0.8, 0.8, 0.8, 0.8])
    assert list(labour.sessions(work, 8, 3, came)) == [1, 2, 1, 2, 0]


def test_one_person_alone_is_still_one_person() -> None:
    assert labour.sessions(np.array([6.0]), 1, 3, np.array([0.5]))[0] == 2


@STEADY
@given(amounts, some.floats(1, 4), some.floats(0.2, 15), some.floats(0.3, 6), some.floats(0.2, 1))
def test_machine_hours_against_driving_every_strip(
    area: float, passes: float, speed: float, width: float, efficiency: float
) -> None:
    capacity = machinery.field_capacity_ha_per_h(np.array(speed), np.array(width), np.array(efficiency))
    found = machinery.machine_hours(area, np.array(passes), capacity)
    assert found == pytest.approx(slow.machine_hours(area, passes, speed, width, efficiency))


def test_a_machine_is_half_as_good_on_its_small_plot_and_whole_on_a_field() -> None:
    efficiency = machinery.small_plot_efficiency(np.array(0.8), 2500.0, 2500.0)
    assert efficiency == pytest.approx(0.4)
    assert machinery.small_plot_efficiency(np.array(0.8), 1e9, 2500.0) == pytest.approx(0.8, rel=1e-5)


@STEADY
@given(some.integers(0, 40), some.floats(1, 500))
def test_hire_charge_against_the_terms(days: int, price: float) -> None:
    found = machinery.hire_charge(np.array([days]), np.array([price]), machinery.hire_rule(shipped()))
    assert found[0] == pytest.approx(slow.hire_gbp(days, price))


@STEADY
@given(pounds, pounds, pounds, some.floats(0.001, 0.2), some.integers(1, 10))
def test_whole_life_against_year_by_year(setup: float, first: float, yearly: float, rate: float, years: int) -> None:
    found = cost.whole_life(np.array(setup), np.array(first), np.array(yearly), rate, years)
    assert found == pytest.approx(slow.whole_life(setup, first, yearly, rate, years), rel=1e-9)


@STEADY
@given(
    some.lists(
        some.tuples(some.sampled_from(["setup", "yearly"]), some.sampled_from(["cash", "in_kind"]), pounds, shares),
        max_size=12,
    )
)
def test_totals_keep_stages_and_cash_and_kind_apart(rows: list[tuple[str, str, float, float]]) -> None:
    lines = tuple(cost.Line(str(i), "", s, "", k, np.array([net]), vat) for i, (s, k, net, vat) in enumerate(rows))
    for stage in ("setup", "yearly"):
        for kind in ("cash", "in_kind"):
            plain = math.fsum(net + net * vat for s, k, net, vat in rows if (s, k) == (stage, kind))
            assert cost.total(lines, stage, kind, 1)[0] == pytest.approx(plain)


def test_a_price_grows_by_the_year() -> None:
    # 3 % a year for two and a half years
    assert cost.grown(np.array(100.0), np.array(0.03), 2.5) == pytest.approx(100 * math.exp(2.5 * math.log(1.03)))


# ------------------------------------------------------------------ seed


def test_live_seeds_of_every_mix_against_one_seed_after_the_other(parameters: ParameterSet) -> None:
    n, world, area, kg = 50, 3, 240.0, 0.7
    for mix in parameters.nouns["mixes"]:
        found = seed.live_by_taxon(parameters, [SeedItem(kg=kg, mix=mix)], area, world, n)
        rows = {x.quantity: x.middle for x in parameters.rows("mix_contents") if x.subject == mix}
        inert = rows.pop(INERT, 0.0)
        assert found.keys() == rows.keys()
        for taxon, share in rows.items():
            grams = draw(parameters.number("taxon_values", taxon, "thousand_seed_weight"), world, n)
            live = draw(parameters.number("taxon_values", taxon, "germination_share"), world, n)
            for d in range(n):
                plain = slow.live_seeds_per_m2(kg, inert, share, area, float(grams[d]), float(live[d]))
                assert found[taxon][d] == pytest.approx(plain, rel=1e-9)


def test_the_same_taxon_from_two_sacks_adds_up(parameters: ParameterSet) -> None:
    mix, alone = SeedItem(kg=1, mix="neutral_flowers_with_rattle"), SeedItem(kg=0.2, taxon="rhinanthus_minor")
    both, first, second = (
        seed.live_by_taxon(parameters, items, 100, 1, 20)["rhinanthus_minor"]
        for items in ([mix, alone], [mix], [alone])
    )
    assert both == pytest.approx(first + second)


def price_list(parameters: ParameterSet, item: str) -> dict[Fraction, float]:
    """Sizes as printed, and the most likely price of each."""
    return {Fraction(row.extra["pack_size"]): row.middle for row in parameters.packs[item]}


def bought(packs: tuple[seed.Pack, ...], amount: float) -> tuple[Fraction, float]:
    """What the packs chosen hold, and what they cost."""
    chosen = seed.cheapest_packs(amount, packs)
    price = {pack.size: pack.price.middle for pack in packs}
    held = sum((Fraction(str(size)) * count for size, count in chosen.items()), Fraction(0))
    return held, sum(price[size] * count for size, count in chosen.items())


def test_packs_of_every_price_list_hold_enough_at_least_cost(parameters: ParameterSet) -> None:
    for item in parameters.packs:
        listed = price_list(parameters, item)
        packs = seed.packs_of(parameters, item)
        smallest, largest = min(listed), max(listed)
        wanted = [smallest * k / 2 for k in range(1, 60)]
        wanted += [largest * 3 * Fraction(k * k + 7, 1600) for k in range(1, 40)]
        for amount in wanted:
            held, paid = bought(packs, float(amount))
            assert held >= amount * (1 - Fraction(1, 10**7)), (item, float(amount))
            assert paid == pytest.approx(slow.least_cost(amount, listed)), (item, float(amount))


@STEADY
@given(
    some.lists(some.integers(2, 6), min_size=1, max_size=4),
    some.lists(some.floats(0.5, 0.99), min_size=4, max_size=4),
    some.integers(1, 3000),
)
def test_packs_of_any_nesting_list_that_is_cheaper_by_weight_cost_least(
    steps: list[int], discounts: list[float], amount: int
) -> None:
    sizes, prices = [1], [1.0]
    for times, discount in zip(steps, discounts, strict=False):
        sizes.append(sizes[-1] * times)
        prices.append(prices[-1] * times * discount)
    packs = tuple(
        seed.Pack(float(size), made(mode=price, shape="fixed", unit="GBP"))
        for size, price in zip(reversed(sizes), reversed(prices), strict=True)
    )
    listed = {Fraction(size): price for size, price in zip(sizes, prices, strict=True)}
    held, paid = bought(packs, float(amount))
    assert held >= amount
    assert paid == pytest.approx(slow.least_cost(Fraction(amount), listed))


def test_nothing_needed_nothing_bought(parameters: ParameterSet) -> None:
    assert seed.cheapest_packs(0.0, seed.packs_of(parameters, "seed_rattle")) == {}


def test_a_number_in_the_middle_of_a_band_and_at_its_open_end() -> None:
    def band(low: float | None, high: float | None) -> Number:
        return made(low=low, high=high, shape="band", unit="mg/l")

    assert band(10, 15).middle == 12.5
    assert band(281, None).middle == 281


def test_a_helper_beside_the_operator_works_as_long_as_the_machine() -> None:
    # 2 machine hours: 2.2 of the operator and 2 of the helper
    assert labour.hours_with_machine(np.array(2.0), np.array(1.1), np.array(1.0)) == pytest.approx(4.2)


@pytest.mark.parametrize(
    ("item", "on_bare", "middle"),
    [
        (SeedItem(1, mix="neutral_flowers_with_rattle"), True, 1.5),
        (SeedItem(1, mix="neutral_flowers_with_rattle"), False, 1),
        (SeedItem(1, taxon="rhinanthus_minor"), True, 0.1),
        (SeedItem(1, taxon="rhinanthus_minor"), False, 0.25),
        # no rate of its own: that of one kind in patches
        (SeedItem(1, taxon="primula_veris"), False, 0.2),
        # only meant for bare ground
        (SeedItem(1, mix="cornfield_annuals"), False, 2),
    ],
)
def test_the_usual_rate_of_an_item(parameters: ParameterSet, item: SeedItem, on_bare: bool, middle: float) -> None:
    assert seed.usual_rate(parameters, item, on_bare).middle == middle
