"""Runs beside mornings: what the next morning said, and whether load and variability go together at all.

Silent below 20 pairs. What goes together need not be cause and effect.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np

from dawnbeat.journal import ranges
from dawnbeat.journal.ranges import DEFAULT, Measure, RangeSettings, Standing
from dawnbeat.shared.morning import Morning, Posture
from dawnbeat.shared.wording import between, signed
from dawnbeat.training.periods import WEEK_DAYS, JudgedRun, counting, monday_of
from dawnbeat.training.run_figures import Coefficients

FEWEST_PAIRS = 20
MOSTLY = 0.75
LoadName = Literal["training impulse", "session rating", "minutes run"]


@dataclass(frozen=True)
class DailyLoad:
    """Load by day, by the best measure that most runs have. left_out: runs without it."""

    name: LoadName
    by_day: dict[date, float]
    left_out: int


@dataclass(frozen=True)
class Association:
    """Spearman's rank correlation with its 95 % interval (Bonett & Wright 2000, Psychometrika 65:23-28)."""

    what: str
    n: int
    rho: float
    low: float
    high: float

    @property
    def words(self) -> str:
        """The finding in one line, with what it does not say."""
        said = (
            f"{self.what}: rank correlation {signed(self.rho, 2)} (95 % interval "
            f"{between(self.low, self.high, 2, sign=True)}, {self.n} pairs)"
        )
        if self.low <= 0 <= self.high:
            return f"{said}; the interval holds 0, so it may be chance."
        return f"{said}; that they go together does not say why."


@dataclass(frozen=True)
class HardDay:
    """One of the hardest days and the morning after.

    week_moved: by how much lnRMSSD's week average of the seven days after differs from that of the seven days up
    to it, or None. usual_posture: the posture that most mornings share, None without a usable morning.
    """

    date: date
    load: float
    runs: int
    next_morning: Morning | None
    ln_rmssd: Standing
    resting_pulse: Standing
    week_moved: float | None
    usual_posture: Posture | None = None

    @property
    def not_compared(self) -> str:
        """Why the next morning is held against nothing, in words; empty where it is."""
        after = self.next_morning
        if after is None:
            return "no reading"
        if not after.usable:
            return "reading not usable"
        if self.usual_posture is not None and after.posture != self.usual_posture:
            return f"taken {after.posture}, most are {self.usual_posture}"
        return ""


def daily_load(judged: Sequence[JudgedRun], coefficients: Coefficients = "men") -> DailyLoad:
    """Load by day: the training impulse if three quarters of the runs have it, else rating, else minutes.

    A day on which a run lacks the measure is left out.
    """
    judged = counting(judged)
    measures: dict[LoadName, list[float | None]] = {
        "training impulse": [each.trimp[coefficients] for each in judged],
        "session rating": [each.session_load for each in judged],
        "minutes run": [each.run.figures.duration_s / 60 for each in judged],
    }
    for name, values in measures.items():
        loads = [(each.run.local_date, value) for each, value in zip(judged, values, strict=True)]
        missing = {day for day, value in loads if value is None}
        known = [(day, value) for day, value in loads if value is not None and day not in missing]
        if loads and len(known) >= MOSTLY * len(loads):
            return DailyLoad(name, _summed(known), len(loads) - len(known))
    return DailyLoad("minutes run", {}, 0)


def _summed(loads: Iterable[tuple[date, float]]) -> dict[date, float]:
    """The sum of each day, or Monday, that has any."""
    sums: dict[date, float] = {}
    for day, load in loads:
        sums[day] = sums.get(day, 0.0) + load
    return sums


def next_morning_association(loads: DailyLoad, mornings: Sequence[Morning]) -> Association | None:
    """Load of a day with a run against how far the next morning's lnRMSSD lies from that day's week average."""
    by_date = {each.date: each for each in _comparable(mornings)}
    pairs = []
    for day, load in loads.by_day.items():
        after = by_date.get(day + timedelta(days=1))
        average = _week_before(by_date, day + timedelta(days=1))
        if after is not None and after.ln_rmssd is not None and average is not None:
            pairs.append((load, after.ln_rmssd - average))
    return association(f"{loads.name} and lnRMSSD of the next morning against the week before", pairs)


def week_association(loads: DailyLoad, mornings: Sequence[Morning]) -> Association | None:
    """Load of a week against how lnRMSSD's average moved from the week before it to the week after.

    The week's own average is left out: the load itself lowers it, and its return would look like an answer.
    """
    by_date = {each.date: each for each in _comparable(mornings)}
    by_week = _summed((monday_of(day), load) for day, load in loads.by_day.items())
    pairs = []
    for monday, load in by_week.items():
        moved = _week_moved(by_date, monday, monday + timedelta(days=2 * WEEK_DAYS))
        if moved is not None:
            pairs.append((load, moved))
    return association(f"a week's {loads.name} and how lnRMSSD moved from the week before to the week after", pairs)


def association(what: str, pairs: Iterable[tuple[float, float]]) -> Association | None:
    """Spearman's rank correlation of pairs; None below 20 of them, or where one side does not vary."""
    table = np.array([pair for pair in pairs if all(map(math.isfinite, pair))], dtype=np.float64).reshape(-1, 2)
    n = len(table)
    if n < FEWEST_PAIRS:
        return None
    if (table == table[0]).all(axis=0).any():
        return None
    from scipy.stats import spearmanr  # slow to import

    rho = float(spearmanr(table).statistic)
    middle = math.atanh(max(-0.999999, min(0.999999, rho)))
    half = ranges.NORMAL_95 * math.sqrt((1 + rho**2 / 2) / (n - 3))
    return Association(what, n, rho, math.tanh(middle - half), math.tanh(middle + half))


def hardest_days(
    judged: Sequence[JudgedRun],
    loads: DailyLoad,
    mornings: Sequence[Morning],
    count: int = 10,
    settings: RangeSettings = DEFAULT,
) -> list[HardDay]:
    """The days with the greatest load, hardest first, and where the next morning stood in the usual range."""
    comparable = _comparable(mornings)
    by_date = {each.date: each for each in comparable}
    all_by_date = {each.date: each for each in mornings}
    hardest = sorted(loads.by_day.items(), key=lambda item: (-item[1], item[0]))[:count]
    days = []
    for day, load in hardest:
        next_day = day + timedelta(days=1)
        after = by_date.get(next_day)
        around = _around(by_date, next_day, back=settings.reach_days)
        days.append(
            HardDay(
                date=day,
                load=load,
                runs=sum(each.run.local_date == day for each in counting(judged)),
                next_morning=all_by_date.get(next_day),
                ln_rmssd=_stands(after, "ln_rmssd", around, settings),
                resting_pulse=_stands(after, "resting_pulse_bpm", around, settings),
                week_moved=_week_moved(by_date, day + timedelta(days=1), day + timedelta(days=WEEK_DAYS + 1)),
                usual_posture=comparable[0].posture if comparable else None,
            )
        )
    return days


def _stands(morning: Morning | None, measure: Measure, around: Sequence[Morning], settings: RangeSettings) -> Standing:
    """Where one morning stands in the band that holds 95 of 100 single mornings."""
    usual = None if morning is None else ranges.week_and_range(around, measure, morning.date, settings)[1]
    if morning is None or usual is None:
        return ranges.TOO_FEW
    return ranges.standing(getattr(morning, measure), usual.band_low, usual.band_high)


def _comparable(mornings: Sequence[Morning]) -> list[Morning]:
    """The usable mornings in the posture that most of them share."""
    usable = [each for each in mornings if each.usable]
    if not usable:
        return []
    postures = [each.posture for each in usable]
    most = max(sorted(set(postures)), key=postures.count)
    return [each for each in usable if each.posture == most]


def _week_moved(by_date: dict[date, Morning], one: date, other: date) -> float | None:
    """Mean lnRMSSD of the seven days before the other day, less that before the one; None for too few mornings."""
    before, after = _week_before(by_date, one), _week_before(by_date, other)
    return None if after is None or before is None else after - before


def _week_before(by_date: dict[date, Morning], day: date) -> float | None:
    """Mean lnRMSSD of the seven days before a day; None for too few mornings."""
    last = day - timedelta(days=1)
    average = ranges.week_and_range(_around(by_date, last, WEEK_DAYS), "ln_rmssd", last)[0]
    return None if average is None else average.mean


def _around(by_date: dict[date, Morning], last: date, back: int) -> list[Morning]:
    days = (last - timedelta(days=n) for n in range(back))
    return [by_date[day] for day in days if day in by_date]
