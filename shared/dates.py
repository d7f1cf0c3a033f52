"""A day as a sentence says it; tables, files and what is typed have ISO dates."""

from __future__ import annotations

from datetime import date

# strftime would follow the locale, and the sentences around it don't.
MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


def short_day(day: date) -> str:
    """A day such as "1 June 2025"."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def span(first: date, last: date) -> str:
    """A first and a last day, the year once where it is the same: "29 October to 18 November 2026"."""
    begin = short_day(first) if first.year != last.year else f"{first.day} {MONTHS[first.month - 1]}"
    return f"{begin} to {short_day(last)}"
