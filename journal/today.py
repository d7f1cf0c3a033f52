"""Where this morning and this week stand, with everything that the statement rests on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from dawnbeat.journal import ranges
from dawnbeat.journal.ranges import DEFAULT, Measure, RangeSettings, Standing, Trend, UsualRange, WeekAverage
from dawnbeat.journal.store import Journal
from dawnbeat.shared.morning import Morning, Posture

IRREGULAR_SHARE_NAMED = 0.05  # common practice, no source
PULSE_DAYS = 3  # common practice, no source: a raised pulse says more when it lasts


@dataclass(frozen=True)
class Stand:
    """One measure: this morning and this week against the usual range, each None or TOO_FEW where it can't
    be said.

    morning_usual: the range for this morning's posture; the same as `usual` in the usual posture.
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


@dataclass(frozen=True)
class Today:
    """Where a day stands.

    morning: the day's reading that counts, or one that is not usable; None without a reading.
    usual_posture: the posture whose mornings make the week and the range. other_posture, not_usable: dates
    of the week and the days before that were left out, and why. hours_off: how far this morning's hour is
    from the usual one, in hours, where that is more than the tolerance. pulse_far_above: dates of the latest
    mornings in a row with the resting pulse far above its mean. ill: dates of the last three days on which
    the runner felt ill.
    """

    day: date
    morning: Morning | None
    ln_rmssd: Stand
    resting_pulse: Stand
    usual_posture: Posture | None
    other_posture: tuple[date, ...]
    not_usable: tuple[date, ...]
    hours_off: float | None
    pulse_far_above: tuple[date, ...]
    ill: tuple[date, ...]
    settings: RangeSettings

    @property
    def irregular_share(self) -> float | None:
        """Share of this morning's intervals that were irregular beats, where it is enough to be named."""
        share = None if self.morning is None else self.morning.irregular_share
        return share if share is not None and share >= IRREGULAR_SHARE_NAMED else None


def today_of(journal: Journal, today: date, settings: RangeSettings = DEFAULT) -> Today:
    """Where a day of the journal stands; later readings are not looked at."""
    reach = max(settings.week_days + settings.history_days, settings.trend_days)
    return stand_of(journal.mornings(today - timedelta(days=reach), today), today, settings)


def stand_of(mornings: Sequence[Morning], today: date, settings: RangeSettings = DEFAULT) -> Today:
    """Where a day stands among the mornings given, one a day."""
    first = today - timedelta(days=settings.week_days + settings.history_days - 1)
    recent = [each for each in mornings if each.date <= today]
    morning = next((each for each in recent if each.date == today), None)
    posture = ranges.usual_posture(recent, today, settings)
    comparable = recent if posture is None else ranges.with_posture(recent, posture)
    shown = [each for each in recent if each.date >= first]
    pulse = _stand("resting_pulse_bpm", comparable, recent, morning, today, settings)
    return Today(
        day=today,
        morning=morning,
        ln_rmssd=_stand("ln_rmssd", comparable, recent, morning, today, settings),
        resting_pulse=pulse,
        usual_posture=posture,
        other_posture=tuple(each.date for each in shown if each.usable and each.posture != posture),
        not_usable=tuple(each.date for each in shown if not each.usable),
        hours_off=_hours_off(recent, morning, today, settings),
        pulse_far_above=_far_above(comparable, pulse.usual, today, settings),
        ill=tuple(each.date for each in recent if each.ill and each.date > today - timedelta(days=PULSE_DAYS)),
        settings=settings,
    )


def _stand(
    measure: Measure,
    comparable: Sequence[Morning],
    recent: Sequence[Morning],
    morning: Morning | None,
    today: date,
    settings: RangeSettings,
) -> Stand:
    usual = ranges.usual_range(comparable, measure, today, settings)
    week = ranges.week_average(comparable, measure, today, settings)
    value = getattr(morning, measure) if morning is not None and morning.usable else None
    morning_usual = usual
    if morning is not None:
        alike = ranges.with_posture(recent, morning.posture)
        morning_usual = ranges.usual_range(alike, measure, today, settings)
    week_first = today - timedelta(days=settings.week_days - 1)
    history_first = week_first - timedelta(days=settings.history_days)
    counted = [each.date for each in comparable if each.usable and getattr(each, measure) is not None]
    return Stand(
        measure=measure,
        this_morning=value,
        morning=ranges.standing(value, morning_usual),
        morning_usual=morning_usual,
        week_average=week,
        week=ranges.standing(None if week is None else week.mean, usual),
        usual=usual,
        trend=ranges.trend(comparable, measure, today, settings),
        in_week=sum(week_first <= day for day in counted),
        in_history=sum(history_first <= day < week_first for day in counted),
    )


def _hours_off(
    recent: Sequence[Morning], morning: Morning | None, today: date, settings: RangeSettings
) -> float | None:
    usual = ranges.usual_hour(recent, today, settings)
    if usual is None or morning is None:
        return None
    off = (morning.hour - usual + 12) % 24 - 12
    return off if abs(off) > settings.hour_tolerance_h else None


def _far_above(
    comparable: Sequence[Morning], usual: UsualRange | None, today: date, settings: RangeSettings
) -> tuple[date, ...]:
    """Dates of the latest mornings in a row, within the week, whose resting pulse is far above its mean."""
    if usual is None:
        return ()
    dates: list[date] = []
    for each in sorted(comparable, key=lambda each: each.date, reverse=True):
        pulse = each.resting_pulse_bpm
        if not each.usable or pulse is None:
            continue
        if (today - each.date).days >= settings.week_days or pulse <= usual.mean + settings.far_sd * usual.sd:
            break
        dates.append(each.date)
    return tuple(reversed(dates))
