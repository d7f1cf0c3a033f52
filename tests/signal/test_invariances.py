"""What must not matter does not matter: where the clock starts, how bright the lamp is, which colour carries it."""

from __future__ import annotations

import numpy as np
import pytest

from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import Trace
from dawnbeat.signal.analysis import analyse
from tests.drawn_mornings import draw_scenario
from tests.signal.fingers import against_truth, finger

# One microsecond: far below what any clock of a camera tells.
TIGHT_S = 1e-6


def test_the_same_trace_gives_the_same_analysis():
    trace = draw_scenario(11, clean=False).trace()
    first, again = analyse(trace), analyse(trace)
    assert first.beats.time_s.tobytes() == again.beats.time_s.tobytes()
    assert first.intervals.left_out == again.intervals.left_out
    assert first.metrics == again.metrics
    assert first.verdict == again.verdict


def test_the_trace_is_left_as_it_was():
    trace = draw_scenario(12, clean=False).trace()
    before = trace.time_s.copy(), trace.colour.copy()
    analyse(trace)
    np.testing.assert_array_equal(trace.time_s, before[0])
    np.testing.assert_array_equal(trace.colour, before[1])


@pytest.mark.parametrize("shift_s", [1000.0, -64.0, 0.123])
@pytest.mark.parametrize("seed", [13, 14])
def test_another_start_of_the_clock_shifts_the_beats_and_nothing_else(seed, shift_s):
    trace = draw_scenario(seed, clean=True).trace()
    plain = analyse(trace)
    moved = analyse(Trace(trace.time_s + shift_s, trace.colour))
    np.testing.assert_allclose(moved.beats.time_s - shift_s, plain.beats.time_s, atol=TIGHT_S)
    assert moved.intervals.left_out == plain.intervals.left_out
    assert moved.verdict.usable == plain.verdict.usable
    assert moved.metrics.rmssd_ms == pytest.approx(plain.metrics.rmssd_ms, abs=1e-3)


@pytest.mark.parametrize("factor", [0.5, 0.1, (0.9, 0.3, 0.6)])
@pytest.mark.parametrize("seed", [13, 15])
def test_a_dimmer_lamp_alone_changes_nothing(seed, factor):
    trace = draw_scenario(seed, clean=True).trace()
    plain, dim = analyse(trace), analyse(Trace(trace.time_s, trace.colour * np.array(factor)))
    np.testing.assert_allclose(dim.beats.time_s, plain.beats.time_s, atol=TIGHT_S)
    assert dim.intervals.left_out == plain.intervals.left_out
    assert dim.verdict.usable == plain.verdict.usable


@pytest.mark.parametrize("channel", ["red", "green", "blue"])
def test_the_colour_that_alone_carries_the_pulse_is_found(channel):
    scenario = finger(seed=16)
    rng = np.random.default_rng(16)
    trace = scenario.trace()
    colour = np.column_stack([np.full(len(trace), level) for level in (80.0, 60.0, 40.0)])
    colour += 0.05 * rng.standard_normal(colour.shape)
    place = ("red", "green", "blue").index(channel)
    colour[:, place] = trace.colour[:, 1]
    analysis = analyse(Trace(trace.time_s, colour))
    assert analysis.channel is not None
    assert channel in analysis.channel
    assert analysis.verdict.usable
    assert against_truth(analysis, scenario.beats_s).mean_absolute_ms < 2.0


@pytest.mark.parametrize("channel", ["red", "green", "blue"])
def test_a_channel_that_the_user_chose_is_used_alone(channel):
    scenario = finger(seed=17)
    trace = scenario.trace()
    place = ("red", "green", "blue").index(channel)
    others = np.delete(np.arange(3), place)
    spoilt = trace.colour.copy()
    spoilt[:, others] = np.random.default_rng(1).uniform(10.0, 200.0, (len(trace), 2))
    chosen = Settings(channel=channel)
    plain, other = analyse(trace, chosen), analyse(Trace(trace.time_s, spoilt), chosen)
    assert plain.channel == other.channel == channel
    # Jumps of the other colours may warn of movement, but they must not move a beat.
    common = np.intersect1d(np.round(plain.beats.time_s, 3), np.round(other.beats.time_s, 3))
    assert common.size > 0.9 * len(plain.beats)


def test_the_settings_and_the_version_stay_with_the_result():
    chosen = Settings(lowest_bpm=40.0, min_kept_s=60.0)
    analysis = analyse(finger(seed=18, duration_s=40.0).trace(), chosen)
    assert analysis.settings == chosen
    assert analysis.version
