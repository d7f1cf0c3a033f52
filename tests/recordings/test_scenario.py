"""Mornings drawn by chance: reproducible, varied, and with the truth that belongs to them."""

from dataclasses import replace

import numpy as np
import pytest

from dawnbeat.recordings.invented.finger_trace import pulse_levels
from dawnbeat.recordings.invented.heart import Rhythm
from dawnbeat.recordings.invented.scenario import Scenario
from tests.drawn_mornings import draw_scenario

SEEDS = range(200)


def test_a_seed_draws_the_same_morning_again():
    for clean in (True, False):
        first, again = (draw_scenario(5, clean, duration_s=20) for _ in range(2))
        np.testing.assert_array_equal(first.beats_s, again.beats_s)
        np.testing.assert_array_equal(first.trace().colour, again.trace().colour)
        assert first.description == again.description


def test_clean_mornings_have_the_noise_of_common_cameras():
    drawn = [draw_scenario(seed, clean=True) for seed in SEEDS]
    ratios = [max(pulse_levels(one.finger) / np.array(one.finger.noise)) for one in drawn]
    assert min(ratios) >= 39
    assert max(ratios) <= 251
    assert 80 < np.median(ratios) < 130
    assert {one.rate_hz for one in drawn} == {30.0}
    assert not any(one.faults.movement or one.faults.lifted or one.rhythm.premature_share for one in drawn)
    rates = [one.rhythm.mean_hr_bpm for one in drawn]
    assert min(rates) < 42
    assert max(rates) > 100
    assert sum(rate > 95 for rate in rates) < 25


def test_faulty_mornings_cover_every_fault():
    drawn = [draw_scenario(seed, clean=False) for seed in SEEDS]
    said = " / ".join(one.description for one in drawn)
    for fault in (
        *("movement", "finger lifted", "premature beats", "weak pulse", "exposure steps", "dropped frames"),
        *("bad clock", "noise", "pulse drowned in noise", "dim light", "drift of pressure"),
        *("whole grey levels", "no pulse"),
    ):
        assert fault in said
    assert {one.rate_hz for one in drawn} == {24.0, 30.0, 60.0}
    moving = [sum(burst.duration_s for burst in one.faults.movement) / one.duration_s for one in drawn]
    assert max(moving) > 0.4
    assert max(one.rhythm.premature_share for one in drawn) > 0.05


def test_the_truth_lies_within_the_recording_and_shapes_it():
    scenario = draw_scenario(3, clean=True, duration_s=30)
    beats_s, trace = scenario.beats_s, scenario.trace()
    assert beats_s[0] >= 0
    assert beats_s[-1] <= 30
    best = int(np.argmax(trace.colour.std(axis=0)))
    fall = -np.diff(trace.colour[:, best])
    at_beats = np.interp(beats_s[1:-1], trace.time_s[1:] - 1 / 60, fall)
    assert at_beats.mean() > 2.5 * np.std(fall)


def test_a_morning_with_no_pulse_has_no_true_beats():
    quiet = Scenario(duration_s=10)
    lifeless = replace(quiet, finger=replace(quiet.finger, pulse_pct=(0.0, 0.0, 0.0)))
    assert lifeless.beats_s.size == 0
    assert np.ptp(lifeless.trace().colour[:, 1]) < 0.3


def test_premature_beats_are_named_in_the_truth():
    scenario = Scenario(Rhythm(premature_share=0.05, rmssd_ms=15, seed=2), duration_s=300)
    assert scenario.premature.shape == scenario.beats_s.shape
    steps = np.diff(scenario.beats_s)
    early = np.flatnonzero(scenario.premature[1:-1]) + 1
    assert early.size > 5
    assert steps[early - 1].max() < 0.9 * np.median(steps)


@pytest.mark.parametrize("gauge", [True, False])
def test_the_gauge_columns_can_be_left_out(gauge):
    trace = Scenario(duration_s=3).trace(gauge)
    assert (trace.covered is not None) == (trace.clipped is not None) == gauge
