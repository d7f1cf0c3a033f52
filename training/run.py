"""A run: its samples, what is marked in them, and what the journal keeps of it."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from dawnbeat.shared.checked_fields import plain_text
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import BoolArray, FloatArray, IntArray
from dawnbeat.shared.wording import count_of

PULSE_LOW, PULSE_HIGH = 25.0, 240.0
BINS = int(PULSE_HIGH) + 1
RATING_LOW, RATING_HIGH = 0.0, 10.0
NOTE_LIMIT = 20_000
LONGEST_RUN_S = 7 * 86_400
ALTITUDE_LOW_M, ALTITUDE_HIGH_M = -500.0, 9_000.0
_BLOB_VERSION, _BLOB_WITHOUT_ALTITUDE = b"\x02", b"\x01"
_BLOB_COLUMNS = ("<u4", "<u2", "<u4", "<u2", "u1", "<u2")
_NONE16, _NONE32 = 2**16 - 1, 2**32 - 1
_ALTITUDE_PER_M = 5

Sport = Literal["running", "walking", "hiking", "cycling", "swimming", "other", "not said"]
SPORTS: tuple[Sport, ...] = get_args(Sport)
# As the formats and their writers spell them; "9" is running in tracks that number their kinds.
_SPELLINGS: dict[Sport, frozenset[str]] = {
    "running": frozenset({"running", "run", "trail_running", "treadmill_running", "track_running", "jogging", "9"}),
    "walking": frozenset({"walking", "walk"}),
    "hiking": frozenset({"hiking", "hike"}),
    "cycling": frozenset({"cycling", "biking", "bike", "ride", "road_biking", "mountain_biking", "virtual_ride", "1"}),
    "swimming": frozenset({"swimming", "swim"}),
    "not said": frozenset({"", "generic", "other", "training", "all", "none", "unknown", "default"}),
}
Talk = Literal["whole sentences", "short sentences", "a few words"]
TALKS: tuple[Talk, ...] = get_args(Talk)
# World records from 1500 m up stay below it (3:26.00, so 7.28 m/s; from memory): what is faster had wheels.
FASTEST_RUN_M_PER_S = 7.3
FASTEST_OVER_M = 1_000.0

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
    altitude_m: (n,) above the sea, nan where unknown; left out it is unknown throughout.

    Raises DawnbeatError when the shapes differ, time does not increase, or the run is longer than a week.
    """

    time_s: FloatArray
    pulse_bpm: FloatArray
    distance_m: FloatArray
    steps_per_min: FloatArray
    stopped: BoolArray
    altitude_m: FloatArray = field(default_factory=lambda: np.empty(0))

    def __post_init__(self) -> None:
        n = self.time_s.size
        if self.altitude_m.size == 0:
            object.__setattr__(self, "altitude_m", np.full(n, np.nan))
        columns = (self.pulse_bpm, self.distance_m, self.steps_per_min, self.stopped, self.altitude_m)
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


NoteCode = Literal["cut short", "checksum", "clock", "distance", "altitude", "pulse", "no pulse", "too fast"]


@dataclass(frozen=True)
class RunNote:
    """What is odd about a run's file, as data. value: how many samples, or seconds or m/s where `words` says so."""

    code: NoteCode
    value: float = 0.0

    @property
    def words(self) -> str:
        """The note in plain words."""
        count = count_of(round(self.value), "sample")
        match self.code:
            case "cut short":
                return f"the file is cut short or damaged after {self.value / 60:.0f} minutes; what came before is used"
            case "checksum":
                return "the checksum of the file is wrong, so some of it may be damaged: look at the curve"
            case "clock":
                return f"{count} where the clock of the device jumped are left out"
            case "distance":
                return f"{count} with an impossible distance are left out"
            case "altitude":
                return f"{count} with an impossible altitude are left out"
            case "pulse":
                return f"{count} with a pulse outside {PULSE_LOW:.0f} to {PULSE_HIGH:.0f} bpm are left out"
            case "no pulse":
                return "no pulse in it: saved with its duration; add how hard it felt, 0 to 10"
            case "too fast":
                return f"{3.6 * self.value:.0f} km/h on average is faster than anyone runs: it does not count as a run"


@dataclass(frozen=True)
class ParsedRun:
    """A run as a file tells it. began: with an offset. notes: what is odd about it."""

    began: datetime
    samples: Samples
    format: str
    sport: Sport = "not said"
    notes: tuple[RunNote, ...] = ()


@dataclass(frozen=True)
class RunFigures:
    """What a run's samples say, whatever the zones.

    duration_s: without pauses. missing_s: by kind of mark, seconds within the duration without a pulse that
    counts; measured_s and these sum to duration_s. ms_at_bpm: (241,) measured milliseconds at each whole
    pulse, summing to measured_s. peak_bpm: highest pulse held for five seconds, spikes left out. drift_pct:
    see run_figures.drift_pct. minutes: (m, 3) a row for each whole minute of running with pulse and distance:
    mean pulse in bpm, speed in m/s, and metres climbed (nan where unknown).
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
    minutes: FloatArray = field(default_factory=lambda: np.empty((0, 3)))


@dataclass(frozen=True)
class PreparedRun:
    """All that the journal keeps of a run, worked out without the journal.

    name: of its file. blob: the samples, packed. counts: whether it is running, as far as the file tells.
    """

    name: str
    began: datetime
    format: str
    sport: Sport
    counts: bool
    notes: tuple[RunNote, ...]
    sha256: str
    blob: bytes
    marks: tuple[Mark, ...]
    figures: RunFigures


@dataclass(frozen=True)
class Run:
    """One run of the journal.

    began: with the offset of the place. felt_effort: session rating, 0 to 10, or None. source: name of the
    file, empty for a run entered by hand. race: the runner says that it was one. counts: whether it enters weeks,
    months, proposals and estimates; only running does, unless the runner says otherwise. talk: how talking went.
    """

    id: int
    began: datetime
    figures: RunFigures
    felt_effort: float | None
    note: str
    race: bool
    source: str
    format: str
    sport: Sport = "running"
    counts: bool = True
    notes: tuple[RunNote, ...] = ()
    talk: Talk | None = None

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


def sport_from(text: str | None) -> Sport:
    """The sport that a file's word means; "other" for a word that is not known."""
    word = (text or "").strip().lower().replace(" ", "_").replace("-", "_")
    for sport, spellings in _SPELLINGS.items():
        if word in spellings:
            return sport
    return "other"


def blob_of(samples: Samples) -> bytes:
    """The samples packed for the database.

    Version 2: the byte 2, then zlib of little-endian columns one after another: time in milliseconds (uint32), pulse
    in tenths (uint16, 65535 for none), distance in decimetres (uint32, 2**32 - 1 for none), steps a minute in tenths
    (uint16, 65535 for none), the timer's stops (a byte each), altitude in fifths of a metre above -500 m (uint16,
    65535 for none), which version 1 lacks. Time and distance are stored as differences, which pack better.
    """
    time_ms = np.round(1000 * samples.time_s).astype(np.uint32)
    distance = _packed(samples.distance_m, _NONE32).astype(np.uint32)
    columns = (
        np.diff(time_ms, prepend=np.uint32(0)),
        _packed(samples.pulse_bpm, _NONE16),
        # Differences modulo 2**32 come back exactly, the mark for "none" included.
        np.diff(distance, prepend=np.uint32(0)),
        _packed(samples.steps_per_min, _NONE16),
        samples.stopped,
        _packed((samples.altitude_m - ALTITUDE_LOW_M) * _ALTITUDE_PER_M / 10, _NONE16),
    )
    parts = (column.astype(kind).tobytes() for column, kind in zip(columns, _BLOB_COLUMNS, strict=True))
    return _BLOB_VERSION + zlib.compress(b"".join(parts), 6)


def samples_of(blob: bytes) -> Samples:
    """The samples of `blob_of`; raises DawnbeatError when they are damaged or of a newer version."""
    try:
        kinds = {_BLOB_VERSION: _BLOB_COLUMNS, _BLOB_WITHOUT_ALTITUDE: _BLOB_COLUMNS[:-1]}[blob[:1]]
        data = zlib.decompress(blob[1:])
        n, rest = divmod(len(data), sum(np.dtype(kind).itemsize for kind in kinds))
        if rest:
            raise ValueError("odd length")
    except (KeyError, ValueError, zlib.error) as error:
        raise DawnbeatError(
            "the samples of this run can't be read: import its file again or restore a backup"
        ) from error
    columns, at = [], 0
    for kind in kinds:
        columns.append(np.frombuffer(data, kind, n, at))
        at += columns[-1].nbytes
    time_ms, pulse, way, steps, stopped, *altitude = columns
    return Samples(
        np.cumsum(time_ms, dtype=np.uint32) / 1000,
        _unpacked(pulse, _NONE16),
        _unpacked(np.cumsum(way, dtype=np.uint32), _NONE32),
        _unpacked(steps, _NONE16),
        stopped.astype(np.bool_),
        _unpacked(altitude[0], _NONE16) * 10 / _ALTITUDE_PER_M + ALTITUDE_LOW_M if altitude else np.empty(0),
    )


def _packed(values: FloatArray, none: int) -> FloatArray:
    """Tenths, halves up, cut off below the mark for none."""
    tenths = np.floor(10 * np.nan_to_num(values, nan=0.0) + 0.5).clip(0, none - 1)
    packed: FloatArray = np.where(np.isfinite(values), tenths, none)
    return packed


def _unpacked(tenths: NDArray[np.unsignedinteger[Any]], none: int) -> FloatArray:
    return np.where(tenths == none, np.nan, tenths / 10)


def packed_pulses(ms_at_bpm: IntArray) -> bytes:
    """The lowest pulse (uint16), then uint32 milliseconds for it and each beat above, up to the highest."""
    used = np.flatnonzero(ms_at_bpm)
    if used.size == 0:
        return struct.pack("<H", 0)
    return struct.pack("<H", used[0]) + ms_at_bpm[used[0] : used[-1] + 1].astype("<u4").tobytes()


def unpacked_pulses(blob: bytes) -> IntArray:
    """(241,) the milliseconds of `packed_pulses`."""
    low = int.from_bytes(blob[:2], "little")
    values = np.frombuffer(blob, "<u4", -1, 2)
    ms_at_bpm = np.zeros(BINS, dtype=np.int64)
    ms_at_bpm[low : low + values.size] = values
    return ms_at_bpm


def packed_minutes(minutes: FloatArray) -> bytes:
    """Pulse in tenths and speed in mm/s (uint16, 0 for none), climb in decimetres (int16, the lowest for none)."""
    pulse, speed = (np.nan_to_num(minutes[:, n] * scale).round() for n, scale in ((0, 10), (1, 1000)))
    climb = np.where(np.isfinite(minutes[:, 2]), (minutes[:, 2] * 10).round().clip(-32_767, 32_767), -32_768)
    columns = (pulse.clip(0, 65_535).astype("<u2"), speed.clip(0, 65_535).astype("<u2"), climb.astype("<i2"))
    return b"".join(column.tobytes() for column in columns)


def unpacked_minutes(blob: bytes | None) -> FloatArray:
    """(m, 3) the minutes of `packed_minutes`; none for None."""
    n = len(blob or b"") // 6
    if blob is None or n == 0:
        return np.empty((0, 3))
    pulse, speed = (np.frombuffer(blob, "<u2", n, 2 * n * place).astype(np.float64) for place in (0, 1))
    climb = np.frombuffer(blob, "<i2", n, 4 * n).astype(np.float64)
    return np.column_stack(
        (
            np.where(pulse == 0, np.nan, pulse / 10),
            np.where(pulse == 0, np.nan, speed / 1000),
            np.where(climb == -32_768, np.nan, climb / 10),
        )
    )
