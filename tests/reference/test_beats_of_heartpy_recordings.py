"""Beats against heartpy's own on the three real recordings that the heartpy package (MIT licence) carries.

Files: heartpy/data/data.csv (100 Hz), data2.csv (with a timer in ms) and data3.csv (with dates). heartpy: van Gent,
Farah, van Nes and van Arem (2019), Transp Res Part F 66:368-378. Its marks are crests, ours the steepest moments of
the edges, so one constant offset is taken off. Beats match within 150 ms, as ANSI/AAMI EC57 has it.
"""

from __future__ import annotations

import csv
import importlib.util
import warnings
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.shared.reading import Analysis
from dawnbeat.shared.trace import Trace
from dawnbeat.signal.analysis import analyse

WINDOW_S = 0.150


@dataclass(frozen=True)
class Both:
    """One recording read by both: heartpy's accepted crests in seconds with what it left out, and our analysis."""

    analysis: Analysis
    crest_s: np.ndarray
    accepted: np.ndarray

    @property
    def offset_s(self) -> float:
        """The crest comes this much after the steepest moment, in the median."""
        crest_s = self.crest_s[self.accepted]
        return float(np.median(crest_s - nearest(crest_s, self.analysis.beats.time_s)))


def nearest(at_s: np.ndarray, times_s: np.ndarray) -> np.ndarray:
    return times_s[np.abs(times_s - at_s[:, None]).argmin(axis=1)]


def load(path: Path) -> tuple[np.ndarray, float]:
    """The values, and samples a second."""
    with path.open(newline="") as file:
        rows = list(csv.reader(file))
    if path.name == "data.csv":
        return np.array([float(row[0]) for row in rows]), 100.0
    value = np.array([float(row[1]) for row in rows[1:]])
    if path.name == "data2.csv":
        time_s = np.array([float(row[0]) for row in rows[1:]]) / 1000.0
    else:
        # The dates are rounded to about 16 ms, several samples to one; only the whole length tells the rate.
        moments = [datetime.fromisoformat(row[0]) for row in rows[1:]]
        time_s = np.array([(moment - moments[0]).total_seconds() for moment in moments])
    return value, (value.size - 1) / float(time_s[-1] - time_s[0])


@pytest.fixture(scope="module", params=["data.csv", "data2.csv", "data3.csv"])
def both(request) -> Both:
    heartpy = pytest.importorskip("heartpy")
    spec = importlib.util.find_spec("heartpy")
    value, rate_hz = load(Path(spec.origin).parent / "data" / request.param)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        working, _ = heartpy.process(value, rate_hz)
    # The recordings rise with blood volume; brightness falls with it.
    grey = 200.0 - 100.0 * (value - value.min()) / np.ptp(value)
    trace = Trace(np.arange(value.size) / rate_hz, np.column_stack([grey] * 3))
    return Both(
        analyse(trace),
        np.array(working["peaklist"]) / rate_hz,
        np.array(working["binary_peaklist"]).astype(bool),
    )


def test_accepted_beats_that_lie_in_our_kept_stretches_are_found(both):
    intervals = both.analysis.intervals
    start_s, end_s = intervals.start_s[intervals.kept], intervals.end_s[intervals.kept]
    crest_s = both.crest_s[both.accepted] - both.offset_s
    inside = ((crest_s[:, None] >= start_s - WINDOW_S) & (crest_s[:, None] <= end_s + WINDOW_S)).any(axis=1)
    # Enough of the recording must be kept for this to say anything.
    assert inside.sum() >= 0.5 * crest_s.size
    apart_s = np.abs(nearest(crest_s, both.analysis.beats.time_s) - crest_s)
    assert np.mean(apart_s[inside] <= WINDOW_S) >= 0.97


def test_our_kept_beats_are_among_their_crests(both):
    """The other way round: none is made up. heartpy misses some itself, so all of its crests count here."""
    beats, kept = both.analysis.beats.time_s, both.analysis.intervals.kept
    bounds = np.append(kept, False) | np.insert(kept, 0, False)
    ours_s = beats[bounds] + both.offset_s
    apart_s = np.abs(nearest(ours_s, both.crest_s) - ours_s)
    assert np.mean(apart_s <= WINDOW_S) >= 0.93


def test_the_heart_rate_agrees_over_the_intervals_that_both_keep(both):
    intervals = both.analysis.intervals
    crest_s = both.crest_s - both.offset_s
    theirs, ours = [], []
    for k in range(crest_s.size - 1):
        if not (both.accepted[k] and both.accepted[k + 1]):
            continue
        mine = np.flatnonzero((np.abs(intervals.start_s - crest_s[k]) <= WINDOW_S) & intervals.kept)
        if mine.size and abs(intervals.end_s[mine[0]] - crest_s[k + 1]) <= WINDOW_S:
            theirs.append(crest_s[k + 1] - crest_s[k])
            ours.append(intervals.interval_ms[mine[0]] / 1000.0)
    assert len(ours) >= 10
    assert 60.0 / np.mean(ours) == pytest.approx(60.0 / np.mean(theirs), abs=0.5)


def test_the_whole_heart_rate_is_that_of_all_accepted_crests(both):
    both_accepted = both.accepted[1:] & both.accepted[:-1]
    theirs_bpm = 60.0 / float(np.median(np.diff(both.crest_s)[both_accepted]))
    ours_bpm = 60000.0 / float(np.median(both.analysis.intervals.kept_ms))
    assert ours_bpm == pytest.approx(theirs_bpm, abs=2.0)
