"""Scoring many recordings in other processes: what is told of each, and which is worst. Nothing here needs Qt."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from dawnbeat.morning.sources import read_with_reference
from dawnbeat.morning.verdict_text import verdict_lines
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.processes import Processes
from dawnbeat.shared.settings import Settings
from dawnbeat.signal.analysis import analyse
from dawnbeat.signal.compare import Series, compare

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
