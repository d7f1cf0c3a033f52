"""Training load: Banister's training impulse and Foster's session rating, and what is made of a week of it.

Banister 1991 (in MacDougall, Wenger & Green, Physiological Testing of the High-Performance Athlete, 2nd ed.,
403-424): minutes * x * a * exp(b * x), where x is the share of the heart-rate reserve at the mean pulse, with
a = 0.64, b = 1.92 for men and a = 0.86, b = 1.67 for women. The weight rises faster than the pulse, so it is summed by
segment, here over the time at each whole pulse: the mean pulse of a run of repetitions says too little. Foster 1998
(Med Sci Sports Exerc 30:1164-1168): load = rating (0 to 10) * minutes; monotony = mean of the seven daily loads /
their standard deviation; strain = the week's load * monotony. The paper does not say which standard deviation; here it
is that of a sample.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal, get_args

import numpy as np

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training.run import RunFigures, check_felt_effort
from dawnbeat.training.zones import Anchors

Coefficients = Literal["men", "women"]
COEFFICIENTS: tuple[Coefficients, ...] = get_args(Coefficients)
_A_AND_B: dict[Coefficients, tuple[float, float]] = {"men": (0.64, 1.92), "women": (0.86, 1.67)}
# With less of a run measured, its mean pulse does not speak for the rest.
LEAST_MEASURED = 0.75
WEEK_DAYS = 7


def coefficients_from(text: str) -> Coefficients:
    """The coefficients by name; raises DawnbeatError for any other word."""
    for each in COEFFICIENTS:
        if text == each:
            return each
    raise DawnbeatError(f"coefficients {text!r} are unknown: say {' or '.join(COEFFICIENTS)}")


def trimp(
    duration_s: float, mean_bpm: float, resting_bpm: float, maximum_bpm: float, coefficients: Coefficients
) -> float:
    """Training impulse of one run, in arbitrary units; a mean pulse at or below resting gives 0."""
    Anchors(resting_bpm, maximum_bpm)
    share = max(0.0, (mean_bpm - resting_bpm) / (maximum_bpm - resting_bpm))
    a, b = _A_AND_B[coefficients]
    return duration_s / 60 * share * a * math.exp(b * share)


def trimp_of(figures: RunFigures, anchors: Anchors, coefficients: Coefficients) -> float | None:
    """Training impulse of a run, summed over the time at each pulse; what wasn't measured counts like the rest.

    None without resting pulse and maximum, or where less than three quarters of the run were measured.
    """
    resting, maximum = anchors.resting_bpm, anchors.maximum_bpm
    if figures.mean_bpm is None or resting is None or maximum is None:
        return None
    if figures.measured_s < LEAST_MEASURED * figures.duration_s:
        return None
    a, b = _A_AND_B[coefficients]
    share = ((np.arange(figures.ms_at_bpm.size) - resting) / (maximum - resting)).clip(0)
    measured = float(figures.ms_at_bpm / 60_000 @ (share * a * np.exp(b * share)))
    return measured * figures.duration_s / figures.measured_s


def session_load(felt_effort: float | None, duration_s: float) -> float | None:
    """Rating times minutes; None without a rating."""
    rating = check_felt_effort(felt_effort)
    return None if rating is None else rating * duration_s / 60


@dataclass(frozen=True)
class WeekLoad:
    """A week by Foster. monotony and strain: None where all days are equal, which has no defined value."""

    load: float
    monotony: float | None
    strain: float | None


def week_load(daily: Sequence[float]) -> WeekLoad:
    """Load, monotony and strain of seven days, days of rest included as 0."""
    if len(daily) != WEEK_DAYS:
        raise DawnbeatError(f"{len(daily)} days: a week has {WEEK_DAYS}")
    load, spread = float(sum(daily)), statistics.stdev(daily)
    if spread <= 1e-9 * max(load, 1.0):
        return WeekLoad(load, None, None)
    monotony = load / WEEK_DAYS / spread
    return WeekLoad(load, monotony, load * monotony)


def daily_loads(loads: Iterable[tuple[date, float]]) -> dict[date, float]:
    """The sum of each day that has any."""
    daily: dict[date, float] = {}
    for day, load in loads:
        daily[day] = daily.get(day, 0.0) + load
    return daily
