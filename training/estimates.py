"""Estimates from a test, a race or two pulses, each with its formula, its source and its error.

Daniels & Gilbert 1979 (Oxygen Power, self-published): running at v m/min costs -4.60 + 0.182258 v + 0.000104 v^2
ml/min/kg, and a race of t minutes is run at 0.8 + 0.1894393 exp(-0.012778 t) + 0.2989558 exp(-0.1932605 t) of
the greatest uptake. Uth et al. 2004 (Eur J Appl Physiol 91:111-115): uptake = 15.3 * maximum / resting pulse.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training.zones import Anchors

RACE_LOW_M, RACE_HIGH_M = 1_500.0, 42_200.0
RACE_LOW_S, RACE_HIGH_S = 210.0, 4 * 3600.0
THRESHOLD_RACE_S = 3600.0
_UPTAKE_LOW, _UPTAKE_HIGH = 15.0, 95.0
_DISTANCES: dict[str, float] = {
    "1500 m": 1_500.0,
    "3 km": 3_000.0,
    "5 km": 5_000.0,
    "10 km": 10_000.0,
    "half marathon": 21_097.5,
    "marathon": 42_195.0,
}


@dataclass(frozen=True)
class Estimate:
    """One figure with where it comes from. low, high: value plus and minus the error where one is published."""

    name: str
    value: float
    unit: str
    formula: str
    source: str
    error: str
    low: float | None = None
    high: float | None = None


def uptake_from_pulses(
    resting_bpm: float, maximum_bpm: float, maximum_is_measured: bool, women: bool = False
) -> Estimate:
    """Greatest oxygen uptake from maximum and resting pulse, in ml/min/kg; raises DawnbeatError for odd pulses."""
    Anchors(resting_bpm, maximum_bpm)
    factor = 14.5 if women else 15.3
    value = factor * maximum_bpm / resting_bpm
    error = 2.7 if maximum_is_measured else 4.7
    said = (
        f"standard error of estimate {error} ml/min/kg "
        f"({'4.5' if maximum_is_measured else '7.8'} %) in 36 well-trained men"
    )
    source = "Uth et al. 2004, Eur J Appl Physiol 91:111-115"
    if women:
        # 6.8 % is published with the factor for women; an estimated maximum adds what it added for men.
        share = 0.068 if maximum_is_measured else math.hypot(0.068, math.sqrt(0.078**2 - 0.045**2))
        error = share * value
        said = f"standard error of estimate about {100 * share:.0f} % in trained women"
        source = "Uth 2005, Int J Sports Med 26:763-767"
    return Estimate(
        "oxygen uptake from pulses",
        value,
        "ml/min/kg",
        f"{factor} * maximum / resting pulse",
        source,
        f"{said}; not checked in other runners",
        value - error,
        value + error,
    )


def uptake_from_race(distance_m: float, duration_s: float) -> Estimate:
    """Greatest oxygen uptake from a race, in ml/min/kg; raises DawnbeatError for a race outside the formula."""
    value = _uptake(distance_m, duration_s)
    return Estimate(
        "oxygen uptake from a race",
        value,
        "ml/min/kg",
        "cost of the speed / share of the uptake that is held for the time",
        "Daniels & Gilbert 1979, Oxygen Power",
        "none was published; it supposes a flat course, an even pace and everything given",
    )


@dataclass(frozen=True)
class Equivalent:
    """The time over a distance that costs the same uptake. away: how many times longer or shorter the race was."""

    name: str
    distance_m: float
    duration_s: float
    away: float


EQUIVALENTS_ERROR = (
    "No error was published. Over distances far from the race's, endurance decides, so a time may be several per cent "
    "off (common practice, no source)."
)


def race_equivalents(distance_m: float, duration_s: float) -> list[Equivalent]:
    """Times over the usual distances by the same formula; raises DawnbeatError as `uptake_from_race`."""
    uptake = _uptake(distance_m, duration_s)
    found = []
    for name, other_m in _DISTANCES.items():
        time_s = race_time_s(other_m, uptake)
        if RACE_LOW_S <= time_s <= RACE_HIGH_S:
            found.append(Equivalent(name, other_m, time_s, max(other_m / distance_m, distance_m / other_m)))
    return found


def race_time_s(distance_m: float, uptake: float) -> float:
    """The time in which a distance asks for this uptake (ml/min/kg), in seconds."""
    return _solve(lambda time_s: _asks(distance_m / (time_s / 60), time_s) - uptake, distance_m / 12, distance_m)


def threshold_pace(distance_m: float, duration_s: float) -> Estimate:
    """The pace of a race of one hour with the same uptake, in s/km, from a race."""
    uptake = _uptake(distance_m, duration_s)
    speed = _solve(lambda v: uptake - _asks(v, THRESHOLD_RACE_S), 50.0, 500.0)
    return Estimate(
        "threshold pace from a race",
        60_000 / speed,
        "s/km",
        "pace that the formula gives for a race of one hour",
        "Daniels & Gilbert 1979 for the formula; that threshold pace is about that of an "
        "hour's race is common practice, "
        "no source",
        "none was published",
    )


def _uptake(distance_m: float, duration_s: float) -> float:
    if not RACE_LOW_M <= distance_m <= RACE_HIGH_M:
        raise DawnbeatError(f"a race of {distance_m / 1000:g} km: the formula is used from 1.5 km to a marathon")
    if not RACE_LOW_S <= duration_s <= RACE_HIGH_S:
        raise DawnbeatError(f"a race of {duration_s / 60:.1f} minutes: the formula is used from 3.5 minutes to 4 hours")
    value = _asks(distance_m / (duration_s / 60), duration_s)
    if not _UPTAKE_LOW <= value <= _UPTAKE_HIGH:
        raise DawnbeatError(f"{distance_m:g} m in {duration_s:g} s would ask for {value:.0f} ml/min/kg: check both")
    return value


def _asks(speed_m_per_min: float, duration_s: float) -> float:
    minutes = duration_s / 60
    cost = -4.60 + 0.182258 * speed_m_per_min + 0.000104 * speed_m_per_min**2
    held = 0.8 + 0.1894393 * math.exp(-0.012778 * minutes) + 0.2989558 * math.exp(-0.1932605 * minutes)
    return cost / held


def _solve(falling: Callable[[float], float], low: float, high: float) -> float:
    """Where a falling function crosses zero, by halving: exact to the last digits and never astray."""
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if falling(middle) > 0 else (low, middle)
    return (low + high) / 2
