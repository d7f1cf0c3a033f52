"""Dates and figures as pages and axes write them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from dawnbeat.journal.series import DAY_S, day_of, seconds_of
from dawnbeat.shared.morning import StoredReading
from dawnbeat.shared.wording import MONTHS, short_day

_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def long_day(day: date) -> str:
    """A day with its weekday, such as "Sunday 1 June 2025"."""
    return f"{_WEEKDAYS[day.weekday()]} {short_day(day)}"


def interval_words(reading: StoredReading, name: str, unit: str, decimals: int = 0) -> str:
    """A figure with its 95 % interval and unit, such as "48 ms (42 to 55)"."""
    value = getattr(reading.metrics, name)
    if value is None:
        return "unknown"
    bounds = reading.intervals95.get(name)
    around = "" if bounds is None else f" ({bounds[0]:.{decimals}f} to {bounds[1]:.{decimals}f})"
    return f"{value:.{decimals}f} {unit}{around}".replace(" %", " %")


def count_of(count: int, one: str) -> str:
    """A count with its noun, such as "1 run" or "3 runs"."""
    return f"{count} {one}{'' if count == 1 else 's'}"


def clock(time_s: float) -> str:
    """Seconds of a recording as minutes and seconds, such as 0:40."""
    return f"{int(time_s) // 60}:{int(time_s) % 60:02d}"


Tick = tuple[float, str]


def ticks(low_s: float, high_s: float, most: int) -> list[Tick]:
    """At most about `most` marks between two moments: single days, weeks, months or years."""
    days = max((high_s - low_s) / DAY_S, 1.0)
    first, last = day_of(low_s), day_of(high_s)
    for step in (1, 2, 7, 14):
        if days / step <= most:
            return [(seconds_of(day), f"{day.day} {_month(day)}") for day in _days(first, last, step)]
    for months in (1, 2, 3, 6, 12, 24, 60, 120):
        if days / (30.4 * months) <= most:
            break
    return [(seconds_of(day), str(day.year) if day.month == 1 else _month(day)) for day in _firsts(first, last, months)]


def _days(first: date, last: date, step: int) -> Iterator[date]:
    # Counted from a Monday, so that marks stay where they are while the view moves.
    ordinal = first.toordinal() + (1 - first.toordinal()) % step
    while ordinal <= last.toordinal():
        yield date.fromordinal(ordinal)
        ordinal += step


def _firsts(first: date, last: date, months: int) -> Iterator[date]:
    count = 12 * first.year + first.month - 1
    count += -count % months
    while (day := date(count // 12, count % 12 + 1, 1)) <= last:
        if day >= first:
            yield day
        count += months


def _month(day: date) -> str:
    return MONTHS[day.month - 1][:3]
