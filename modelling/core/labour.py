"""Hands: person-hours of a task, sessions of a crew, with absence and breaks allowed for."""

from __future__ import annotations

import numpy as np

from modelling.core.distributions import Array


def hours_at_rate(amount: float | Array, rate_per_person_h: Array, passes: Array) -> Array:
    """Person-hours for an amount (m2, kg, plants, t, m) at a rate per person-hour, in `passes` passes."""
    return np.asarray(amount * passes / rate_per_person_h)


def hours_with_machine(machine_h: Array, operator_factor: Array, helpers: Array) -> Array:
    """Person-hours beside a machine: the operator's time is a little longer than the machine's (ASABE EP496)."""
    return np.asarray(machine_h * (operator_factor + helpers))


def clock_hours(work_h: Array, working_share: Array) -> Array:
    """Person-hours on site for person-hours of work: breaks, talk and walking are the rest."""
    return np.asarray(work_h / working_share)


def sessions(on_site_h: Array, volunteers: int, hours_per_session: float, attendance_share: Array) -> Array:
    """Whole sessions for a crew of whom only a share turns up; shape of `on_site_h`."""
    per_session = np.maximum(volunteers * attendance_share, 1) * hours_per_session
    return np.asarray(np.ceil(on_site_h / per_session))
