"""What the detection says of a recording is kept whole."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from dawnbeat.journal.columns import METRICS
from dawnbeat.journal.store import Journal
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import Trace
from dawnbeat.signal.analysis import analyse


def test_every_figure_of_a_real_analysis_is_kept(journal: Journal, taken: Any) -> None:
    rng = np.random.default_rng(2)
    time_s = np.arange(3600) / 30
    phase = 2 * np.pi * (0.83 * time_s + 0.05 * np.sin(2 * np.pi * 0.2 * time_s))
    beat = np.exp(3 * (np.cos(phase) - 1))
    red = 180 - 2 * beat + rng.normal(0, 0.05, time_s.size)
    analysis = analyse(Trace(time_s, np.column_stack((red, 30 - 0.4 * beat, 25 - 0.2 * beat))), Settings())
    assert analysis.intervals95
    saved = journal.save(taken(), analysis)
    assert saved.intervals95 == analysis.intervals95
    assert saved.verdict == analysis.verdict
    for name in METRICS:
        assert getattr(saved.metrics, name) == pytest.approx(getattr(analysis.metrics, name)), name
    assert journal.intervals(saved.id).left_out == analysis.intervals.left_out
