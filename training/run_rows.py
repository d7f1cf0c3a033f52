"""Rows of any run file, gathered and turned into samples."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone

import numpy as np

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import with_fixed_offset
from dawnbeat.shared.trace import BoolArray, FloatArray
from dawnbeat.training.run import LONGEST_RUN_S, ParsedRun, Samples

# 55 hours at one sample a second.
MOST_SAMPLES = 200_000
_OLDEST = datetime(1990, 1, 2, tzinfo=UTC)
# A step rate below this is that of one leg.
_ONE_LEG_BELOW = 120.0
_MOSTLY = 0.5

_NAN = float("nan")


@dataclass
class Rows:
    """Rows in the order of the file: seconds since `start`, and nan for what is not known."""

    start: datetime | None = None
    time_s: list[float] = field(default_factory=list)
    pulse_bpm: list[float] = field(default_factory=list)
    distance_m: list[float] = field(default_factory=list)
    steps_per_min: list[float] = field(default_factory=list)

    def add(
        self,
        moment: datetime,
        pulse_bpm: float | None,
        distance_m: float | None = None,
        steps_per_min: float | None = None,
    ) -> None:
        """Add a row; raises DawnbeatError when time runs backwards or there are too many rows."""
        if self.start is None:
            self.start = moment
        self.add_at((moment - self.start).total_seconds(), pulse_bpm, distance_m, steps_per_min)

    def add_at(
        self,
        time_s: float,
        pulse_bpm: float | None,
        distance_m: float | None = None,
        steps_per_min: float | None = None,
    ) -> None:
        """Add a row by its seconds; a second row of the same millisecond fills what the first left open."""
        time_s = round(time_s, 3)
        values = [_NAN if each is None else each for each in (pulse_bpm, distance_m, steps_per_min)]
        columns = (self.pulse_bpm, self.distance_m, self.steps_per_min)
        if self.time_s and time_s < self.time_s[-1]:
            raise DawnbeatError(
                f"time runs backwards at sample {len(self.time_s) + 1}, by {self.time_s[-1] - time_s:g} s: "
                "export the file again, or sort it by time"
            )
        if self.time_s and time_s == self.time_s[-1]:
            for column, value in zip(columns, values, strict=True):
                column[-1] = value if value == value else column[-1]
            return
        if len(self.time_s) >= MOST_SAMPLES:
            raise DawnbeatError(f"it holds over {MOST_SAMPLES} samples: split it into single runs")
        self.time_s.append(time_s)
        for column, value in zip(columns, values, strict=True):
            column.append(value)


def parsed(
    rows: Rows,
    format_name: str,
    sport: str | None = None,
    pauses: Sequence[tuple[datetime, datetime]] = (),
    offset: timedelta | None = None,
) -> ParsedRun:
    """The run of these rows. pauses: begin and end of each stop of the timer. offset: local time minus UTC.

    Without an offset, one that is not UTC itself stays, and UTC becomes this computer's local time. Raises
    DawnbeatError when the rows can't be a run.
    """
    if rows.start is None or not rows.time_s:
        raise DawnbeatError("it holds no samples with a time: export the run again with its recording")
    start = rows.start + timedelta(seconds=rows.time_s[0])
    if not _OLDEST <= start <= datetime.now(UTC) + timedelta(days=2):
        raise DawnbeatError(f"it is dated {start:%Y-%m-%d}, which can't be right: check the clock of the device")
    time_s = np.array(rows.time_s, dtype=np.float64)
    if time_s[-1] - time_s[0] > LONGEST_RUN_S:
        raise DawnbeatError(f"it would last {(time_s[-1] - time_s[0]) / 86_400:.0f} days: check its times")
    stopped = np.zeros(time_s.size, dtype=np.bool_)
    for begin, end in pauses:
        bounds = [(each - rows.start).total_seconds() for each in (begin, end)]
        first = max(0, int(np.searchsorted(time_s, bounds[0], "right")) - 1)
        stopped[first : int(np.searchsorted(time_s, bounds[1], "left"))] = True
    samples = Samples(
        np.round(time_s - time_s[0], 3),
        np.array(rows.pulse_bpm, dtype=np.float64),
        _from_start(np.array(rows.distance_m, dtype=np.float64)),
        _both_feet(np.array(rows.steps_per_min, dtype=np.float64)),
        stopped,
    )
    return ParsedRun(_local(start, offset), samples, format_name, sport, _notes(samples))


def _from_start(distance_m: FloatArray) -> FloatArray:
    known = np.isfinite(distance_m)
    if not known.any():
        return distance_m
    first = float(distance_m[known][0])
    distance_m = np.where(known, distance_m - first, np.nan)
    # A device that loses its place may step back by some metres; way that was covered stays covered.
    return np.where(known, np.maximum.accumulate(np.where(known, distance_m, 0.0)), np.nan)


def _both_feet(steps_per_min: FloatArray) -> FloatArray:
    walking: BoolArray = np.nan_to_num(steps_per_min) > 0
    if walking.any() and float(np.median(steps_per_min[walking])) < _ONE_LEG_BELOW:
        return 2 * steps_per_min
    return steps_per_min


def _local(start: datetime, offset: timedelta | None) -> datetime:
    start = start.replace(microsecond=0)
    if offset is not None:
        return start.astimezone(timezone(offset))
    return with_fixed_offset(start.astimezone() if start.utcoffset() == timedelta(0) else start)


def _notes(samples: Samples) -> tuple[str, ...]:
    notes = []
    impossible = samples.impossible
    with_pulse = int(np.count_nonzero(np.nan_to_num(samples.pulse_bpm) != 0))
    if impossible and impossible > _MOSTLY * with_pulse:
        highest = float(np.nanmax(samples.pulse_bpm))
        raise DawnbeatError(
            f"most of its pulses can't be beats a minute (up to {highest:g}): check the column or the unit"
        )
    if impossible:
        notes.append(f"{impossible} samples with a pulse outside 25 to 240 bpm are left out")
    if not samples.has_pulse:
        notes.append("no pulse in it: kept with its duration; add how hard it felt, 0 to 10")
    return tuple(notes)
