"""Where this morning and this week stand, with everything that the statement rests on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from scipy.special import stdtrit

from dawnbeat.journal import ranges
from dawnbeat.journal.ranges import (
    DEFAULT,
    Measure,
    RangeSettings,
    Standing,
    UsualRange,
    WeekAverage,
    correlated,
    counts,
    lag1_of,
)
from dawnbeat.journal.store import Journal
from dawnbeat.shared.morning import ORIGINS, POSTURES, Morning, Posture

# A trend is judged as if neighbouring mornings were about as alike as this: by less, chance is called one too often.
_LAG1_TREND = 0.33


@dataclass(frozen=True)
class Trend:
    """Least-squares slope over the trend's days, by week, with its 95 % interval, correlation included."""

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


@dataclass(frozen=True)
class Stand:
    """One measure: this morning against the band of single mornings, this week against the usual range.

    this_morning: None where the reading says nothing about the measure. morning_usual: the range for this morning's
    posture and origin; the same as `usual` in the usual ones. week_away: how many of its own standard errors the week
    lies from the mean, and week_sd: how many standard deviations of single mornings; None where either is unknown.
    morning_away: how many standard deviations of single mornings this morning lies from their mean, or None.
    """

    measure: Measure
    this_morning: float | None
    morning: Standing
    morning_usual: UsualRange | None
    week_average: WeekAverage | None
    week: Standing
    usual: UsualRange | None
    trend: Trend | None
    in_week: int
    in_history: int
    morning_away: float | None = None

    @property
    def week_away(self) -> float | None:
        """Distance of the week from the mean of the usual range in its own standard errors."""
        week, usual = self.week_average, self.usual
        if week is None or usual is None or not week.error > 0:
            return None
        return (week.mean - usual.mean) / week.error

    @property
    def lately_away(self) -> float | None:
        """The same of the last five mornings of the week."""
        week, usual = self.week_average, self.usual
        if week is None or usual is None or not week.lately_error > 0:
            return None
        return (week.lately - usual.mean) / week.lately_error


@dataclass(frozen=True)
class Today:
    """Where a day stands.

    morning: the day's reading that counts, or one that is not usable; None without a reading. usual_posture: the
    posture whose mornings make the week and the range. other_posture, not_usable, set_apart: dates of the week and
    the days before that were left out for their posture or origin, for their verdict, or because they were ill, too
    short, at another hour or marked as not comparable. hours_off: how far this morning's hour is from the usual one,
    in hours, where that is more than the tolerance.
    """

    day: date
    morning: Morning | None
    ln_rmssd: Stand
    resting_pulse: Stand
    usual_posture: Posture | None
    other_posture: tuple[date, ...]
    not_usable: tuple[date, ...]
    set_apart: tuple[date, ...]
    hours_off: float | None
    settings: RangeSettings


def mornings_for(journal: Journal, today: date, settings: RangeSettings = DEFAULT) -> list[Morning]:
    """The mornings that a day is judged by."""
    reach = max(settings.reach_days, settings.trend_days)
    return journal.mornings(today - timedelta(days=reach), today)


def stand_of(mornings: Sequence[Morning], today: date, settings: RangeSettings = DEFAULT) -> Today:
    """Where a day stands among the mornings given, one a day."""
    first = today - timedelta(days=settings.reach_days - 1)
    recent = [each for each in mornings if each.date <= today]
    morning = next((each for each in recent if each.date == today), None)
    usual = ranges.daily_ranges(recent, "resting_pulse_bpm", today, today, settings)
    known = usual.posture[0] >= 0
    posture = POSTURES[int(usual.posture[0])] if known else None
    origin = ORIGINS[int(usual.origin[0])] if known else None
    shown = [each for each in recent if each.date >= first]
    other = tuple(each.date for each in shown if each.usable and (each.posture, each.origin) != (posture, origin))
    not_usable = tuple(each.date for each in shown if not each.usable)
    variability = _stand("ln_rmssd", recent, morning, today, settings)
    counted = _dates(variability)
    left = tuple(each.date for each in shown if each.date not in {*counted, *other, *not_usable})
    return Today(
        day=today,
        morning=morning,
        ln_rmssd=variability,
        resting_pulse=_stand("resting_pulse_bpm", recent, morning, today, settings),
        usual_posture=posture,
        other_posture=other,
        not_usable=not_usable,
        set_apart=left if variability.usual is not None and variability.week_average is not None else (),
        hours_off=_hours_off(morning, float(usual.hour[0]), settings),
        settings=settings,
    )


def _stand(
    measure: Measure, recent: Sequence[Morning], morning: Morning | None, today: date, settings: RangeSettings
) -> Stand:
    found = ranges.daily_ranges(recent, measure, today, today, settings)
    week, usual = ranges.of_one_day(found)
    kind = None if found.posture[0] < 0 else (POSTURES[int(found.posture[0])], ORIGINS[int(found.origin[0])])
    morning_usual, value, away = usual, None, None
    if morning is not None:
        own_kind = (morning.posture, morning.origin)
        if kind is not None and own_kind != kind:
            _, morning_usual = ranges.week_and_range(recent, measure, today, settings, like=own_kind)
        if counts(morning, measure):
            value = getattr(morning, measure)
    if value is not None and morning_usual is not None and morning is not None:
        own = morning.ln_rmssd_error if measure == "ln_rmssd" else morning.pulse_error_bpm
        away = morning_usual.away(value, own)
    alike = [each for each in recent if (each.posture, each.origin) == kind]
    return Stand(
        measure=measure,
        this_morning=value,
        morning=ranges.TOO_FEW
        if morning_usual is None
        else ranges.standing(value, morning_usual.band_low, morning_usual.band_high),
        morning_usual=morning_usual,
        week_average=week,
        week=ranges.TOO_FEW if week is None or usual is None else ranges.standing(week.mean, usual.low, usual.high),
        usual=usual,
        trend=trend(alike, measure, today, settings),
        in_week=int(found.week_n[0]),
        in_history=int(found.n[0]),
        morning_away=away,
    )


def trend(
    mornings: Sequence[Morning], measure: Measure, today: date, settings: RangeSettings = DEFAULT
) -> Trend | None:
    """Straight line by least squares through the last `trend_days` days; None for too few mornings.

    The mornings given are taken as comparable. The error of the slope holds the correlation of one morning with the
    next, drawn towards 0.33: with less of it a steady runner is told of a trend too often.
    """
    first = today - timedelta(days=settings.trend_days - 1)
    found = {
        each.date: float(getattr(each, measure))
        for each in mornings
        if first <= each.date <= today and counts(each, measure) and not each.ill
    }
    dates = tuple(sorted(found))
    if len(dates) < max(settings.trend_minimum, 3):
        return None
    at = np.array([(each - first).days for each in dates])
    values = np.array([found[each] for each in dates])
    weeks = at / 7.0 - np.mean(at / 7.0)
    across = float(weeks @ weeks)
    slope = float(weeks @ values) / across
    there = np.zeros((1, settings.trend_days), dtype=np.bool_)
    rest, weights = np.zeros(there.shape), np.zeros(there.shape)
    there[0, at], rest[0, at], weights[0, at] = True, values - values.mean() - slope * weeks, weeks / across
    freedom = len(dates) - 2
    variance = np.sum(rest**2, axis=1) / freedom
    lag1 = lag1_of(rest, there, variance, _LAG1_TREND)
    # The line takes correlated mornings with it: what it leaves of their variance is known for each correlation.
    of_mean = correlated(there / len(dates), lag1)
    of_slope = correlated(weights, lag1)
    left = np.maximum(1 - of_mean - of_slope * across / len(dates), 0.2)
    true_variance = variance * freedom / len(dates) / left
    error = float(np.sqrt(true_variance * of_slope)[0])
    effective = max(len(dates) * (1 - float(lag1[0])) / (1 + float(lag1[0])) - 2, 3.0)
    half = float(stdtrit(effective, 0.975)) * error
    return Trend(slope, slope - half, slope + half, dates)


def _dates(stand: Stand) -> tuple[date, ...]:
    return tuple(day for each in (stand.week_average, stand.usual) if each is not None for day in each.dates)


def _hours_off(morning: Morning | None, usual_hour: float, settings: RangeSettings) -> float | None:
    if morning is None or usual_hour != usual_hour:
        return None
    off = (morning.hour - usual_hour + 12) % 24 - 12
    return off if abs(off) > settings.hour_tolerance_h else None
