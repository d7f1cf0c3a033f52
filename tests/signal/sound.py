"""What must hold of every analysis, whatever the trace was."""

from __future__ import annotations

import dataclasses

import numpy as np

from dawnbeat.morning.reading_text import verdict_lines
from dawnbeat.shared.reading import REASONS, Analysis
from dawnbeat.shared.settings import Settings

BY_INTERVALS = {"mean_hr_bpm", "rmssd_ms", "ln_rmssd", "sdnn_ms"}


def check(analysis: Analysis) -> None:
    """Assert that lengths fit, that every number is finite, and that the parts do not contradict each other."""
    beats, intervals, metrics = analysis.beats, analysis.intervals, analysis.metrics
    for values in (beats.time_s, beats.error_ms, beats.likeness, intervals.start_s, intervals.interval_ms):
        assert values.ndim == 1
        assert np.isfinite(values).all()
    for values in (analysis.wave.time_s, analysis.wave.value):
        assert np.isfinite(values).all()
    assert analysis.wave.time_s.size == analysis.wave.value.size
    assert beats.time_s.size == beats.error_ms.size == beats.likeness.size
    assert len(intervals) == len(intervals.left_out) == max(len(beats) - 1, 0)
    assert (np.diff(beats.time_s) > 0).all()
    assert (beats.error_ms >= 0).all()
    assert (np.abs(beats.likeness) <= 1 + 1e-9).all()
    np.testing.assert_allclose(intervals.interval_ms, np.diff(beats.time_s) * 1000.0, rtol=1e-9, atol=1e-6)
    np.testing.assert_array_equal(intervals.start_s, beats.time_s[:-1])
    assert all(reason is None or reason in REASONS for reason in intervals.left_out)
    for name, value in dataclasses.asdict(metrics).items():
        assert value is None or np.isfinite(value), name
    assert metrics.kept_beats <= len(beats)
    assert (metrics.mean_nn_ms is None) == (not intervals.kept.any())
    if metrics.kept_share is not None:
        assert 0.0 <= metrics.kept_share <= 1.0
    assert set(analysis.intervals95) <= BY_INTERVALS
    for name, (low, high) in analysis.intervals95.items():
        value = getattr(metrics, name)
        assert np.isfinite([low, high]).all(), name
        assert low - 1e-9 <= value <= high + 1e-9, name
    assert analysis.timing_error_ms is None or (np.isfinite(analysis.timing_error_ms) and analysis.timing_error_ms >= 0)
    assert np.isfinite(analysis.duration_s)
    assert analysis.frame_rate_hz is None or np.isfinite(analysis.frame_rate_hz)
    for flag in (analysis.verdict.usable, analysis.verdict.pulse_usable, analysis.verdict.irregular):
        assert isinstance(flag, bool)
    assert analysis.verdict.findings
    for reason in verdict_lines(analysis.verdict):
        assert reason.strip()
        assert len(reason.splitlines()) == 1
        assert "nan" not in reason.lower().split()
    if analysis.verdict.usable:
        assert metrics.mean_hr_bpm is not None
        assert metrics.rmssd_ms is not None
        assert analysis.timing_error_ms is not None
        if analysis.settings == Settings():
            assert set(analysis.intervals95) == BY_INTERVALS
