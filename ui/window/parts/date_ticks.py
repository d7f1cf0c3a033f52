"""Where a time axis of days, months or years gets its marks, and what they say."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from dawnbeat.ui.window.mornings.series import DAY_S, day_of, seconds_of
from dawnbeat.ui.window.parts.formats import MONTHS

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
