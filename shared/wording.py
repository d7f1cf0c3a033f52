"""Days, moments, durations, distances, counts and shares in words, and the same read back; what stays in one line.

Sentences say days by their names; tables, files and what is typed have ISO dates.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Literal, get_args

from dawnbeat.shared.errors import DawnbeatError, one_line

# strftime would follow the locale, and the sentences around it don't.
MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
DAY_S = 86_400
_EPOCH = date(1970, 1, 1).toordinal()
# The clocks of a device and of this computer may differ by so much.
CLOCKS_APART = timedelta(minutes=10)
# Clocks that were never set begin at 1970, 1980 or 1989; none of what is kept here was taken before.
OLDEST = datetime(1990, 1, 2, tzinfo=UTC)
Tick = tuple[float, str]


def short_day(day: date) -> str:
    """A day such as "1 June 2025"."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def span(first: date, last: date) -> str:
    """A first and a last day, the year once where it is the same: "29 October to 18 November 2026"."""
    begin = short_day(first) if first.year != last.year else f"{first.day} {MONTHS[first.month - 1]}"
    return f"{begin} to {short_day(last)}"


def long_day(day: date) -> str:
    """A day with its weekday, such as "Sunday 1 June 2025"."""
    return f"{_WEEKDAYS[day.weekday()]} {short_day(day)}"


def seconds_of(day: date) -> float:
    """Midnight of a day, without any time zone, as seconds since 1970: its place on an axis of days."""
    return float((day.toordinal() - _EPOCH) * DAY_S)


def day_of(at_s: float) -> date:
    """The day at a place on an axis of days."""
    return date.fromordinal(int(at_s // DAY_S) + _EPOCH)


def date_ticks(low_s: float, high_s: float) -> Iterator[list[Tick]]:
    """Marks on an axis of days with their words, from few to many: years, months, weeks, single days."""
    first, last = day_of(low_s), day_of(high_s)
    for months in (120, 60, 24, 12, 6, 3, 2, 1):
        firsts = _firsts(first, last, months)
        yield [(seconds_of(day), str(day.year) if day.month == 1 else _month(day)) for day in firsts]
    for step in (14, 7, 2, 1):
        yield [(seconds_of(day), f"{day.day} {_month(day)}") for day in _days(first, last, step)]


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


def capital(words: str) -> str:
    """The same with its first letter large, as a sentence begins."""
    return words[:1].upper() + words[1:]


def count_of(count: int, one: str) -> str:
    """A count with its noun, such as "1 run" or "3 runs"."""
    return f"{count} {one}{'' if count == 1 else 's'}"


# What stands in one line: a number with its unit or what it counts, a day with its month, a range, "min/km", and an
# option of a command. A dot between figures ends a line rather than begins one.
_UNITS = "AU|bpm|ms|s|ml|min|minutes?|seconds?|hours?|h|km|m|miles?|mi|%|Hz|frames/s|points?|pt|[kMG]B"
_COUNTED = "mornings?|readings?|runs?|races?|days?|weeks?|pairs?|beats|intervals|journals"
_MONTHS = "|".join((*MONTHS, *(each[:3] for each in MONTHS)))
_HELD_SPACE = re.compile(rf"(?<=\d) (?=(?:{_UNITS}|{_COUNTED}|{_MONTHS})(?!\w))")
# From day to day is too much for one line.
_HELD_RANGE = re.compile(r"(?<=\d)(?<!\d-\d\d) to (?=[+−-]?\d)")
_HELD_SLASH = re.compile(r"\b(ml|min|frames)/(?=(?:km|mile|s|min|kg)\b)")
_HELD_HYPHEN = re.compile(r"\b(\d+)-(?=[a-z])")
_OPTION = re.compile(r"(?<![^\s`“(])--[a-z][a-z-]*")
NO_BREAK_SPACE, WORD_JOINER = "\u00a0", "\u2060"


def unbroken(text: str) -> str:
    """The same words for the eye: no line ends within a number and its unit, a range, a day and month, or "min/km"."""
    held = _HELD_SLASH.sub(rf"\1/{WORD_JOINER}", _HELD_SPACE.sub(NO_BREAK_SPACE, text))
    held = _HELD_RANGE.sub(f"{NO_BREAK_SPACE}to{NO_BREAK_SPACE}", held).replace(" · ", f"{NO_BREAK_SPACE}· ")
    held = _HELD_HYPHEN.sub(rf"\1-{WORD_JOINER}", held)
    return _OPTION.sub(lambda option: option[0].replace("-", f"-{WORD_JOINER}"), held)


UNKNOWN = "–"
Units = Literal["km", "miles"]
UNITS: tuple[Units, ...] = get_args(Units)
M_PER_UNIT: dict[Units, float] = {"km": 1000.0, "miles": 1609.344}
PACE_UNIT: dict[Units, str] = {"km": "min/km", "miles": "min/mile"}
_CLOCK = re.compile(r"(?:(\d{1,3}):)?(\d{1,3}):([0-5]\d)")


def clock(seconds: float | None) -> str:
    """Seconds as h:mm:ss, or m:ss below an hour; a dash for None."""
    if seconds is None:
        return UNKNOWN
    whole = int(seconds + 0.5)
    hours, minutes, rest = whole // 3600, whole % 3600 // 60, whole % 60
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def long_clock(seconds: float | None) -> str:
    """Seconds as h:mm:ss even below an hour, for columns that hold both; a dash for None."""
    said = clock(seconds)
    return said if seconds is None or said.count(":") == 2 else f"0:{said:0>5}"


def seconds_from(text: str) -> float:
    """Seconds of h:mm:ss, m:ss or bare minutes; raises DawnbeatError for anything else."""
    if found := _CLOCK.fullmatch(text.strip()):
        hours, minutes, seconds = found.groups()
        return int(hours or 0) * 3600.0 + int(minutes) * 60 + int(seconds)
    try:
        minutes_only = float(text.replace(",", "."))
    except ValueError:
        minutes_only = float("nan")
    if not 0 <= minutes_only < 1e5:
        raise DawnbeatError(f"{one_line(text)[:40]!r} is not a time: write 42:30, 1:02:30 or minutes")
    return minutes_only * 60


def pace(distance_m: float | None, duration_s: float, units: Units = "km") -> str:
    """Minutes a kilometre or mile, with the unit; a dash where the distance is unknown."""
    return UNKNOWN if not distance_m else f"{bare_pace(distance_m, duration_s, units)} {PACE_UNIT[units]}"


def bare_pace(distance_m: float | None, duration_s: float, units: Units = "km") -> str:
    """The same without the unit, for columns that name it."""
    return UNKNOWN if not distance_m else clock(duration_s / (distance_m / M_PER_UNIT[units]))


def pace_of(s_per_km: float | None, units: Units = "km") -> str:
    """A pace in seconds a kilometre, in words with the unit; a dash for None."""
    return UNKNOWN if s_per_km is None else pace(1000.0, s_per_km, units)


def way(distance_m: float | None, units: Units = "km", decimals: int = 2) -> str:
    """A distance in kilometres or miles, without the unit; a dash where it is unknown."""
    return UNKNOWN if distance_m is None else f"{distance_m / M_PER_UNIT[units]:.{decimals}f}"


def metres_from(text: str, units: Units = "km") -> float:
    """Metres of a distance such as 10, 21,1 km or 13.1 mi; a bare number is in `units`."""
    number_part, known = text.strip().lower(), {"km": "km", "mi": "miles", "miles": "miles"}
    for word, meant in known.items():
        if number_part.endswith(word):
            number_part, units = number_part.removesuffix(word), "km" if meant == "km" else "miles"
            break
    return decimal_from(number_part, "the distance") * M_PER_UNIT[units]


def decimal_from(text: str, what: str) -> float:
    """A number with a point or a comma for its decimals; raises DawnbeatError for anything else."""
    try:
        value = float(text.strip().replace(",", ".")) if text.count(",") + text.count(".") <= 1 else math.nan
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise DawnbeatError(f"{what} is {one_line(text)[:40]!r}, not a number: write it as 8.2 or 8,2")
    return value


def percent(share: float | None) -> str:
    """A share of 0 to 1 in per cent; a dash for None."""
    return UNKNOWN if share is None else f"{number(100 * share)} %"


def number(value: float | None, decimals: int = 0) -> str:
    """A number; a dash for None. What rounds to zero has no sign."""
    return UNKNOWN if value is None else f"{value:z.{decimals}f}"


def figure(value: float | None, span: tuple[float, float] | None, decimals: int = 0, unit: str = "") -> str:
    """A figure and its interval with their unit, such as "48 ms (42 to 55 ms)"; a dash for None."""
    around = "" if span is None else f" ({between(*span, decimals, unit=unit)})"
    return UNKNOWN if value is None else f"{number(value, decimals)} {unit}".rstrip() + around


def signed(value: float | None, decimals: int = 0) -> str:
    """A difference with its sign; a dash for None. What rounds to zero has no sign."""
    if value is None:
        return UNKNOWN
    said = f"{value:+.{decimals}f}"
    return said if any(digit in said for digit in "123456789") else said[1:]


def between(low: float, high: float, decimals: int = 0, sign: bool = False, unit: str = "") -> str:
    """A range such as "47 to 57 ms", or "-3 to +5 %" with its signs; without its unit only where a heading has that."""
    say = signed if sign else number
    return f"{say(low, decimals)} to {say(high, decimals)} {unit}".rstrip()


def rating(value: float | None) -> str:
    """A rating as it was typed, halves included; a dash for None."""
    return UNKNOWN if value is None else f"{value:g}"


def day_from(text: str) -> date:
    """A day of YYYY-MM-DD; raises DawnbeatError for anything else."""
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise DawnbeatError(f"{one_line(text)[:40]!r} is not a day: write it as 2025-03-01") from error


def moment_from(text: str) -> datetime:
    """A moment of ISO 8601; without an offset it is this computer's local time."""
    try:
        moment = datetime.fromisoformat(text)
        return with_fixed_offset(moment if moment.tzinfo is not None else moment.astimezone())
    except (ValueError, OverflowError) as error:
        raise DawnbeatError(f'{one_line(text)[:40]!r} is not a time: write it as "2025-03-01 06:30"') from error


def past_moment(moment: datetime, what: str = "the light was taken") -> datetime:
    """The same moment; raises DawnbeatError, which asks when `what`, where it is still to come or can't be right."""
    if OLDEST <= moment <= datetime.now(UTC) + CLOCKS_APART:
        return moment
    wrong = "can't be right" if moment < OLDEST else "is still to come"
    raise DawnbeatError(f"{moment.isoformat(' ', 'minutes')[:16]} {wrong}: say when {what}")


def with_fixed_offset(moment: datetime) -> datetime:
    """The same moment with its offset fixed, so that later rules of a time zone can't move it.

    Raises DawnbeatError when the moment has no offset.
    """
    offset = moment.utcoffset()
    if offset is None:
        raise DawnbeatError(f"the time {moment.isoformat()} has no offset: add one, such as +01:00")
    return moment.replace(tzinfo=timezone(offset), fold=0)
