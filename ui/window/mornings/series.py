"""The mornings as arrays for the chart, with week average and usual range of every day at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from dawnbeat.journal.ranges import DailyRanges, Measure, RangeSettings, daily_ranges
from dawnbeat.journal.rows import morning_of, one_a_day
from dawnbeat.shared.morning import ORIGINS, POSTURES, Morning, StoredReading
from dawnbeat.shared.trace import BoolArray, FloatArray, IntArray

DAY_S = 86_400
_EPOCH = date(1970, 1, 1).toordinal()
METRIC: dict[Measure, str] = {"ln_rmssd": "ln_rmssd", "resting_pulse_bpm": "mean_hr_bpm"}


@dataclass(frozen=True)
class Series:
    """One measure of all readings that stand for their day.

    day_s: (n,) increasing. value, low, high: (n,) with its 95 % interval, NaN where unknown.
    usable: (n,). other_posture: (n,) in another posture, or by another origin, than usual. set_apart: (n,) ill, or
    marked as not comparable. reading: (n,) place of each in the list it was made from. daily: of every day from the
    first to the last, and daily_s: (d,) their midnights; of today alone where there is no morning.
    """

    measure: Measure
    day_s: FloatArray
    value: FloatArray
    low: FloatArray
    high: FloatArray
    usable: BoolArray
    other_posture: BoolArray
    set_apart: BoolArray
    reading: IntArray
    daily: DailyRanges
    daily_s: FloatArray

    def nearest(self, at_s: float) -> int | None:
        """The place of the morning nearest to a moment; None where there are none."""
        if not self.day_s.size:
            return None
        return int(np.abs(self.day_s - at_s).argmin())


def seconds_of_days(day: IntArray) -> FloatArray:
    """The same of ordinals of days, all at once."""
    return np.asarray((day - _EPOCH) * DAY_S, dtype=np.float64)


def seconds_of(day: date) -> float:
    """Midnight of a day, without any time zone, as seconds since 1970."""
    return float((day.toordinal() - _EPOCH) * DAY_S)


def day_of(at_s: float) -> date:
    """The day of a moment on the chart."""
    return date.fromordinal(int(at_s // DAY_S) + _EPOCH)


def series_of(readings: Sequence[StoredReading], measure: Measure, settings: RangeSettings) -> Series:
    """Arrays of one measure; `readings` by day, as the journal gives them."""
    chosen = one_a_day(readings)
    mornings = [morning_of(each) for each in chosen]
    places = {each.id: place for place, each in enumerate(readings)}
    name, nothing = METRIC[measure], (np.nan, np.nan)
    day_s = np.array([seconds_of(each.local_date) for each in chosen], dtype=np.float64)
    value = np.array([getattr(each.metrics, name) for each in chosen], dtype=np.float64)
    bounds = np.array([each.intervals95.get(name, nothing) for each in chosen], dtype=np.float64).reshape(-1, 2)
    first, last = (chosen[0].local_date, chosen[-1].local_date) if chosen else 2 * (date.today(),)
    daily = daily_ranges(mornings, measure, first, last, settings)
    usual = (POSTURES[int(daily.posture[-1])], ORIGINS[int(daily.origin[-1])])
    return Series(
        measure,
        day_s,
        value,
        bounds[:, 0],
        bounds[:, 1],
        np.array([may_be_used(each, measure) for each in mornings], dtype=np.bool_),
        np.array([(each.posture, each.origin) != usual for each in mornings], dtype=np.bool_),
        np.array([bool(each.ill) or not each.comparable for each in mornings], dtype=np.bool_),
        np.array([places[each.id] for each in chosen], dtype=np.int64),
        daily,
        seconds_of_days(daily.day),
    )


def may_be_used(morning: Morning, measure: Measure) -> bool:
    """Whether the reading of a morning may be used for a measure, comparable or not."""
    if measure == "resting_pulse_bpm":
        return morning.usable if morning.pulse_usable is None else morning.pulse_usable
    return morning.usable
