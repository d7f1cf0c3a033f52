"""Stored readings judged anew: one with intervals left out or brought back by hand, or all with today's detection.

Nothing in the journal changes before the edit is made or the outcome accepted, in one transaction.
"""

from __future__ import annotations

import contextlib
import functools
import json
import math
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from dawnbeat.journal import rows
from dawnbeat.journal.database import copy_aside, journal_errors
from dawnbeat.journal.folder import is_safe_path
from dawnbeat.journal.hand_edits import Figures, FiguresOf, edits_of, reapply
from dawnbeat.journal.store import Journal
from dawnbeat.morning.reading_text import verdict_lines
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.morning import StoredReading
from dawnbeat.shared.processes import Processes
from dawnbeat.shared.reading import Analysis, Finding, Intervals, PulseWave, Reason, Verdict
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import FloatArray, Trace
from dawnbeat.signal.analysis import analysis_of, pieces_of, what_they_say
from dawnbeat.signal.beats import PieceBeats
from dawnbeat.signal.figures import intervals_95, metrics_of
from dawnbeat.signal.verdict import needed_s

if TYPE_CHECKING:
    from dawnbeat.capture.recording import Recording


@dataclass(frozen=True)
class Reviewed:
    """A stored recording with a fresh analysis of it, for the day view and for judging edits."""

    trace: Trace
    analysis: Analysis
    pieces: list[PieceBeats]


def review(trace: Trace, settings: Settings) -> Reviewed:
    """Analyse a stored recording; takes a few tenths of a second, so not in the window's thread."""
    pieces = pieces_of(trace, settings)
    return Reviewed(trace, analysis_of(trace, pieces, settings), pieces)


def settings_of(reading: StoredReading, otherwise: Settings) -> Settings:
    """The settings that a reading was analysed with, where this version still knows them."""
    known = {each.name for each in fields(Settings)}
    try:
        values = json.loads(reading.settings_json)
        return Settings(**{name: value for name, value in values.items() if name in known})
    except (ValueError, AttributeError, DawnbeatError):
        return otherwise


def figures_with(reading: StoredReading, reviewed: Reviewed | None) -> FiguresOf:
    """A function that judges edited intervals of this reading: in full where its recording is there.

    Without the recording the figures follow the intervals, and the reading can only lose trust by an edit,
    not gain it.
    """

    def figures_of(intervals: Intervals) -> Figures:
        if reviewed is None:
            error_ms = reading.timing_error_ms
            verdict = _verdict_without(reading, intervals)
            return Figures(metrics_of(intervals), intervals_95(intervals, error_ms), error_ms, verdict)
        analysis = reviewed.analysis
        return Figures(*what_they_say(reviewed.trace, reviewed.pieces, analysis.beats, intervals, analysis.settings))

    return figures_of


def _verdict_without(reading: StoredReading, intervals: Intervals) -> Verdict:
    if not reading.verdict.usable:
        return reading.verdict
    kept_s = float(intervals.kept_ms.sum()) / 1000.0
    wanted_s = needed_s(reading.duration_s, Settings())
    if kept_s < wanted_s:
        missing = Finding("left_out_by_hand", {"kept_s": kept_s, "needed_s": wanted_s})
        return Verdict(False, reading.verdict.pulse_usable, reading.verdict.irregular, (missing,))
    return reading.verdict


def beat_times_s(intervals: Intervals) -> FloatArray:
    """(m + 1,) the beats that bound the intervals."""
    if not len(intervals):
        return np.zeros(0)
    return np.append(intervals.start_s, intervals.end_s[-1])


def beside(beat: int, intervals: Intervals, reason: Reason | None) -> dict[int, Reason | None]:
    """The intervals on both sides of a beat that would change, with what they would become.

    reason: why to leave the beat out; None to let it count again. What spans a gap stays out.
    Raises DawnbeatError where nothing would change.
    """
    around = [
        position
        for position in (beat - 1, beat)
        if 0 <= position < len(intervals)
        and intervals.left_out[position] not in ("gap", reason)
        and (reason is None or intervals.left_out[position] is None)
    ]
    if not around:
        raise DawnbeatError(
            "this beat counts already" if reason is None else "both intervals of this beat are left out already"
        )
    return dict.fromkeys(around, reason)


# Less than this apart, an interval is the same one.
_SAME_MS = 0.5

ReadRecording = Callable[[Path], "Recording"]
Analyse = Callable[[Trace, Settings], Analysis]
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Change:
    """One reading with its fresh analysis. differs: whether any figure, interval or reason is another one."""

    before: StoredReading
    after: Analysis
    differs: bool

    @property
    def line(self) -> str:
        """The change in words."""
        old, new = self.before, self.after
        said = f"{old.began:%Y-%m-%d %H:%M}: RMSSD {_ms(old.metrics.rmssd_ms)} -> {_ms(new.metrics.rmssd_ms)}, "
        said += f"pulse {_bpm(old.metrics.mean_hr_bpm)} -> {_bpm(new.metrics.mean_hr_bpm)}"
        if old.verdict.usable != new.verdict.usable:
            was, now = (("usable" if each else "not usable") for each in (old.verdict.usable, new.verdict.usable))
            said += f", {was} -> {now}: {'; '.join(verdict_lines(new.verdict))}"
        return said


@dataclass(frozen=True)
class Reanalysis:
    """What analysing the whole journal again would change; nothing is changed yet.

    changes: every reading that was analysed again. without_recording: readings that stay as they are.
    failed: readings whose recording can't be read, with why; they stay as they are too.
    """

    changes: tuple[Change, ...]
    without_recording: tuple[StoredReading, ...]
    failed: tuple[tuple[StoredReading, str], ...]

    @property
    def differing(self) -> tuple[Change, ...]:
        """The changes that change anything."""
        return tuple(change for change in self.changes if change.differs)

    def lines(self) -> list[str]:
        """The outcome in words, one statement a line."""
        said = [
            f"{len(self.changes)} analysed again, {len(self.differing)} of them differ, "
            f"{len(self.without_recording)} without a recording stay as they are"
        ]
        said += [change.line for change in self.differing]
        said += [f"{reading.began:%Y-%m-%d %H:%M}: stays as it is: {why}" for reading, why in self.failed]
        return said


def reanalyse(
    journal: Journal,
    read_recording: ReadRecording,
    analyse: Analyse,
    settings: Settings,
    progress: Progress = lambda done, of: None,
    workers: int = 2,
) -> Reanalysis:
    """Analyse every reading outside the bin again from its recording; the journal stays as it is until
    `accept`.

    read_recording, analyse: functions at the top level of a module, as they run in `workers` processes of
    their own. progress: called with readings done and readings in all; raising from it stops the work.
    Raises DawnbeatError when a process is killed.
    """
    readings = journal.readings()
    paths = {each.id: _recording_of(journal, each) for each in readings}
    waiting = [(each, path) for each in readings if (path := paths[each.id]) is not None]
    results: list[Analysis | str] = []
    if waiting:
        work = Processes(
            functools.partial(_analyse_one, read_recording, analyse, settings),
            min(workers, len(waiting)),
            "the analysis",
            "nothing was changed; close other programs and try again",
        )
        with contextlib.closing(work.in_order([path for _, path in waiting])) as done:
            for result in done:
                results.append(result)
                progress(len(results), len(waiting))
    changes, failed = [], []
    for (before, _), result in zip(waiting, results, strict=True):
        if isinstance(result, str):
            failed.append((before, result))
        else:
            changes.append(Change(before, result, _differs(journal, before, result)))
    without = tuple(each for each in readings if paths[each.id] is None)
    return Reanalysis(tuple(changes), without, tuple(failed))


def accept(journal: Journal, outcome: Reanalysis) -> int:
    """Store the fresh analyses in one transaction, after a copy of the database; returns how many.

    Readings that were deleted meanwhile are passed over. Raises DawnbeatError, with nothing changed, on
    failure.
    """
    if not outcome.changes:
        return 0
    with journal_errors("copy the journal before the change", journal.path):
        copy_aside(journal.connection, journal.path, "before-reanalyse")
    stored = 0
    with journal.transaction("store the new analyses") as connection:
        here = {reading_id for (reading_id,) in connection.execute("SELECT id FROM readings")}
        for change in outcome.changes:
            if change.before.id not in here:
                continue
            rows.update_analysis(connection, change.before.id, change.after)
            stored += 1
    return stored


def edit_again(journal: Journal, outcome: Reanalysis, settings: Settings) -> int:
    """Make the edits by hand again in readings that were accepted; returns in how many."""
    from dawnbeat.capture.recording import read_recording

    edited = 0
    for before in (change.before for change in outcome.changes):
        if before.recording is None or not edits_of(journal, before.id):
            continue
        reviewed = review(read_recording(journal.home / before.recording).trace, settings)
        edited += reapply(journal, before.id, figures_with(journal.reading(before.id), reviewed)) > 0
    return edited


def _recording_of(journal: Journal, reading: StoredReading) -> Path | None:
    if reading.recording is None or not is_safe_path(reading.recording):
        return None
    path = journal.home / reading.recording
    return path if path.exists() else None


def _analyse_one(read_recording: ReadRecording, analyse: Analyse, settings: Settings, path: Path) -> Analysis | str:
    """Runs in a process of its own; the wave is left behind, as the journal doesn't keep it."""
    try:
        analysis = analyse(read_recording(path).trace, settings)
    except (DawnbeatError, OSError) as error:
        return one_line(error)
    nothing = np.empty(0, dtype=np.float64)
    return replace(analysis, wave=PulseWave(nothing, nothing))


def _differs(journal: Journal, before: StoredReading, after: Analysis) -> bool:
    old, new = (rows.stored_values(rows.ANALYSED, each) for each in (before, after))
    if any(not _is_same(old[name], new[name]) for name in old):
        return True
    kept = journal.intervals(before.id)
    return kept.left_out != after.intervals.left_out or not np.allclose(
        kept.interval_ms, after.intervals.interval_ms, rtol=0.0, atol=_SAME_MS
    )


def _is_same(old: object, new: object) -> bool:
    """Equal, but for the last digits of a number: a recording keeps five decimals, a fresh trace all."""
    if isinstance(old, float) and isinstance(new, float):
        return math.isclose(old, new, rel_tol=1e-3, abs_tol=1e-6)
    return old == new


def _ms(value: float | None) -> str:
    return "none" if value is None else f"{value:.1f} ms"


def _bpm(value: float | None) -> str:
    return "none" if value is None else f"{value:.1f} bpm"
