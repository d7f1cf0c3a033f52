from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dawnbeat.training.cleaning import marks_of
from dawnbeat.training.run import Samples, blob_of, samples_of
from dawnbeat.training.run_figures import figures_of, judge, steady
from dawnbeat.training.zones import Anchors, Scheme, zones
from tests.training.invented import plain_zones, samples, swaying

PULSES = st.one_of(st.just(float("nan")), st.floats(0, 320), st.integers(60, 200).map(float))
STEPS_MS = st.one_of(st.just(1000), st.integers(1, 60_000))


@st.composite
def any_samples(draw: st.DrawFn) -> Samples:
    n = draw(st.integers(1, 60))
    steps_ms = draw(st.lists(STEPS_MS, min_size=n - 1, max_size=n - 1))
    time_s = np.concatenate(([0], np.cumsum(steps_ms, dtype=np.int64))) / 1000
    pulse = draw(st.lists(PULSES, min_size=n, max_size=n))
    steps = draw(st.lists(st.one_of(st.just(float("nan")), st.floats(0, 250)), min_size=n, max_size=n))
    stopped = draw(st.lists(st.booleans(), min_size=n, max_size=n))
    speed = draw(st.floats(0, 6))
    altitude = draw(st.lists(st.one_of(st.just(float("nan")), st.floats(-500, 9000)), min_size=n, max_size=n))
    return Samples(time_s, np.array(pulse), speed * time_s, np.array(steps), np.array(stopped), np.array(altitude))


@settings(deadline=None, max_examples=150)
@given(run=any_samples(), bounds=st.lists(st.integers(10, 100), min_size=1, max_size=9, unique=True).map(sorted))
def test_time_in_zones_sums_to_the_measured_time_and_with_the_missing_to_the_duration(
    run: Samples, bounds: list[int]
) -> None:
    figures = figures_of(run, marks_of(run))
    # Bounds of whole beats, so that none falls on another.
    found = zones(Anchors(maximum_bpm=200), Scheme("share of maximum", tuple(float(b) for b in bounds), easy_top=1))
    judged = judge(figures.ms_at_bpm, found)
    assert sum(judged.zone_s) == pytest.approx(figures.measured_s, abs=1e-9)
    assert figures.measured_s + sum(figures.missing_s.values()) == pytest.approx(figures.duration_s, abs=1e-6)
    assert 0 <= figures.duration_s <= figures.elapsed_s + 1e-9
    assert figures.elapsed_s == pytest.approx(run.elapsed_s, abs=1e-6)
    assert all(seconds >= 0 for seconds in judged.zone_s)
    if judged.easy_share is not None:
        assert judged.above_s == pytest.approx((1 - judged.easy_share) * figures.measured_s, abs=1e-6)


@settings(deadline=None, max_examples=80)
@given(run=any_samples())
def test_packed_samples_come_back(run: Samples) -> None:
    back = samples_of(blob_of(run))
    np.testing.assert_array_equal(back.time_s, run.time_s)
    np.testing.assert_array_equal(back.stopped, run.stopped)
    np.testing.assert_array_equal(np.isfinite(back.pulse_bpm), np.isfinite(run.pulse_bpm))
    np.testing.assert_allclose(back.pulse_bpm, run.pulse_bpm, atol=0.0501)
    np.testing.assert_allclose(back.distance_m, run.distance_m, atol=0.0501)
    np.testing.assert_allclose(back.steps_per_min, run.steps_per_min, atol=0.0501)
    np.testing.assert_allclose(back.altitude_m, run.altitude_m, atol=0.101)


def test_a_run_of_known_blocks_is_judged_to_the_second() -> None:
    pulse = np.concatenate((swaying(601, 125), np.full(600, 148), np.linspace(149, 162, 600), np.full(301, 180)))
    judged = judge(figures_of(samples(pulse), ()).ms_at_bpm, plain_zones())
    assert judged.zone_s == pytest.approx((601, 600, 600, 0, 300))
    assert judged.easy_share == pytest.approx(1201 / 2101)
    assert judged.above_s == pytest.approx(900)


def test_drift_is_the_loss_of_metres_a_beat() -> None:
    # Same pace. After ten minutes, 25 at 140 and 25 at 154 bpm: each beat buys 140 / 154 of the way, a loss of 9.09 %.
    pulse = np.concatenate((np.full(600 + 1500, 140.0), np.full(1501, 154.0)))
    drift = figures_of(samples(pulse), ()).drift_pct
    assert drift == pytest.approx(100 * (1 - 140 / 154), abs=0.01)


def test_a_steady_half_hour_has_no_drift_though_the_pulse_first_rises() -> None:
    at = np.arange(1861)
    # To 140 bpm with a time constant of 60 s, as a heart follows an even effort; whole halves would say +2 %.
    pulse = 140 - 55 * np.exp(-at / 60)
    assert figures_of(samples(pulse), ()).drift_pct == pytest.approx(0, abs=0.05)


def test_intervals_have_no_drift_to_speak_of() -> None:
    speed = np.tile(np.repeat([4.4, 2.1], [180, 150]), 8)
    pulse = 140.0 + 30 * (speed > 3)
    run = replace(samples(pulse), distance_m=np.cumsum(speed))
    assert figures_of(run, ()).drift_pct is None


def test_a_hill_is_left_out_of_the_drift_with_the_two_minutes_after_it() -> None:
    # Level for 30 minutes, then five of climbing by 10 m each at 160 bpm and the same pace, then level again.
    minute = np.arange(3601) // 60
    hill = (minute >= 30) & (minute < 35)
    pulse = np.where(hill | ((minute >= 35) & (minute < 37)), 160.0, 140.0)
    altitude = 100 + np.cumsum(hill) * 10 / 60
    run = replace(samples(pulse), altitude_m=altitude)
    figures = figures_of(run, ())
    assert np.flatnonzero(~steady(figures.minutes)[10:]).tolist() == list(range(20, 27))
    assert figures.drift_pct == pytest.approx(0, abs=0.05)
    assert abs(figures_of(samples(pulse), ()).drift_pct or 0) > 1


def test_each_minute_has_its_pulse_its_speed_and_its_climb() -> None:
    at = np.arange(181)
    run = replace(samples(np.where(at < 60, 120.0, 150.0)), altitude_m=at / 6)
    minutes = figures_of(run, ()).minutes
    np.testing.assert_allclose(minutes, [[120, 3, 10], [150, 3, 10], [150, 3, 10]])


def test_drift_needs_twenty_steady_minutes_with_pulse_and_way() -> None:
    assert figures_of(samples(swaying(1790)), ()).drift_pct is None
    assert figures_of(samples(swaying(3600), speed_m_per_s=0.0), ()).drift_pct is None


def test_the_highest_pulse_is_one_that_was_held_and_no_spike() -> None:
    pulse = swaying(900)
    pulse[300:303] = 210
    pulse[600:608] = 158
    run = samples(pulse)
    assert figures_of(run, marks_of(run)).peak_bpm == 158


def test_a_run_of_one_sample_has_no_time_and_breaks_nothing() -> None:
    figures = figures_of(samples([140.0]), ())
    assert (figures.duration_s, figures.measured_s, figures.mean_bpm, figures.peak_bpm) == (0, 0, None, None)
