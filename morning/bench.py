"""What the bench works out: a recording with all that its plots draw, a second opinion on its beats, many scored.

The second opinion is the detector of neurokit2, which knows nothing of ours: it takes the crests of the wave at sample
times, after Elgendi et al. (2013), PLoS ONE 8:e76585.
"""

from __future__ import annotations

import contextlib
import importlib
import time
import warnings
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from scipy.signal import welch

from dawnbeat.capture.recording import Recording
from dawnbeat.morning.reading_text import verdict_lines
from dawnbeat.morning.sources import read_with_reference
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.processes import Processes
from dawnbeat.shared.reading import Analysis
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import BoolArray, FloatArray
from dawnbeat.signal.analysis import analyse, analysis_of, pieces_of
from dawnbeat.signal.beats import PieceBeats
from dawnbeat.signal.compare import Series, compare
from dawnbeat.signal.detection import windows_at

_EDGE_STEP_S = 1.0 / 120.0
# As long as the windows in which the analysis takes the rate from the spectrum.
_SPECTRUM_WINDOW_S = 16.0
# A wider margin than the fit's own shows where the edge lies in the beat.
_EDGE_MARGIN = 1.6
MISSING = "neurokit2 is not installed, so there is no second opinion: pip install 'dawnbeat[test]' brings it"
# A crest comes this much after the steepest edge at the most.
MOST_LAG_S = 0.6
_SHORTEST_S = 5.0


@dataclass(frozen=True)
class Stretch:
    """One unbroken stretch: the wave before the band-pass, and where its beats were looked for.

    start_s: on the trace's clock. rate_hz: of the grid. level: (n,) per mille of absorbed light, jumps levelled, in
    the mixture of colours that was chosen. timed: (n,) the same below the upper cut-off, on which beats are timed.
    before_s, after_s: the window in which edges are compared.
    """

    start_s: float
    rate_hz: float
    level: FloatArray
    timed: FloatArray
    before_s: float
    after_s: float

    @property
    def end_s(self) -> float:
        """Time of its last grid point."""
        return self.start_s + (self.level.size - 1) / self.rate_hz


@dataclass(frozen=True)
class BenchRun:
    """One recording under one set of settings.

    wave_s, wave: the filtered wave, with NaN between stretches, per mille. candidate_s, candidate: all rising edges,
    on the trace's clock, and the wave there. beat: (k,) the wave at each beat. misfit, height: (k,) per mille.
    counting: (k,) beats that bound at least one interval that counts. took_ms: how long all this took.
    """

    recording: Recording
    settings: Settings
    analysis: Analysis
    stretches: tuple[Stretch, ...]
    wave_s: FloatArray
    wave: FloatArray
    candidate_s: FloatArray
    candidate: FloatArray
    beat: FloatArray
    misfit: FloatArray
    height: FloatArray
    counting: BoolArray
    took_ms: float

    @property
    def series(self) -> Series:
        """The beats as `compare` wants them; raises DawnbeatError where there are fewer than three."""
        return Series(self.analysis.beats.time_s, self.analysis.intervals.kept)


def run_bench(recording: Recording, settings: Settings) -> BenchRun:
    """Analyse a recording and gather what the plots need."""
    began = time.perf_counter()
    pieces = pieces_of(recording.trace, settings)
    analysis = analysis_of(recording.trace, pieces, settings)
    broken_s, broken = _joined([(piece.wave_s, piece.wave) for piece in pieces])
    candidate_s = _chained([piece.detection.candidate_s + piece.wave_s[0] for piece in pieces])
    return BenchRun(
        recording=recording,
        settings=settings,
        analysis=analysis,
        stretches=tuple(_stretch_of(piece) for piece in pieces),
        wave_s=broken_s,
        wave=broken,
        candidate_s=candidate_s,
        candidate=_wave_at(analysis, candidate_s),
        beat=_wave_at(analysis, analysis.beats.time_s),
        misfit=_chained([piece.misfit for piece in pieces]),
        height=_chained([piece.height for piece in pieces]),
        counting=analysis.intervals.bounding[: len(analysis.beats)],
        took_ms=1000.0 * (time.perf_counter() - began),
    )


@dataclass(frozen=True)
class Edges:
    """Edges laid over one another at their beats.

    offset_s: (m,) from the beat. rows: (k, m) each edge, per mille, level with the others over the window that is
    compared. median: (m,). beat_s: (k,) which beats. before_s, after_s: the window that is compared.
    """

    offset_s: FloatArray
    rows: FloatArray
    median: FloatArray
    beat_s: FloatArray
    before_s: float
    after_s: float


def edges_between(run: BenchRun, from_s: float, to_s: float, most: int = 300) -> Edges | None:
    """The edges of the beats in a stretch of time, at most so many evenly chosen; None where there are none."""
    chosen: list[tuple[Stretch, FloatArray]] = []
    beats_s = run.analysis.beats.time_s
    for stretch in run.stretches:
        low, high = max(from_s, stretch.start_s), min(to_s, stretch.end_s)
        inside = beats_s[(beats_s >= low) & (beats_s <= high)]
        if inside.size:
            chosen.append((stretch, inside))
    if not chosen:
        return None
    before_s = max(stretch.before_s for stretch, _ in chosen)
    after_s = max(stretch.after_s for stretch, _ in chosen)
    offset_s = np.arange(-_EDGE_MARGIN * before_s, _EDGE_MARGIN * after_s, _EDGE_STEP_S)
    share = max(1, -(-sum(inside.size for _, inside in chosen) // most))
    beat_s = np.concatenate([inside[::share] for _, inside in chosen])
    rows = np.concatenate([_edges_of(part, inside[::share], offset_s) for part, inside in chosen])
    compared = (offset_s >= -before_s) & (offset_s <= after_s)
    rows = rows - np.nanmean(rows[:, compared], axis=1, keepdims=True)
    known = np.isfinite(rows).any(axis=0)
    median = np.full(offset_s.size, np.nan)
    median[known] = np.nanmedian(rows[:, known], axis=0)
    return Edges(offset_s, rows, median, beat_s, before_s, after_s)


def _edges_of(part: Stretch, beat_s: FloatArray, offset_s: FloatArray) -> FloatArray:
    """(k, m) the wave around each of k beats of a stretch; NaN where the stretch has not begun or is over."""
    at_s = beat_s - part.start_s
    rows = windows_at(part.timed, part.rate_hz, at_s, offset_s)
    place_s = at_s[:, None] + offset_s
    return np.where((place_s >= 0.0) & (place_s <= part.end_s - part.start_s), rows, np.nan)


@dataclass(frozen=True)
class Spectrum:
    """What a stretch is made of: (f,) frequencies in Hz, and amplitudes in per mille before and after the filter."""

    frequency_hz: FloatArray
    before: FloatArray
    after: FloatArray
    pulse_hz: float | None


def spectrum_between(run: BenchRun, from_s: float, to_s: float) -> Spectrum | None:
    """Amplitudes by Welch's method (1967, IEEE Trans Audio 15:70-73) in 16 s windows over the longest unbroken part.

    None where less than two seconds are in view.
    """
    best: tuple[float, Stretch | None, float, float] = (2.0, None, 0.0, 0.0)
    for stretch in run.stretches:
        low, high = max(from_s, stretch.start_s), min(to_s, stretch.end_s)
        if high - low > best[0]:
            best = (high - low, stretch, low, high)
    _, part, low, high = best
    if part is None:
        return None
    rows = slice(int((low - part.start_s) * part.rate_hz), int((high - part.start_s) * part.rate_hz))
    level = part.level[rows]
    first = int(np.searchsorted(run.analysis.wave.time_s, part.start_s - 1e-6))
    wave = run.analysis.wave.value[first + rows.start : first + rows.stop]
    width = min(level.size, int(_SPECTRUM_WINDOW_S * part.rate_hz))
    size = max(width, 2048)
    both = [
        np.sqrt(2.0 * welch(each, part.rate_hz, nperseg=width, nfft=size, detrend="linear", scaling="spectrum")[1])
        for each in (level, wave)
    ]
    intervals = run.analysis.intervals
    within = intervals.kept & (intervals.start_s >= low) & (intervals.end_s <= high)
    pulse_hz = 1000.0 / float(intervals.interval_ms[within].mean()) if within.any() else None
    frequency_hz = np.asarray(np.fft.rfftfreq(size, 1.0 / part.rate_hz), dtype=np.float64)
    return Spectrum(frequency_hz, both[0], both[1], pulse_hz)


def second_opinion(run: BenchRun) -> Series:
    """The beats that neurokit2 finds in the unfiltered wave of each stretch, in the colours that we chose.

    Intervals between stretches don't count. Raises DawnbeatError where neurokit2 is missing, can't make anything
    of the wave, or finds fewer than three beats.
    """
    try:
        neurokit = importlib.import_module("neurokit2")
    except ImportError as error:
        raise DawnbeatError(MISSING) from error
    time_s, kept = [np.zeros(0)], [np.zeros(0, dtype=np.bool_)]
    for stretch in run.stretches:
        if stretch.end_s - stretch.start_s < _SHORTEST_S:
            continue
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                clean = neurokit.ppg_clean(stretch.level - stretch.level.mean(), sampling_rate=stretch.rate_hz)
                found = neurokit.ppg_findpeaks(clean, sampling_rate=stretch.rate_hz)["PPG_Peaks"]
        except Exception as error:  # a library that gives up on a wave must not take the page with it
            raise DawnbeatError(f"neurokit2 gave up on this recording: {one_line(error)}") from error
        beats_s = stretch.start_s + np.asarray(found, dtype=np.float64) / stretch.rate_hz
        if beats_s.size:
            kept += [np.ones(beats_s.size - 1, dtype=np.bool_), np.zeros(1, dtype=np.bool_)]
            time_s.append(beats_s)
    return Series(np.concatenate(time_s), np.concatenate(kept)[:-1])


def _stretch_of(piece: PieceBeats) -> Stretch:
    rate_hz = (piece.wave_s.size - 1) / float(piece.wave_s[-1] - piece.wave_s[0])
    timed = piece.colours @ piece.weights
    return Stretch(float(piece.wave_s[0]), rate_hz, piece.level, timed, piece.before_s, piece.after_s)


def _wave_at(analysis: Analysis, time_s: FloatArray) -> FloatArray:
    if not analysis.wave.time_s.size:
        return np.zeros(time_s.size)
    return np.interp(time_s, analysis.wave.time_s, analysis.wave.value)


def _joined(parts: list[tuple[FloatArray, FloatArray]]) -> tuple[FloatArray, FloatArray]:
    """The parts one after another with a NaN between them, which breaks a drawn line."""
    time_s, values = [], []
    for part_s, value in parts:
        time_s += [part_s, part_s[-1:]]
        values += [value, np.array([np.nan])]
    return _chained(time_s), _chained(values)


def _chained(parts: list[FloatArray]) -> FloatArray:
    return np.concatenate(parts) if parts else np.zeros(0)


PROCESSES = 2
# A usable reading whose RMSSD is further than this from its reference's is wrong, and called right.
WRONG_RMSSD_SHARE = 0.10
_REFERENCE_LAG_S = 0.6


@dataclass(frozen=True)
class Score:
    """What one recording came to. What can't be known is None; `trouble` says why nothing is.

    expected: the verdict that about.json says it must get. agreement: share of the beats of both that met their
    reference or were met, the smaller of the two. difference_ms: mean absolute difference of the intervals.
    rmssd_off_ms: RMSSD less the reference's, over the same intervals. reason: the first of the verdict.
    """

    path: Path
    usable: bool | None = None
    expected: bool | None = None
    agreement: float | None = None
    difference_ms: float | None = None
    rmssd_off_ms: float | None = None
    kept_share: float | None = None
    timing_error_ms: float | None = None
    pulse_bpm: float | None = None
    rmssd_ms: float | None = None
    reason: str = ""
    trouble: str | None = None

    @property
    def wrong(self) -> bool:
        """Whether the verdict is not the expected one, or a usable reading is far from its reference."""
        if self.expected is not None and self.usable != self.expected:
            return True
        if not self.usable or self.rmssd_off_ms is None or self.rmssd_ms is None:
            return False
        return abs(self.rmssd_off_ms) > WRONG_RMSSD_SHARE * max(self.rmssd_ms - self.rmssd_off_ms, 1e-9)

    @property
    def badness(self) -> tuple[int, float, float, float]:
        """Larger is worse: unreadable, wrong, not usable; then agreement, kept share, timing error.

        What is rightly not usable comes last of all, since nothing is amiss with it.
        """
        if self.trouble is not None:
            rank = 3
        elif self.wrong:
            rank = 2
        elif self.usable:
            rank = 0
        else:
            rank = 1 if self.expected is None else -1
        agreement = 1.0 if self.agreement is None else self.agreement
        return rank, -agreement, -(self.kept_share or 0.0), self.timing_error_ms or 0.0


def score(path: Path, settings: Settings) -> Score:
    """Read and analyse one recording; what is wrong with it goes into `trouble`."""
    try:
        recording = read_with_reference(path)
        analysis = analyse(recording.trace, settings)
    except DawnbeatError as error:
        return Score(path, trouble=str(error))
    except Exception as error:  # one broken file must not end the scoring of all the others
        return Score(path, trouble=f"{type(error).__name__}: {one_line(error)}")
    wanted = {"usable": True, "not usable": False}.get(str(recording.about.get("verdict")))
    agreement = difference_ms = rmssd_off_ms = None
    if recording.beats_s is not None:
        agreement = 0.0
        with contextlib.suppress(DawnbeatError):
            ours = Series(analysis.beats.time_s, analysis.intervals.kept)
            found = compare(ours, Series.of_beats(recording.beats_s), _REFERENCE_LAG_S)
            agreement = min(found.matched_a, found.matched_b)
            difference_ms = found.mean_absolute_ms
            rmssd_off_ms = None if found.rmssd_ms is None else found.rmssd_ms[0] - found.rmssd_ms[1]
    return Score(
        path,
        usable=analysis.verdict.usable,
        expected=wanted,
        agreement=agreement,
        difference_ms=difference_ms,
        rmssd_off_ms=rmssd_off_ms,
        kept_share=analysis.metrics.kept_share,
        timing_error_ms=analysis.timing_error_ms,
        pulse_bpm=analysis.metrics.mean_hr_bpm,
        rmssd_ms=analysis.metrics.rmssd_ms,
        reason=verdict_lines(analysis.verdict)[0],
    )


def scoring(settings: Settings) -> Processes[Path, Score]:
    """Processes that score recordings; hand them the paths with `as_ready`."""
    return Processes(partial(score, settings=settings), PROCESSES, "the scoring", "score fewer recordings")
