"""What is left out, and the reason that is given, for each kind of trouble."""

from __future__ import annotations

import numpy as np
import pytest

from dawnbeat.recordings.invented.faults import ExposureStep, Faults, Stretch
from dawnbeat.recordings.invented.finger_trace import Finger
from dawnbeat.shared.trace import Trace
from dawnbeat.signal.analysis import analyse
from tests.signal.fingers import against_truth, finger, overlapping, true_figures
from tests.signal.sound import check


@pytest.mark.parametrize("seed", [31, 32, 33, 34, 35])
def test_premature_beats_are_left_out_as_irregular_and_leave_rmssd_alone(seed):
    scenario = finger(seed=seed, mean_hr_bpm=58.0, rmssd_ms=35.0, premature_share=0.03, duration_s=130.0)
    early = np.flatnonzero(scenario.premature)
    early = early[(early > 2) & (early < scenario.beats_s.size - 3)]
    assert early.size
    analysis = analyse(scenario.trace())
    around = [overlapping(analysis.intervals, t - 0.2, t + 0.2) for t in scenario.beats_s[early]]
    caught = [None not in reasons for reasons in around]
    assert np.mean(caught) >= 0.9
    assert any("irregular beat" in reasons for reasons in around)
    # The heart without its early beats has the RMSSD that it was made with, by chance within a fifth.
    assert analysis.metrics.rmssd_ms == pytest.approx(35.0, rel=0.2)
    assert analysis.verdict.usable


def test_one_premature_beat_costs_a_few_intervals_at_most():
    seed = next(
        seed
        for seed in range(40, 80)
        if finger(seed=seed, mean_hr_bpm=60.0, premature_share=0.01).premature[5:-5].sum() == 1
    )
    scenario = finger(seed=seed, mean_hr_bpm=60.0, premature_share=0.01)
    early_s = scenario.beats_s[np.flatnonzero(scenario.premature)[0]]
    analysis = analyse(scenario.trace())
    assert {"irregular beat"} <= set(overlapping(analysis.intervals, early_s - 0.2, early_s + 0.2))
    assert sum(reason is not None for reason in analysis.intervals.left_out) <= 8
    assert analysis.verdict.usable


@pytest.mark.parametrize("hole_s", [0.5, 2.0, 15.0])
def test_a_gap_splits_the_trace_and_is_left_out_as_a_gap(hole_s):
    scenario = finger(seed=41, faults=Faults(dropped=(Stretch(50.0, hole_s),)))
    analysis = analyse(scenario.trace())
    check(analysis)
    assert "gap" in overlapping(analysis.intervals, 50.0, 50.0 + hole_s)
    assert analysis.intervals.left_out.count("gap") == 1
    assert None not in overlapping(analysis.intervals, 50.05, 50.0 + hole_s - 0.05)
    assert not ((analysis.beats.time_s > 50.05) & (analysis.beats.time_s < 50.0 + hole_s - 0.05)).any()
    assert not ((analysis.wave.time_s > 50.05) & (analysis.wave.time_s < 50.0 + hole_s - 0.05)).any()
    assert analysis.verdict.usable


def test_single_dropped_frames_are_no_gap():
    scenario = finger(seed=42, faults=Faults(dropped_share=0.05))
    analysis = analyse(scenario.trace())
    found = against_truth(analysis, scenario.beats_s)
    assert "gap" not in analysis.intervals.left_out
    assert analysis.verdict.usable
    assert found.mean_absolute_ms < 2.5


def test_holes_everywhere_give_many_pieces_and_no_wrong_interval():
    holes = tuple(Stretch(5.0 + 10.0 * k, 0.6) for k in range(11))
    scenario = finger(seed=43, faults=Faults(dropped=holes))
    analysis = analyse(scenario.trace())
    check(analysis)
    assert analysis.intervals.left_out.count("gap") == 11
    found = against_truth(analysis, scenario.beats_s)
    # A piece of ten seconds has few beats to learn its edge from, so single intervals may be further off.
    assert found.mean_absolute_ms < 4.0
    assert np.abs(found.difference_ms).max() < 33.0
    assert found.rmssd_ms[0] == pytest.approx(found.rmssd_ms[1], rel=0.05)


@pytest.mark.parametrize("factor", [0.5, 0.8, 1.3, 2.0])
@pytest.mark.parametrize("ramp_s", [0.05, 0.3])
def test_a_step_of_the_exposure_costs_some_beats_and_no_more(factor, ramp_s):
    optics = Finger(level=(120.0, 42.0, 32.0), pulse_pct=(1.5, 2.0, 1.5))
    steps = (ExposureStep(30.0, factor, ramp_s), ExposureStep(75.0, 1 / factor, ramp_s))
    scenario = finger(seed=44, faults=Faults(exposure=steps), optics=optics)
    analysis = analyse(scenario.trace())
    check(analysis)
    found = against_truth(analysis, scenario.beats_s)
    assert analysis.verdict.usable
    assert analysis.metrics.kept_share > 0.85
    assert found.matched_b >= 0.95
    assert np.percentile(np.abs(found.difference_ms), 99) < 12.0
    assert found.rmssd_ms[0] == pytest.approx(found.rmssd_ms[1], rel=0.05)


def test_a_finger_that_moves_loses_the_beats_of_that_time():
    scenario = finger(seed=45, faults=Faults(movement=(Stretch(60.0, 8.0, 0.15),)))
    analysis = analyse(scenario.trace())
    there = overlapping(analysis.intervals, 61.0, 67.0)
    assert np.mean([reason is not None for reason in there]) > 0.7
    assert "movement" in there
    away = overlapping(analysis.intervals, 2.0, 55.0) + overlapping(analysis.intervals, 73.0, 118.0)
    assert np.mean([reason is None for reason in away]) > 0.9
    found = against_truth(analysis, scenario.beats_s)
    assert found.rmssd_ms[0] == pytest.approx(found.rmssd_ms[1], rel=0.1)


def test_a_finger_off_the_lens_has_no_kept_beats():
    scenario = finger(seed=46, faults=Faults(lifted=(Stretch(30.0, 20.0),)))
    analysis = analyse(scenario.trace())
    check(analysis)
    kept = [reason is None for reason in overlapping(analysis.intervals, 31.0, 49.0)]
    assert sum(kept) <= 1
    assert any(reason is None for reason in overlapping(analysis.intervals, 55.0, 118.0))


def test_a_pulse_that_fades_is_not_kept_where_it_is_gone():
    scenario = finger(seed=47, faults=Faults(weak=(Stretch(40.0, 25.0, 0.0),)))
    analysis = analyse(scenario.trace())
    there = overlapping(analysis.intervals, 43.0, 62.0)
    assert None not in there


def test_a_missing_second_of_pulse_is_no_long_interval():
    """A beat that the light does not show must not become one long interval that counts."""
    scenario = finger(seed=48, mean_hr_bpm=62.0, rmssd_ms=25.0)
    trace = scenario.trace()
    colour = trace.colour.copy()
    beat = scenario.beats_s[40]
    hidden = (trace.time_s > beat - 0.3) & (trace.time_s < beat + 0.55)
    first, last = np.flatnonzero(hidden)[[0, -1]]
    for channel in range(3):
        colour[hidden, channel] = np.linspace(colour[first, channel], colour[last, channel], int(hidden.sum()))
    analysis = analyse(Trace(trace.time_s, colour))
    assert None not in overlapping(analysis.intervals, beat - 0.1, beat + 0.1)
    assert analysis.metrics.max_nn_ms < 1.4 * np.diff(scenario.beats_s).mean() * 1000.0
    assert analysis.metrics.mean_hr_bpm == pytest.approx(true_figures(scenario.beats_s)[0], abs=1.0)
