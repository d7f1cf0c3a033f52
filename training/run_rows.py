"""Rows of any run file, gathered, held against what can be, and turned into samples; and CSV files, which are rows.

What can't be is left out sample by sample and noted; a run is refused only where most of it can't be.
"""

from __future__ import annotations

import bisect
import csv
import io
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone

import numpy as np

from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.files import text_of_csv
from dawnbeat.shared.trace import BoolArray, FloatArray, IntArray
from dawnbeat.shared.wording import CLOCKS_APART, OLDEST, with_fixed_offset
from dawnbeat.training.run import (
    ALTITUDE_HIGH_M,
    ALTITUDE_LOW_M,
    ParsedRun,
    RunNote,
    Samples,
    Sport,
    sport_from,
)

# 55 hours at one sample a second.
MOST_SAMPLES = 200_000
LONGEST_WAY_M = 1_000_000.0
# A sprinter reaches 12.4 m/s, a downhill cyclist over 30 (common knowledge, no source); after tunnels and under trees
# a device catches up with some way at once.
_FASTEST_M_PER_S: dict[Sport, float] = {"running": 12.5, "walking": 12.5, "hiking": 12.5, "swimming": 12.5}
_FASTEST_OTHER_M_PER_S = 45.0
_CATCHES_UP_M = 100.0
_STEPS_BACK_M = 50.0
_HIGHEST_STEPS_PER_MIN = 400.0
# A step rate below this is that of one leg.
_ONE_LEG_BELOW = 120.0
_MOSTLY = 0.5

_NAN = float("nan")


@dataclass
class Rows:
    """Rows in the order of the file. notes: what the reader of the file found odd about it.

    values: of each row seconds since `start`, pulse in bpm, way in m, steps a minute and altitude in m, with nan for
    what is not known.
    """

    start: datetime | None = None
    values: list[list[float]] = field(default_factory=list)
    notes: list[RunNote] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.values)

    @property
    def elapsed_s(self) -> float:
        """Seconds from the first to the last row."""
        return self.values[-1][0] - self.values[0][0]

    def add(
        self,
        time: datetime | float,
        pulse_bpm: float | None,
        distance_m: float | None = None,
        steps_per_min: float | None = None,
        altitude_m: float | None = None,
    ) -> None:
        """Add a row by its moment or its seconds; one of the same millisecond fills what the one before left open.

        Raises DawnbeatError when there are too many rows.
        """
        if isinstance(time, datetime):
            self.start = self.start or time
            time = (time - self.start).total_seconds()
        given = (pulse_bpm, distance_m, steps_per_min, altitude_m)
        row = [round(time, 3), *(_NAN if each is None else each for each in given)]
        if self.values and row[0] == self.values[-1][0]:
            self.values[-1] = [new if new == new else old for old, new in zip(self.values[-1], row, strict=True)]
            return
        if len(self) >= MOST_SAMPLES:
            raise DawnbeatError(f"it holds over {MOST_SAMPLES} samples: split it into single runs")
        self.values.append(row)

    def part(self, begin: datetime, end: datetime | None) -> Rows:
        """The rows from `begin` up to before `end`, with the same start and notes."""
        assert self.start is not None
        low = (begin - self.start).total_seconds()
        high = math.inf if end is None else (end - self.start).total_seconds()
        return Rows(self.start, [row for row in self.values if low <= row[0] < high], list(self.notes))


def parsed(
    rows: Rows,
    format_name: str,
    sport: Sport = "not said",
    pauses: Sequence[tuple[datetime, datetime]] = (),
    offset: timedelta | None = None,
) -> ParsedRun:
    """The run of these rows. pauses: begin and end of each stop of the timer. offset: local time minus UTC.

    Without an offset, one that is not UTC itself stays, and UTC becomes this computer's local time. Raises
    DawnbeatError when the rows can't be a run.
    """
    if rows.start is None or not rows.values:
        raise DawnbeatError("it holds no samples with a time: export the run again with its recording")
    notes = list(rows.notes)
    table = np.array(rows.values)
    kept = _in_order(table[:, 0])
    left_out = len(rows) - kept.size
    if left_out > _MOSTLY * len(rows):
        raise DawnbeatError(
            f"time runs backwards or jumps in {left_out} of its {len(rows)} samples: export the file again, or sort it "
            "by time"
        )
    if left_out:
        notes.append(RunNote("clock", left_out))
    time_s, pulse_bpm, distance_m, steps_per_min, altitude_m = table[kept].T
    start = rows.start + timedelta(seconds=float(time_s[0]))
    end = rows.start + timedelta(seconds=float(time_s[-1]))
    if start < OLDEST:
        raise DawnbeatError(f"it is dated {start:%Y-%m-%d}, which can't be right: check the clock of the device")
    if end > datetime.now(UTC) + CLOCKS_APART:
        raise DawnbeatError(
            f"it would end at {end:%Y-%m-%d %H:%M} UTC, in the future: check the clocks of the device and of this "
            "computer"
        )
    stopped = np.zeros(time_s.size, dtype=np.bool_)
    for pause in pauses:
        begin, end_s = ((each - rows.start).total_seconds() for each in pause)
        first = max(0, int(np.searchsorted(time_s, begin, "right")) - 1)
        stopped[first : int(np.searchsorted(time_s, end_s, "left"))] = True
    fastest = _FASTEST_M_PER_S.get(sport, _FASTEST_OTHER_M_PER_S)
    distance_m, wild = covered_way(time_s, distance_m, fastest)
    if wild:
        notes.append(RunNote("distance", wild))
    altitude_m, wild = _within(altitude_m, ALTITUDE_LOW_M, ALTITUDE_HIGH_M)
    if wild:
        notes.append(RunNote("altitude", wild))
    samples = Samples(
        np.round(time_s - time_s[0], 3), pulse_bpm, distance_m, _both_feet(steps_per_min), stopped, altitude_m
    )
    return ParsedRun(_local(start, offset), samples, format_name, sport, (*notes, *_pulse_notes(samples)))


def _in_order(time_s: FloatArray) -> IntArray:
    """Where the longest run of samples with rising time lies: a step back or a wild time costs the fewest."""
    if time_s.size < 2 or np.diff(time_s).min() > 0:
        return np.arange(time_s.size)
    ends: list[float] = []
    end_at: list[int] = []
    before = np.full(time_s.size, -1, dtype=np.int64)
    for n, each in enumerate(time_s.tolist()):
        place = bisect.bisect_left(ends, each)
        before[n] = end_at[place - 1] if place else -1
        if place == len(ends):
            ends.append(each)
            end_at.append(n)
        else:
            ends[place], end_at[place] = each, n
    chain = [end_at[-1]]
    while before[chain[-1]] >= 0:
        chain.append(int(before[chain[-1]]))
    return np.array(chain[::-1])


def covered_way(time_s: FloatArray, distance_m: FloatArray, fastest_m_per_s: float) -> tuple[FloatArray, int]:
    """Way from the first known sample on, never falling, and how many samples could not be.

    A step that nobody covers in its time, or a fall, as of a counter that begins anew, is taken out of all that
    follows; the seconds for which a device stood at one figure count for the step after them. Steps back of some
    metres, as where a device loses its place, stay covered way.
    """
    at = np.flatnonzero(np.isfinite(distance_m) & (distance_m >= 0))
    found = np.full(distance_m.size, np.nan)
    impossible = int(np.count_nonzero(np.isfinite(distance_m))) - at.size
    if at.size == 0:
        return found, impossible
    steps_m, times = np.diff(distance_m[at]), time_s[at]
    moved = np.concatenate(([True], steps_m != 0))
    last_move_s = np.maximum.accumulate(np.where(moved, times, -np.inf))[:-1]
    wild = (steps_m > fastest_m_per_s * (times[1:] - last_move_s) + _CATCHES_UP_M) | (steps_m < -_STEPS_BACK_M)
    way = np.concatenate(([0.0], np.cumsum(np.where(wild, 0.0, steps_m))))
    found[at] = np.minimum(np.maximum.accumulate(way), LONGEST_WAY_M)
    return found, impossible + int(np.count_nonzero(wild & (steps_m > 0)))


def _within(values: FloatArray, low: float, high: float) -> tuple[FloatArray, int]:
    """The values with nan for those outside, and how many these were."""
    with np.errstate(invalid="ignore"):
        outside: BoolArray = np.isfinite(values) & ~((values >= low) & (values <= high))
    return np.where(outside, np.nan, values), int(np.count_nonzero(outside))


def _both_feet(steps_per_min: FloatArray) -> FloatArray:
    steps, _ = _within(steps_per_min, 0.0, _HIGHEST_STEPS_PER_MIN)
    walking: BoolArray = np.nan_to_num(steps) > 0
    if walking.any() and float(np.median(steps[walking])) < _ONE_LEG_BELOW:
        return 2 * steps
    return steps


def _local(start: datetime, offset: timedelta | None) -> datetime:
    start = start.replace(microsecond=0)
    if offset is not None:
        return start.astimezone(timezone(offset))
    return with_fixed_offset(start.astimezone() if start.utcoffset() == timedelta(0) else start)


def _pulse_notes(samples: Samples) -> tuple[RunNote, ...]:
    notes = []
    impossible = samples.impossible
    if impossible > _MOSTLY * np.count_nonzero(np.nan_to_num(samples.pulse_bpm)):
        highest = float(np.nanmax(samples.pulse_bpm))
        raise DawnbeatError(
            f"most of its pulses can't be beats a minute (up to {highest:g}): check the column or the unit"
        )
    if impossible:
        notes.append(RunNote("pulse", impossible))
    if not samples.has_pulse:
        notes.append(RunNote("no pulse"))
    return tuple(notes)


_NAMES = {
    "time": ("time", "times", "timesec", "seconds", "elapsed", "elapseds", "timestamp", "datetime"),
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
            rows.add(time, pulse, distance, steps, altitude)
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
