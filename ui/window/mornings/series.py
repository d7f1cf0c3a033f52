"""The mornings as arrays for the chart, with week average and usual range of every day at once.

The same figures as `journal.ranges.history`, which looks at one day after another and takes ten times as long
for ten years of mornings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from dawnbeat.journal.ranges import Measure, RangeSettings, usual_posture
from dawnbeat.shared.morning import Morning, Posture, StoredReading
from dawnbeat.shared.trace import BoolArray, FloatArray, IntArray

DAY_S = 86_400
_EPOCH = date(1970, 1, 1).toordinal()
METRIC: dict[Measure, str] = {"ln_rmssd": "ln_rmssd", "resting_pulse_bpm": "mean_hr_bpm"}


@dataclass(frozen=True)
class DailyRanges:
    """One entry a day without holes; NaN where there are too few mornings.

    day_s: (d,) midnight of each day as seconds since 1970. week, low, high: (d,).
    """

    day_s: FloatArray
    week: FloatArray
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True)
class Series:
    """One measure of all readings that stand for their day.

    day_s: (n,) increasing. value, low, high: (n,) with its 95 % interval, NaN where unknown.
    usable, other_posture: (n,). reading: (n,) place of each in the list it was made from.
    """

    measure: Measure
    day_s: FloatArray
    value: FloatArray
    low: FloatArray
    high: FloatArray
    usable: BoolArray
    other_posture: BoolArray
    reading: IntArray
    daily: DailyRanges

    def nearest(self, at_s: float) -> int | None:
        """The place of the morning nearest to a moment; None where there are none."""
        if not self.day_s.size:
            return None
        return int(np.abs(self.day_s - at_s).argmin())


def seconds_of(day: date) -> float:
    """Midnight of a day, without any time zone, as seconds since 1970."""
    return float((day.toordinal() - _EPOCH) * DAY_S)


def day_of(at_s: float) -> date:
    """The day of a moment on the chart."""
    return date.fromordinal(int(at_s // DAY_S) + _EPOCH)


def standing_for_day(readings: Sequence[StoredReading]) -> list[int]:
    """Places of the readings that stand for their day: the one that counts, else the day's last."""
    chosen: dict[date, int] = {}
    for place, reading in enumerate(readings):
        day = reading.local_date
        if day not in chosen or not readings[chosen[day]].counts:
            chosen[day] = place
    return [chosen[day] for day in sorted(chosen)]


def posture_of(readings: Sequence[StoredReading], settings: RangeSettings) -> Posture | None:
    """The usual posture on the last day that has a reading."""
    if not readings:
        return None
    last = readings[-1].local_date
    recent = [
        Morning(each.local_date, None, None, each.posture, each.hour, each.verdict.usable)
        for each in readings
        if (last - each.local_date).days < settings.week_days + settings.history_days
        and (each.counts or not each.verdict.usable)
    ]
    return usual_posture(recent, last, settings)


def series_of(readings: Sequence[StoredReading], measure: Measure, settings: RangeSettings) -> Series:
    """Arrays of one measure; `readings` by day, as the journal gives them."""
    places = standing_for_day(readings)
    chosen = [readings[place] for place in places]
    posture = posture_of(readings, settings)
    name, nothing = METRIC[measure], (np.nan, np.nan)
    day_s = np.array([seconds_of(each.local_date) for each in chosen], dtype=np.float64)
    value = np.array([getattr(each.metrics, name) for each in chosen], dtype=np.float64)
    bounds = np.array([each.intervals95.get(name, nothing) for each in chosen], dtype=np.float64).reshape(-1, 2)
    usable = np.array([each.verdict.usable for each in chosen], dtype=np.bool_)
    other = np.array([each.posture != posture for each in chosen], dtype=np.bool_)
    counted = usable & ~other & np.isfinite(value)
    return Series(
        measure,
        day_s,
        value,
        bounds[:, 0],
        bounds[:, 1],
        usable,
        other,
        np.array(places, dtype=np.int64),
        daily_ranges(day_s, np.where(counted, value, np.nan), settings),
    )


def daily_ranges(day_s: FloatArray, value: FloatArray, settings: RangeSettings) -> DailyRanges:
    """Week average and usual range as they stood on every day from the first to the last.

    day_s: (n,) increasing, one entry a day. value: (n,), NaN for what doesn't count.
    """
    if not day_s.size:
        nothing = np.zeros(0)
        return DailyRanges(nothing, nothing, nothing, nothing)
    at = np.round((day_s - day_s[0]) / DAY_S).astype(np.int64)
    grid = np.full(int(at[-1]) + 1, np.nan)
    grid[at] = value
    there = np.isfinite(grid)
    # Sums of squares lose digits unless they are taken around the middle.
    middle = float(grid[there].mean()) if there.any() else 0.0
    away = np.where(there, grid - middle, 0.0)
    week_n, week_sum, _ = _rolling(there, away, 0, settings.week_days)
    n, total, squares = _rolling(there, away, settings.week_days, settings.history_days)
    with np.errstate(divide="ignore", invalid="ignore"):
        week = np.where(week_n >= settings.week_minimum, middle + week_sum / week_n, np.nan)
        mean = total / n
        sd = np.sqrt(np.maximum(squares - n * mean**2, 0.0) / (n - 1))
        enough = n >= settings.history_minimum
        half = settings.worthwhile_sd * sd
        low = np.where(enough, middle + mean - half, np.nan)
        high = np.where(enough, middle + mean + half, np.nan)
    return DailyRanges(day_s[0] + DAY_S * np.arange(grid.size, dtype=np.float64), week, low, high)


def _rolling(there: BoolArray, away: FloatArray, skip: int, days: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Count, sum and sum of squares over the `days` that end `skip` days before each day."""
    last = np.maximum(np.arange(there.size) + 1 - skip, 0)
    first = np.maximum(last - days, 0)
    found = []
    for each in (there.astype(np.float64), away, away**2):
        running = np.concatenate(([0.0], np.cumsum(each)))
        found.append(running[last] - running[first])
    return found[0], found[1], found[2]
