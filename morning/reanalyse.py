"""Every reading again from its recording with today's detection: first the changes, then one transaction."""

from __future__ import annotations

import contextlib
import functools
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

import numpy as np

from dawnbeat.journal import rows
from dawnbeat.journal.faults import journal_errors
from dawnbeat.journal.hand_edits import edits_of, reapply
from dawnbeat.journal.recordings_kept import is_safe_path
from dawnbeat.journal.schema import copy_aside
from dawnbeat.journal.store import Journal
from dawnbeat.morning.by_hand import figures_with, review
from dawnbeat.morning.verdict_text import verdict_lines
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.morning import StoredReading
from dawnbeat.shared.processes import Processes
from dawnbeat.shared.reading import Analysis, PulseWave
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import Trace


class HasTrace(Protocol):
    """What reading a recording gives."""

    @property
    def trace(self) -> Trace:
        """The recording's trace."""
        ...


# Less than this apart, an interval is the same one.
_SAME_MS = 0.5

ReadRecording = Callable[[Path], HasTrace]
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
