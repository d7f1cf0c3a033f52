"""The mornings as arrays, with the usual range of every day at once; and what was noted against the morning after."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from scipy.special import stdtr, stdtrit

from dawnbeat.journal.ranges import DailyRanges, Measure, RangeSettings, daily_ranges, may_be_used
from dawnbeat.journal.rows import morning_of, one_a_day
from dawnbeat.shared.morning import ORIGINS, POSTURES, RATINGS, StoredReading
from dawnbeat.shared.trace import BoolArray, FloatArray, IntArray
from dawnbeat.shared.wording import DAY_S, between, seconds_of, signed

_METRIC: dict[Measure, str] = {"ln_rmssd": "ln_rmssd", "resting_pulse_bpm": "mean_hr_bpm"}
FEWEST = 20  # below so many mornings a pattern is as likely chance; common practice, no source
FEWEST_OF_A_KIND = 5


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


def series_of(readings: Sequence[StoredReading], measure: Measure, settings: RangeSettings) -> Series:
    """Arrays of one measure; `readings` by day, as the journal gives them."""
    chosen = one_a_day(readings)
    mornings = [morning_of(each) for each in chosen]
    places = {each.id: place for place, each in enumerate(readings)}
    name, nothing = _METRIC[measure], (np.nan, np.nan)
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
        seconds_of(first) + DAY_S * (daily.day - daily.day[0]),
    )


@dataclass(frozen=True)
class Effect:
    """One thing noted, with the deviation of the morning after.

    noted: (n,) what was noted, as a number. deviation: (n,) in percent for RMSSD, in bpm for the pulse, from the
    middle of the usual range that held before. words: what may be said of it.
    """

    title: str
    noted: FloatArray
    deviation: FloatArray
    ticks: tuple[tuple[float, str], ...]
    words: str

    @property
    def n(self) -> int:
        """How many mornings it rests on."""
        return int(self.noted.size)


# A night and an evening are noted on the morning that follows them; how the runner feels is followed by the next.
_SAME_MORNING = ("sleep", "hours_slept", "alcohol", "stress now", "soreness now")
_YES_NO = ((0.0, "no"), (1.0, "yes"))
_TITLES = {
    "sleep": "Sleep of the night before, 1 good to 7 bad",
    "stress now": "Stress on the same morning, 1 low to 7 high",
    "soreness now": "Soreness on the same morning, 1 low to 7 high",
    "stress": "Stress the day before, 1 low to 7 high",
    "fatigue": "Fatigue the day before, 1 low to 7 high",
    "soreness": "Soreness the day before, 1 low to 7 high",
    "hours_slept": "Hours slept the night before",
    "alcohol": "Alcohol the evening before",
    "ill": "Feeling ill the day before",
}


def effects(readings: Sequence[StoredReading], measure: Measure, settings: RangeSettings) -> list[Effect]:
    """One effect for each thing that can be noted, in a fixed order, whether or not anything was noted."""
    series = series_of(readings, measure, settings)
    deviation = deviations(series.day_s, series.value, series.daily.mean)
    if measure == "ln_rmssd":
        deviation = 100.0 * np.expm1(deviation)
    good = series.usable & ~series.other_posture & np.isfinite(deviation)
    by_day = dict(zip(series.day_s[good].tolist(), deviation[good].tolist(), strict=True))
    unit = "%" if measure == "ln_rmssd" else "bpm"
    found = []
    for item, title in _TITLES.items():
        ahead = 0 if item in _SAME_MORNING else 1
        noted, after = [], []
        for place, day_s in zip(series.reading.tolist(), series.day_s.tolist(), strict=True):
            value = getattr(readings[place].context, item.removesuffix(" now"))
            next_value = by_day.get(day_s + ahead * DAY_S)
            if value is not None and next_value is not None:
                noted.append(float(value))
                after.append(next_value)
        x, y = np.array(noted), np.array(after)
        kind = tuple((float(each), str(each)) for each in range(1, 8)) if item.split()[0] in RATINGS else ()
        ticks = _YES_NO if item in ("alcohol", "ill") else kind
        found.append(Effect(title, x, y, ticks, ""))
    return said_together(found, unit)


def said_together(found: Sequence[Effect], unit: str) -> list[Effect]:
    """The effects with what may be said of each, when all of them are looked at together.

    The more things are compared, the more often chance alone looks clear, so the confidence asked of each follows Holm
    1979 (Scand J Stat 6:65-70): the clearest of m must hold at 1 - 0.05 / m, the next at 1 - 0.05 / (m - 1), and so on.
    """
    chances = {
        place: chance_of(each.noted, each.deviation, each.ticks == _YES_NO)
        for place, each in enumerate(found)
        if may_be_compared(each.noted, each.ticks == _YES_NO)
    }
    level, still = dict.fromkeys(chances, 0.05), True
    for rank, place in enumerate(sorted(chances, key=lambda place: chances[place])):
        level[place] = 0.05 / (len(chances) - rank)
        still = still and chances[place] <= level[place]
        if not still:
            level[place] = min(level[place], chances[place] * 0.999999)
    return [
        replace(
            each,
            words=words_for(
                each.noted, each.deviation, each.ticks == _YES_NO, unit, level.get(place, 0.05), _one_more(each)
            ),
        )
        for place, each in enumerate(found)
    ]


def _one_more(effect: Effect) -> str:
    return "for each step up" if effect.ticks else "for each hour more"  # only of sleep no rating is asked for


def may_be_compared(noted: FloatArray, yes_no: bool) -> bool:
    """Whether there are mornings enough to compare at all."""
    if noted.size < FEWEST or np.ptp(noted) == 0:
        return False
    return not yes_no or min(int((noted == 1).sum()), int((noted == 0).sum())) >= FEWEST_OF_A_KIND


def chance_of(noted: FloatArray, deviation: FloatArray, yes_no: bool) -> float:
    """How often chance alone would make a difference as great as this one, 0 to 1."""
    value, error, freedom = _difference_of(noted, deviation, yes_no)
    return float(2 * stdtr(freedom, -abs(value) / error)) if error > 0 else 1.0


def _difference_of(noted: FloatArray, deviation: FloatArray, yes_no: bool) -> tuple[float, float, float]:
    """The difference after yes, or for one more, its standard error, and the degrees of freedom."""
    if not yes_no:
        slope, half = slope_95(noted, deviation)
        return slope, half / 1.96, noted.size - 2.0
    yes, no = deviation[noted == 1], deviation[noted == 0]
    parts = yes.var(ddof=1) / yes.size, no.var(ddof=1) / no.size
    # Welch 1947 (Biometrika 34:28-35).
    freedom = sum(parts) ** 2 / max(parts[0] ** 2 / (yes.size - 1) + parts[1] ** 2 / (no.size - 1), 1e-300)
    return float(yes.mean() - no.mean()), float(np.sqrt(sum(parts))), float(freedom)


def deviations(day_s: FloatArray, value: FloatArray, mean: FloatArray) -> FloatArray:
    """Each morning minus the mean of the usual range of its day; NaN where there is none.

    day_s, value: (n,). mean: (d,) for every day from the first morning on.
    """
    if not day_s.size:
        return np.zeros(0)
    at = np.round((day_s - day_s[0]) / DAY_S).astype(np.int64)
    return np.asarray(value - mean[at])


def words_for(
    noted: FloatArray,
    deviation: FloatArray,
    yes_no: bool,
    unit: str,
    level: float = 0.05,
    one_more: str = "for each step up",
) -> str:
    """What the mornings say, with how many there are; no claim from fewer than FEWEST.

    level: how often chance alone may be called clear; the interval said is that of 1 - level. one_more: what the
    difference is for, where it isn't yes against no.
    """
    n = noted.size
    count = f"n = {n} morning{'' if n == 1 else 's'}"
    if n < FEWEST:
        return f"{count}: too few to say anything (at least {FEWEST})"
    if not may_be_compared(noted, yes_no):
        if yes_no:
            return f"{count}, {int((noted == 1).sum())} of them yes: too few of a kind to compare"
        return f"{count}: always the same, so nothing to compare"
    value, error, freedom = _difference_of(noted, deviation, yes_no)
    said = _difference(value, float(stdtrit(freedom, 1 - level / 2)) * error, unit)
    return f"{count}: {said} {'after yes' if yes_no else one_more}"


def slope_95(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Least-squares slope and the half width of its 95 % interval (normal quantile; n is 20 or more)."""
    away = x - x.mean()
    spread = float(away @ away)
    slope = float(away @ y) / spread
    rest = y - y.mean() - slope * away
    return slope, 1.96 * float(np.sqrt(rest @ rest / (x.size - 2) / spread))


def _difference(value: float, half: float, unit: str) -> str:
    low, high = value - half, value + half
    if low <= 0 <= high:
        return f"no clear difference ({between(low, high, 1, sign=True, unit=unit)})"
    return f"{signed(value, 1)} {unit} ({between(low, high, 1, sign=True, unit=unit)})"
