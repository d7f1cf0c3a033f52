"""Dates and figures as the pages write them."""

from __future__ import annotations

from datetime import date

from dawnbeat.shared.morning import StoredReading

# strftime would follow the locale, and the sentences around it don't.
MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def long_day(day: date) -> str:
    """A day with its weekday, such as "Sunday 1 June 2025"."""
    return f"{_WEEKDAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]} {day.year}"


def short_day(day: date) -> str:
    """A day such as "1 June 2025"."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def interval_words(reading: StoredReading, name: str, unit: str, decimals: int = 0) -> str:
    """A figure with its 95 % interval and unit, such as "48 ms (42 to 55)"."""
    value = getattr(reading.metrics, name)
    if value is None:
        return "unknown"
    bounds = reading.intervals95.get(name)
    around = "" if bounds is None else f" ({bounds[0]:.{decimals}f} to {bounds[1]:.{decimals}f})"
    return f"{value:.{decimals}f} {unit}{around}".replace(" %", " %")


def clock(time_s: float) -> str:
    """Seconds of a recording as minutes and seconds, such as 0:40."""
    return f"{int(time_s) // 60}:{int(time_s) % 60:02d}"
