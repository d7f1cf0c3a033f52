"""The live view finds the beats of the final analysis, without its work growing."""

from __future__ import annotations

import numpy as np
import pytest

from dawnbeat.recordings.invented.faults import Faults, Stretch
from dawnbeat.shared.trace import Trace
from dawnbeat.signal import live
from dawnbeat.signal.analysis import analyse
from dawnbeat.signal.live import LiveBeats
from tests.drawn_mornings import draw_scenario
from tests.signal.fingers import finger, grey_trace, true_figures

SAME_S = 0.025


def fed(trace: Trace) -> LiveBeats:
    beats = LiveBeats()
    for time_s, (red, green, blue) in zip(trace.time_s, trace.colour, strict=True):
        beats.add(float(time_s), float(red), float(green), float(blue))
    return beats


@pytest.mark.parametrize("seed", [600, 601, 602, 603])
def test_live_beats_are_those_of_the_final_analysis_but_for_the_last_three_seconds(seed):
    trace = draw_scenario(seed, clean=True, duration_s=60.0).trace(gauge=False)
    settled_s = fed(trace).settled_s
    final = analyse(trace)
    bounds = np.zeros(len(final.beats), dtype=bool)
    bounds[:-1] |= final.intervals.kept
    bounds[1:] |= final.intervals.kept
    offline_s = final.beats.time_s[bounds]
    offline_s = offline_s[offline_s < trace.time_s[-1] - 3.0]
    assert offline_s.size > 20
    apart_s = np.abs(settled_s[:, None] - offline_s).min(axis=0)
    assert apart_s.max() < SAME_S
    within = settled_s[(settled_s > offline_s[0] - 0.1) & (settled_s < offline_s[-1] + 0.1)]
    assert within.size <= final.beats.time_s[final.beats.time_s < trace.time_s[-1] - 2.9].size


def test_live_beats_are_the_true_beats_where_the_finger_lies_still():
    scenario = finger(seed=51, duration_s=60.0, faults=Faults(movement=(Stretch(25.0, 4.0, 0.15),)))
    settled_s = fed(scenario.trace()).settled_s
    truth_s = scenario.beats_s
    for low, high in ((3.0, 22.0), (34.0, 56.0)):
        there = truth_s[(truth_s > low) & (truth_s < high)]
        apart_s = np.abs(settled_s[:, None] - there).min(axis=0)
        assert np.mean(apart_s < 0.05) > 0.95
    assert (np.diff(settled_s) > 0).all()


def test_the_live_rate_is_right_and_comes_within_ten_seconds():
    scenario = finger(seed=52, duration_s=40.0, mean_hr_bpm=60.0, rmssd_ms=30.0)
    trace = scenario.trace()
    beats = LiveBeats()
    first_s = None
    for time_s, colour in zip(trace.time_s, trace.colour, strict=True):
        if beats.add(float(time_s), *map(float, colour)) and first_s is None and beats.view.pulse_bpm is not None:
            first_s = float(time_s)
    assert first_s is not None
    assert first_s < 10.0
    last_s = scenario.beats_s[scenario.beats_s > 30.0]
    assert beats.view.pulse_bpm == pytest.approx(true_figures(last_s)[0], abs=4.0)
    assert beats.view.kept_share > 0.8


def test_a_settled_beat_stays_as_it_is():
    trace = finger(seed=53, duration_s=40.0).trace()
    beats = LiveBeats()
    before = np.zeros(0)
    for time_s, colour in zip(trace.time_s, trace.colour, strict=True):
        if beats.add(float(time_s), *map(float, colour)):
            now = beats.settled_s
            np.testing.assert_array_equal(now[: before.size], before)
            assert (now <= time_s - 2.0).all()
            before = now
    assert before.size > 20


def test_the_window_that_is_looked_at_does_not_grow(monkeypatch):
    """Constant work: no look sees more frames after minutes than after half a minute."""
    seen: list[tuple[float, int]] = []
    look = live.pieces_of

    def counting(trace, settings):
        seen.append((float(trace.time_s[-1]), len(trace)))
        return look(trace, settings)

    monkeypatch.setattr(live, "pieces_of", counting)
    trace = finger(seed=54, duration_s=90.0).trace()
    fed(trace)
    early = max(count for time_s, count in seen if time_s < 30.0)
    assert max(count for _, count in seen) <= early + 2
    # And not at every frame, but some times a second.
    assert len(seen) <= 4 * 90
    assert len(seen) >= 90


def test_a_frame_that_is_not_later_is_passed_over():
    beats = LiveBeats()
    assert not beats.add(1.0, 100.0, 50.0, 30.0)
    assert not beats.add(1.0, 100.0, 50.0, 30.0)
    assert not beats.add(0.5, 100.0, 50.0, 30.0)
    for k in range(200):
        beats.add(1.0 + k / 30.0, 100.0, 50.0, 30.0)
        beats.add(0.5, 90.0, 40.0, 20.0)
    assert beats.view is not None


def test_darkness_and_stalls_show_no_pulse_and_no_error():
    still = grey_trace(np.arange(900) / 30.0, np.full(900, 3.0))
    assert fed(still).view.pulse_bpm is None
    torn = np.concatenate([np.arange(300) / 30.0, 3600.0 + np.arange(300) / 30.0])
    view = fed(grey_trace(torn, 100.0 + np.sin(2 * np.pi * torn))).view
    assert view is not None
    assert np.isfinite(view.beats_s).all()
    assert (view.beats_s > 3590.0).all()


def test_a_lifted_finger_takes_the_rate_away():
    scenario = finger(seed=55, duration_s=60.0, faults=Faults(lifted=(Stretch(35.0, 25.0),)))
    view = fed(scenario.trace()).view
    assert view.pulse_bpm is None or view.last_left_out is not None
    assert view.kept_share < 0.9
