"""Where the runner's values usually lie, and where today and this week stand, as pure functions.

Method: Plews et al. 2013 (Sports Med 43:773-781) and Buchheit 2014 (Front Physiol 5:73). lnRMSSD is averaged
over a week; the usual range is the mean of the mornings before that week, plus and minus half their standard
deviation, the smallest worthwhile change. The same is done for the resting pulse.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal, get_args

import numpy as np
from scipy.special import stdtrit

from dawnbeat.shared.checked_fields import check_fields, number
from dawnbeat.shared.morning import Morning, Posture
from dawnbeat.shared.trace import FloatArray

Measure = Literal["ln_rmssd", "resting_pulse_bpm"]
MEASURES: tuple[Measure, ...] = get_args(Measure)

Standing = Literal[
    "inside your usual range", "below your usual range", "above your usual range", "too few mornings to say"
]
INSIDE: Standing = "inside your usual range"
BELOW: Standing = "below your usual range"
ABOVE: Standing = "above your usual range"
TOO_FEW: Standing = "too few mornings to say"


@dataclass(frozen=True)
class RangeSettings:
    """Windows, minimum counts and the smallest worthwhile change; metadata as in shared Settings.

    Raises DawnbeatError when a value has the wrong type or lies outside its range.
    """

    week_days: int = number(7, 3, 14, "days", "length of the week's average, today included", whole=True)
    week_minimum: int = number(3, 2, 14, "mornings", "fewest usable mornings for a week's average", whole=True)
    history_days: int = number(60, 14, 365, "days", "days before the week that make the usual range", whole=True)
    history_minimum: int = number(14, 3, 365, "mornings", "fewest usable mornings for a usual range", whole=True)
    worthwhile_sd: float = number(0.5, 0.1, 2.0, "SD", "smallest worthwhile change in standard deviations")
    trend_days: int = number(28, 14, 84, "days", "length of the trend, today included", whole=True)
    trend_minimum: int = number(14, 3, 84, "mornings", "fewest usable mornings for a trend", whole=True)
    hour_tolerance_h: float = number(2.0, 0.5, 6.0, "h", "difference from the usual hour that is named")
    far_sd: float = number(2.0, 1.0, 4.0, "SD", "resting pulse this far above its mean is called far above")

    def __post_init__(self) -> None:
        check_fields(self, "setting ")


DEFAULT = RangeSettings()


@dataclass(frozen=True)
class WeekAverage:
    """Mean of the week's usable mornings. cv_pct: their coefficient of variation, 100 SD / mean."""

    mean: float
    cv_pct: float
    dates: tuple[date, ...]

    @property
    def n(self) -> int:
        """How many mornings it rests on."""
        return len(self.dates)


@dataclass(frozen=True)
class UsualRange:
    """Mean and sample standard deviation of the mornings before the week, and the range made of them."""

    low: float
    high: float
    mean: float
    sd: float
    dates: tuple[date, ...]

    @property
    def n(self) -> int:
        """How many mornings it rests on."""
        return len(self.dates)


@dataclass(frozen=True)
class Trend:
    """Least-squares slope over the trend's days, by week, with its 95 % interval (Student's t)."""

    per_week: float
    low: float
    high: float
    dates: tuple[date, ...]

    @property
    def n(self) -> int:
        """How many mornings it rests on."""
        return len(self.dates)

    @property
    def clear(self) -> bool:
        """True where the interval leaves out zero."""
        return self.low > 0 or self.high < 0


def with_posture(mornings: Iterable[Morning], posture: Posture) -> list[Morning]:
    """The mornings that were taken in this posture."""
    return [morning for morning in mornings if morning.posture == posture]


def usual_posture(mornings: Iterable[Morning], today: date, settings: RangeSettings = DEFAULT) -> Posture | None:
    """The most common posture of the usable mornings of the week and the days before; the newer of equals."""
    first = today - timedelta(days=settings.week_days + settings.history_days - 1)
    recent = [each for each in mornings if each.usable and first <= each.date <= today]
    if not recent:
        return None
    counts = Counter(each.posture for each in recent)
    newest = {each.posture: each.date for each in sorted(recent, key=lambda each: each.date)}
    return max(counts, key=lambda posture: (counts[posture], newest[posture]))


def usual_hour(mornings: Iterable[Morning], today: date, settings: RangeSettings = DEFAULT) -> float | None:
    """Median local hour of the usable mornings before today; None for fewer than the week's minimum."""
    first = today - timedelta(days=settings.week_days + settings.history_days - 1)
    hours = [each.hour for each in mornings if each.usable and first <= each.date < today]
    return float(np.median(hours)) if len(hours) >= settings.week_minimum else None


def week_average(
    mornings: Iterable[Morning], measure: Measure, today: date, settings: RangeSettings = DEFAULT
) -> WeekAverage | None:
    """Mean of the usable mornings of the last `week_days` days, today included; None for too few."""
    dates, values = _window(mornings, measure, today - timedelta(days=settings.week_days - 1), today)
    if len(dates) < settings.week_minimum:
        return None
    mean = float(values.mean())
    return WeekAverage(mean, 100.0 * float(values.std(ddof=1)) / abs(mean) if mean else 0.0, dates)


def usual_range(
    mornings: Iterable[Morning], measure: Measure, today: date, settings: RangeSettings = DEFAULT
) -> UsualRange | None:
    """Mean plus and minus `worthwhile_sd` SD of the `history_days` before the week; None for too few."""
    last = today - timedelta(days=settings.week_days)
    dates, values = _window(mornings, measure, last - timedelta(days=settings.history_days - 1), last)
    if len(dates) < settings.history_minimum:
        return None
    mean, sd = float(values.mean()), float(values.std(ddof=1))
    half = settings.worthwhile_sd * sd
    return UsualRange(mean - half, mean + half, mean, sd, dates)


def standing(value: float | None, usual: UsualRange | None) -> Standing:
    """Where a value stands; the bounds themselves are inside."""
    if value is None or usual is None:
        return TOO_FEW
    # Rounding alone must not put a mean of equal values outside a range of no width.
    rounding = 1e-9 * abs(usual.mean)
    if value < usual.low - rounding:
        return BELOW
    return ABOVE if value > usual.high + rounding else INSIDE


def trend(
    mornings: Iterable[Morning], measure: Measure, today: date, settings: RangeSettings = DEFAULT
) -> Trend | None:
    """Straight line by least squares through the last `trend_days` days; None for too few mornings."""
    dates, values = _window(mornings, measure, today - timedelta(days=settings.trend_days - 1), today)
    if len(dates) < settings.trend_minimum:
        return None
    weeks = np.array([each.toordinal() for each in dates], dtype=np.float64) / 7.0
    weeks -= weeks.mean()
    spread = float(weeks @ weeks)
    slope = float(weeks @ values) / spread
    rest = values - values.mean() - slope * weeks
    freedom = len(dates) - 2
    error = float(np.sqrt(rest @ rest / freedom / spread))
    half = float(stdtrit(freedom, 0.975)) * error
    return Trend(slope, slope - half, slope + half, dates)


@dataclass(frozen=True)
class DayRange:
    """One day of the history of a measure, for a plot."""

    date: date
    value: float | None
    week: WeekAverage | None
    usual: UsualRange | None


def history(
    mornings: Sequence[Morning],
    measure: Measure,
    first: date,
    last: date,
    settings: RangeSettings = DEFAULT,
) -> list[DayRange]:
    """Week average and usual range as they stood on each day from `first` to `last`, both included."""
    by_date = {each.date: each for each in mornings if _counts(each, measure)}
    reach = settings.week_days + settings.history_days
    days = []
    for ordinal in range(first.toordinal(), last.toordinal() + 1):
        day = date.fromordinal(ordinal)
        around = [
            by_date[each] for each in (date.fromordinal(ordinal - back) for back in range(reach)) if each in by_date
        ]
        today = by_date.get(day)
        days.append(
            DayRange(
                day,
                None if today is None else getattr(today, measure),
                week_average(around, measure, day, settings),
                usual_range(around, measure, day, settings),
            )
        )
    return days


def _counts(morning: Morning, measure: Measure) -> bool:
    return morning.usable and getattr(morning, measure) is not None


def _window(
    mornings: Iterable[Morning], measure: Measure, first: date, last: date
) -> tuple[tuple[date, ...], FloatArray]:
    """Dates and values, by date, of the usable mornings from `first` to `last`, both included."""
    found = sorted(
        (each.date, float(getattr(each, measure)))
        for each in mornings
        if first <= each.date <= last and _counts(each, measure)
    )
    return tuple(day for day, _ in found), np.array([value for _, value in found], dtype=np.float64)
