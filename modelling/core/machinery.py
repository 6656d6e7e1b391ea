"""Machines: what they cover in an hour, what hiring and owning them costs, and vibration.

Field capacity, repair and ownership follow ASABE D497 and EP496 as taught by university extension services;
vibration follows the points method of HSE L140.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from modelling.core.distributions import Array
from modelling.core.parameters import ParameterSet
from modelling.core.units import DAYS_PER_WEEK, M2_PER_HA, M_PER_KM

#: hours over which vibration exposure is averaged: an eight-hour day, HSE L140
HAV_POINTS_DAY_H = 8
_HOURS_PER_THOUSAND = M_PER_KM


def field_capacity_ha_per_h(speed_km_per_h: Array, width_m: Array, efficiency_share: Array) -> Array:
    """Hectares worked in an hour: speed x width x efficiency / 10. Scalars or arrays of one shape."""
    return np.asarray(speed_km_per_h * M_PER_KM * width_m * efficiency_share / M2_PER_HA)


def small_plot_efficiency(efficiency_share: Array, area_m2: float, half_area_m2: float) -> Array:
    """Field efficiency on a small plot: halved where the plot is `half_area_m2`, turning takes the rest."""
    return np.asarray(efficiency_share * area_m2 / (area_m2 + half_area_m2))


def machine_hours(area_m2: float, passes: Array, capacity_ha_per_h: Array) -> Array:
    """Hours of the machine at work for whole passes over the area, turning included."""
    return np.asarray(area_m2 / M2_PER_HA * passes / capacity_ha_per_h)


def vibration_points(acceleration_m_per_s2: Array, hours: Array) -> Array:
    """Exposure points of one person: 2 x a^2 x hours (100 is the action value for a day, 400 the limit)."""
    return np.asarray(2 * acceleration_m_per_s2**2 * hours)


def daily_exposure_m_per_s2(acceleration_m_per_s2: Array, hours: Array) -> Array:
    """Daily exposure A(8) in m/s2."""
    return np.asarray(acceleration_m_per_s2 * np.sqrt(hours / HAV_POINTS_DAY_H))


def hours_to_exposure(acceleration_m_per_s2: float, exposure_m_per_s2: float) -> float:
    """Hours in a day until the exposure A(8) is reached."""
    return HAV_POINTS_DAY_H * (exposure_m_per_s2 / acceleration_m_per_s2) ** 2


@dataclass(frozen=True, slots=True)
class HireRule:
    """Charge as a share of the week's rate: one, two, three days, four to seven, and each day beyond."""

    one_day: float
    two_days: float
    three_days: float
    week: float
    each_further_day: float
    days_in_week: int = DAYS_PER_WEEK


def hire_rule(parameters: ParameterSet) -> HireRule:
    """The rule of the reference tables."""

    def value(quantity: str) -> float:
        return parameters.value("rates", "hire_period", quantity)

    return HireRule(value("one_day"), value("two_days"), value("three_days"), value("week"), value("each_further_day"))


def hire_charge(days: Array, day_price_gbp: Array, rule: HireRule) -> Array:
    """Pounds for whole hire days; the week's rate is the day price over the one-day share."""
    week = day_price_gbp / rule.one_day
    share = np.select(
        [days <= 0, days <= 1, days <= 2, days <= 2 + 1, days <= rule.days_in_week],
        [0.0, rule.one_day, rule.two_days, rule.three_days, rule.week],
        default=rule.week + rule.each_further_day * (days - rule.days_in_week),
    )
    return np.asarray(week * share)


def repair_share_of_list_price(hours: Array, repair_factor_1: float, repair_factor_2: float) -> Array:
    """Repairs over the life so far as a share of the list price: RF1 x (hours / 1000)^RF2 (ASABE D497)."""
    return np.asarray(repair_factor_1 * (hours / _HOURS_PER_THOUSAND) ** repair_factor_2)


def capital_recovery_factor(rate: float, years: float) -> float:
    """Yearly payment per pound borrowed over `years` at `rate`."""
    growth = (1 + rate) ** years
    return float(rate * growth / (growth - 1))


def ownership_gbp_per_year(price_gbp: float, salvage_gbp: float, rate: float, years: float) -> float:
    """Yearly cost of owning: recovery of what is lost in value, and interest on what is left."""
    return capital_recovery_factor(rate, years) * (price_gbp - salvage_gbp) + salvage_gbp * rate
