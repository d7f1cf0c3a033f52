"""A run: its samples, what is marked in them, and what the journal keeps of it."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal, get_args

import numpy as np

from dawnbeat.shared.checked_fields import plain_text
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import BoolArray, FloatArray, IntArray

PULSE_LOW, PULSE_HIGH = 25.0, 240.0
RATING_LOW, RATING_HIGH = 0.0, 10.0
NOTE_LIMIT = 20_000
LONGEST_RUN_S = 7 * 86_400
_BLOB_VERSION = b"\x01"
_NONE16, _NONE32 = 2**16 - 1, 2**32 - 1
_ROW_BYTES = 4 + 2 + 4 + 2 + 1

MarkKind = Literal["pause", "gap", "drop-out", "spike", "cadence lock"]
MARK_KINDS: tuple[MarkKind, ...] = get_args(MarkKind)
# Only where a pulse was recorded is there something to believe after all.
CAN_BE_OVERRULED: frozenset[MarkKind] = frozenset({"spike", "cadence lock"})
MARK_WORDS: dict[MarkKind, str] = {
    "pause": "no samples and no way covered: a pause",
    "gap": "no samples",
    "drop-out": "no pulse from the sensor",
    "spike": "a jump that no heart makes",
    "cadence lock": "the pulse equals the step rate for minutes",
}


@dataclass(frozen=True)
class Samples:
    """What a run recorded, by time.

    time_s: (n,) seconds from the first sample to whole milliseconds, strictly increasing, n >= 1.
    pulse_bpm: (n,) as recorded, nan where there was none. distance_m: (n,) from the start, nan where unknown.
    steps_per_min: (n,) both feet, nan where unknown. stopped: (n,) True where the timer stood until the next.

    Raises DawnbeatError when the shapes differ, time does not increase, or the run is longer than a week.
    """

    time_s: FloatArray
    pulse_bpm: FloatArray
    distance_m: FloatArray
    steps_per_min: FloatArray
    stopped: BoolArray

    def __post_init__(self) -> None:
        n = self.time_s.size
        columns = (self.pulse_bpm, self.distance_m, self.steps_per_min, self.stopped)
        if n == 0 or any(column.shape != (n,) for column in (self.time_s, *columns)):
            raise DawnbeatError("the run has no samples: name a file with times in it")
        if not np.isfinite(self.time_s).all() or (n > 1 and np.diff(self.time_s).min() <= 0):
            raise DawnbeatError("the times of the run do not increase: sort them or export the file again")
        if self.elapsed_s > LONGEST_RUN_S:
            raise DawnbeatError(f"the run would last {self.elapsed_s / 86_400:.0f} days: check its times")

    def __len__(self) -> int:
        return int(self.time_s.size)

    @property
    def elapsed_s(self) -> float:
        """Seconds from the first to the last sample, pauses included."""
        return float(self.time_s[-1] - self.time_s[0])

    @property
    def has_pulse(self) -> bool:
        """True where any sample holds a pulse that a heart can have."""
        return bool(self.possible.any())

    @property
    def possible(self) -> BoolArray:
        """(n,) True where the pulse is known and within 25 to 240 bpm."""
        with np.errstate(invalid="ignore"):
            return np.asarray((self.pulse_bpm >= PULSE_LOW) & (self.pulse_bpm <= PULSE_HIGH))

    @property
    def impossible(self) -> int:
        """How many samples hold a pulse that no heart has, such as 300 bpm; a 0 stands for none at all."""
        return int(np.count_nonzero(np.isfinite(self.pulse_bpm) & (self.pulse_bpm != 0) & ~self.possible))


@dataclass(frozen=True)
class Mark:
    """A stretch from start_s up to end_s whose pulse is left out, unless it is overruled."""

    kind: MarkKind
    start_s: float
    end_s: float
    overruled: bool = False


@dataclass(frozen=True)
class ParsedRun:
    """A run as a file tells it. began: with an offset. notes: lines for the runner."""

    began: datetime
    samples: Samples
    format: str
    sport: str | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class RunFigures:
    """What a run's samples say, whatever the zones.

    duration_s: without pauses. missing_s: by kind of mark, seconds within the duration without a pulse that
    counts; measured_s and these sum to duration_s. ms_at_bpm: (241,) measured milliseconds at each whole
    pulse, summing to measured_s. peak_bpm: highest pulse held for five seconds, spikes left out. drift_pct:
    see run_figures.drift_pct.
    """

    elapsed_s: float
    duration_s: float
    measured_s: float
    missing_s: dict[str, float]
    distance_m: float | None
    mean_bpm: float | None
    peak_bpm: float | None
    drift_pct: float | None
    ms_at_bpm: IntArray


@dataclass(frozen=True)
class Run:
    """One run of the journal.

    began: with the offset of the place. felt_effort: session rating, 0 to 10, or None. source: name of the
    file, empty for a run entered by hand. race: the runner says that it was one.
    """

    id: int
    began: datetime
    figures: RunFigures
    felt_effort: float | None
    note: str
    race: bool
    source: str
    format: str

    @property
    def local_date(self) -> date:
        """The day of the run, by the clock of the place."""
        return self.began.date()

    @property
    def has_pulse(self) -> bool:
        """True where any second of it counts for zones."""
        return self.figures.measured_s > 0


def check_felt_effort(rating: float | None) -> float | None:
    """The session rating itself; raises DawnbeatError outside 0 to 10."""
    if rating is not None and not RATING_LOW <= rating <= RATING_HIGH:
        raise DawnbeatError(
            f"a felt effort of {rating:g}: rate the whole run from 0 (rest) to 10 (the most you could give)"
        )
    return None if rating is None else float(rating)


def check_note(note: str) -> str:
    """The note itself; raises DawnbeatError when it is too long or not valid text."""
    return plain_text("the note", note, NOTE_LIMIT)


def blob_of(samples: Samples) -> bytes:
    """The samples packed for the database; pulse and step rate are kept to a tenth, distance to a decimetre.

    Version 1: the byte 1, then zlib of four little-endian columns one after another: time in milliseconds
    (uint32), pulse in tenths (uint16, 65535 for none), distance in decimetres (uint32, 2**32 - 1 for none), steps
    a minute in tenths (uint16, 65535 for none) with the timer's stops as a last column of bytes. The numbers of
    time and distance are stored as differences, which pack better.
    """
    time_ms = np.round(1000 * samples.time_s).astype(np.uint32)
    distance = _packed(samples.distance_m, _NONE32).astype(np.uint32)
    parts = (
        np.diff(time_ms, prepend=np.uint32(0)).astype("<u4"),
        _packed(samples.pulse_bpm, _NONE16).astype("<u2"),
        # Differences modulo 2**32 come back exactly, the mark for "none" included.
        np.diff(distance, prepend=np.uint32(0)).astype("<u4"),
        _packed(samples.steps_per_min, _NONE16).astype("<u2"),
        samples.stopped.astype("u1"),
    )
    return _BLOB_VERSION + zlib.compress(b"".join(part.tobytes() for part in parts), 6)


def samples_of(blob: bytes) -> Samples:
    """The samples of `blob_of`; raises DawnbeatError when they are damaged or of a newer version."""
    try:
        if blob[:1] != _BLOB_VERSION:
            raise ValueError("unknown version")
        data = zlib.decompress(blob[1:])
        n, rest = divmod(len(data), _ROW_BYTES)
        if rest:
            raise ValueError("odd length")
    except (ValueError, zlib.error) as error:
        raise DawnbeatError(
            "the samples of this run can't be read: import its file again or restore a backup"
        ) from error
    time_ms = np.cumsum(np.frombuffer(data, "<u4", n, 0), dtype=np.uint32)
    pulse = np.frombuffer(data, "<u2", n, 4 * n)
    distance = np.cumsum(np.frombuffer(data, "<u4", n, 6 * n), dtype=np.uint32)
    steps = np.frombuffer(data, "<u2", n, 10 * n)
    stopped = np.frombuffer(data, "u1", n, 12 * n)
    return Samples(
        time_ms.astype(np.float64) / 1000,
        np.where(pulse == _NONE16, np.nan, pulse / 10),
        np.where(distance == _NONE32, np.nan, distance / 10),
        np.where(steps == _NONE16, np.nan, steps / 10),
        stopped.astype(np.bool_),
    )


def _packed(values: FloatArray, none: int) -> FloatArray:
    """Tenths, halves up, cut off below the mark for none."""
    tenths = np.floor(10 * np.nan_to_num(values, nan=0.0) + 0.5).clip(0, none - 1)
    packed: FloatArray = np.where(np.isfinite(values), tenths, none)
    return packed
