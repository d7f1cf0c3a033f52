from __future__ import annotations

import dataclasses
import json
import math

import numpy as np

from dawnbeat.shared.reading import Beats, Metrics
from dawnbeat.ui.as_json import json_line
from tests.ui.invented_analysis import eight_beats, no_beats


def test_everything_comes_back_from_one_line() -> None:
    analysis = eight_beats()
    line = json_line("a folder/über", analysis)
    assert "\n" not in line
    found = json.loads(line)
    assert found["recording"] == "a folder/über"
    assert found["beats_s"] == analysis.beats.time_s.tolist()
    assert found["intervals_ms"] == [1000.0] * 7
    assert found["kept"] == [True, True, True, False, True, True, True]
    assert found["left_out"] == [None, None, None, "movement", None, None, None]
    assert found["metrics"] == dataclasses.asdict(analysis.metrics)
    assert found["intervals95"] == {"mean_hr_bpm": [59.5, 60.5], "rmssd_ms": [30.0, 55.0]}
    assert found["settings"] == dataclasses.asdict(analysis.settings)


def test_a_number_that_is_not_finite_becomes_null_at_any_depth() -> None:
    nan, infinite = math.nan, math.inf
    analysis = dataclasses.replace(
        eight_beats(),
        frame_rate_hz=infinite,
        timing_error_ms=nan,
        metrics=Metrics(mean_hr_bpm=nan, rmssd_ms=-infinite, sdnn_ms=3.0),
        intervals95={"sdnn_ms": (nan, infinite)},
        beats=Beats(np.array([0.5, np.nan]), np.ones(2), np.ones(2)),
    )
    line = json_line("x", analysis)
    assert "NaN" not in line
    assert "Infinity" not in line
    found = json.loads(line)
    assert found["frame_rate_hz"] is found["timing_error_ms"] is found["metrics"]["mean_hr_bpm"] is None
    assert found["metrics"]["rmssd_ms"] is None
    assert found["metrics"]["sdnn_ms"] == 3.0
    assert found["intervals95"] == {"sdnn_ms": [None, None]}
    assert found["beats_s"] == [0.5, None]


def test_where_nothing_was_found_lists_are_empty_and_figures_null() -> None:
    found = json.loads(json_line("x", no_beats()))
    assert found["beats_s"] == found["intervals_ms"] == found["kept"] == found["left_out"] == []
    assert found["channel"] is found["frame_rate_hz"] is found["metrics"]["rmssd_ms"] is None
    assert found["usable"] is False
