"""A reading judged anew by hand rests on the same evidence as when it was taken."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from dawnbeat.journal.hand_edits import Figures
from dawnbeat.journal.store import Journal
from dawnbeat.morning.revising import figures_with, review
from dawnbeat.recordings.invented.finger_trace import LAMP_FINGER, render_trace
from dawnbeat.recordings.invented.heart import Rhythm, beat_times
from dawnbeat.shared.morning import Circumstances
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import Trace


def test_what_is_judged_by_hand_knows_finger_and_clock(journal: Journal, taken: Callable[[], Circumstances]) -> None:
    beats_s = beat_times(Rhythm(mean_hr_bpm=55, seed=4), 100.0, start_s=-4.0)
    still = render_trace(beats_s, LAMP_FINGER, duration_s=90.0, seed=5)
    late_s = np.abs(np.random.default_rng(6).normal(0.0, 0.010, len(still)))
    late_s[0] = 0.0
    covered = np.where((still.time_s > 40.0) & (still.time_s < 90.0), 0.2, 1.0)
    trace = Trace(np.maximum.accumulate(still.time_s + late_s) + 1e-6 * np.arange(len(still)), still.colour, covered)
    reviewed = review(trace, Settings())
    analysis = reviewed.analysis
    assert any(each.code == "no_finger" for each in analysis.verdict.findings), analysis.verdict
    reading = journal.save(taken(), analysis)
    judged = figures_with(reading, reviewed)(analysis.intervals)
    assert judged == Figures(analysis.metrics, analysis.intervals95, analysis.timing_error_ms, analysis.verdict)
