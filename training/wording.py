"""Times, paces and shares in words, and the same read back."""

from __future__ import annotations

import re
from datetime import date, datetime

from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.morning import with_fixed_offset

UNKNOWN = "–"
_CLOCK = re.compile(r"(?:(\d{1,3}):)?(\d{1,3}):([0-5]\d)")


DRIFT_IN_WORDS = (
    "Drift: how many per cent fewer metres each heartbeat took you in the second half of the measured running time "
    "than in the first (common practice, no source). It needs half an hour with pulse and distance on one kind of "
    "ground; hills, heat and an uneven pace move it as well."
)


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
        minutes_only = float(text)
    except ValueError:
        minutes_only = float("nan")
    if not 0 <= minutes_only < 1e5:
        raise DawnbeatError(f"{one_line(text)[:40]!r} is not a time: write 42:30, 1:02:30 or minutes")
    return minutes_only * 60


def pace(distance_m: float | None, duration_s: float) -> str:
    """Minutes a kilometre; a dash where the distance is unknown."""
    return UNKNOWN if not distance_m else f"{clock(duration_s / (distance_m / 1000))} /km"


def percent(share: float | None) -> str:
    """A share of 0 to 1 in per cent; a dash for None."""
    return UNKNOWN if share is None else f"{100 * share:.0f} %"


def number(value: float | None, decimals: int = 0) -> str:
    """A number; a dash for None."""
    return UNKNOWN if value is None else f"{value:.{decimals}f}"


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
        raise DawnbeatError(f"{one_line(text)[:40]!r} is not a time: write it as 2025-03-01T06:30+01:00") from error
