"""Reads a run from a CSV file: time, heart rate, and optionally distance, step rate, altitude and sport."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.files import text_of_csv
from dawnbeat.training.run import ParsedRun, sport_from
from dawnbeat.training.run_rows import Rows, parsed

_NAMES = {
    "time": ("time", "times", "timesec", "times", "seconds", "elapsed", "elapseds", "timestamp", "datetime"),
    "pulse": ("heartrate", "heartratebpm", "hr", "bpm", "pulse", "pulsebpm"),
    "distance": ("distance", "distancem", "distancemeters", "distancemetres", "metres", "meters"),
    "distance_km": ("distancekm", "km"),
    "altitude": ("altitude", "altitudem", "elevation", "elevationm", "ele"),
    "sport": ("sport",),
    "steps": ("cadence", "steprate", "stepspermin", "stepsperminute", "spm"),
}
_CLOCK = re.compile(r"(?:(\d+):)?([0-5]?\d):([0-5]?\d(?:[.,]\d+)?)")
HEADER_HELP = "its first line must name the columns, such as time,heart_rate,distance_m"


def parse_csv(data: bytes, began: datetime | None = None) -> ParsedRun:
    """The run of a CSV file. began: with an offset; needed where the time column counts from the start.

    Times are ISO 8601, h:mm:ss, m:ss or seconds. Raises DawnbeatError, with the line, when it can't be read.
    """
    text, delimiter = text_of_csv(data)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows = Rows()
    places: dict[str, int] = {}
    clock: bool | None = None
    sport = ""
    try:
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            if not places:
                places = _columns(cells)
                continue
            time = _time(_cell(cells, places, "time"))
            if clock is None:
                clock = isinstance(time, datetime)
                if not clock and began is None:
                    raise DawnbeatError("its times count from the start: say when the run began, with --began")
                rows.start = time if isinstance(time, datetime) else began
            if isinstance(time, datetime) != clock:
                raise DawnbeatError("it has a clock time in one row and seconds in another: use one of them")
            distance = _number(_cell(cells, places, "distance"), "distance")
            if "distance_km" in places:
                distance_km = _number(_cell(cells, places, "distance_km"), "distance")
                distance = distance if distance_km is None else 1000 * distance_km
            pulse = _number(_cell(cells, places, "pulse"), "pulse")
            steps = _number(_cell(cells, places, "steps"), "step rate")
            altitude = _number(_cell(cells, places, "altitude"), "altitude")
            sport = sport or _cell(cells, places, "sport")
            if isinstance(time, datetime):
                rows.add(time, pulse, distance, steps, altitude)
            else:
                rows.add_at(time, pulse, distance, steps, altitude)
    except csv.Error as error:
        raise DawnbeatError(
            f"line {reader.line_num}: not readable as CSV ({one_line(error)}): check its quotes"
        ) from error
    except DawnbeatError as error:
        raise DawnbeatError(f"line {reader.line_num}: {error}") from error
    if not places:
        raise DawnbeatError(f"it is empty: {HEADER_HELP}")
    # A table of times and pulses says what it is for; one of another sport has a column that says so.
    return parsed(rows, "CSV", sport_from(sport or "running"))


def _columns(cells: Sequence[str]) -> dict[str, int]:
    """Where each known column stands; a name of more than one meaning is refused."""
    places: dict[str, int] = {}
    for place, cell in enumerate(cells):
        plain = re.sub(r"[^a-z]", "", cell.lower())
        for meaning, names in _NAMES.items():
            if plain in names:
                if meaning in places:
                    raise DawnbeatError(f"two columns mean {meaning}: remove one")
                places[meaning] = place
    if "time" not in places:
        raise DawnbeatError(f"it has no column of times: {HEADER_HELP}")
    return places


def _cell(cells: Sequence[str], places: dict[str, int], meaning: str) -> str:
    place = places.get(meaning)
    return "" if place is None or place >= len(cells) else cells[place].strip()


def _time(cell: str) -> datetime | float:
    if found := _CLOCK.fullmatch(cell):
        hours, minutes, seconds = found.groups()
        return int(hours or 0) * 3600.0 + int(minutes) * 60 + float(seconds.replace(",", "."))
    try:
        value = float(cell.replace(",", "."))
    except ValueError:
        pass
    else:
        if not math.isfinite(value) or not 0 <= value < 1e7:
            raise DawnbeatError(f"{cell[:40]!r} is not a time in seconds from the start: check the column")
        return value
    try:
        moment = datetime.fromisoformat(cell)
        if moment.tzinfo is None:
            moment = moment.astimezone()
        if abs(moment.astimezone(UTC) - datetime.now(UTC)) > timedelta(days=365 * 200):
            raise ValueError
    except (ValueError, OverflowError) as error:
        raise DawnbeatError(
            f"{one_line(cell)[:40]!r} is not a time: write 2025-03-01T06:30:00+01:00, 0:12:30 or seconds"
        ) from error
    return moment


def _number(cell: str, name: str) -> float | None:
    if not cell:
        return None
    try:
        value = float(cell.replace(",", "."))
    except ValueError as error:
        raise DawnbeatError(
            f"{name} is {one_line(cell)[:40]!r}, not a number: put it right or leave it empty"
        ) from error
    # What can't be is left out sample by sample, with a note, as in every format.
    return value if math.isfinite(value) else None
