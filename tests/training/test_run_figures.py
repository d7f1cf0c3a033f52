"""What a run says, and where its pulse can't be trusted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dawnbeat.training.run import Mark, MarkKind, Samples, blob_of, samples_of
from dawnbeat.training.run_figures import codes_of, figures_of, judge, marks_of, steady
from dawnbeat.training.zones import Anchors, Scheme, zones
from tests.training.invented import plain_zones, samples, swaying


def kinds(marks: tuple[Mark, ...]) -> list[MarkKind]:
    return [mark.kind for mark in marks]


def test_a_clean_run_is_left_alone() -> None:
    assert marks_of(samples(swaying(3600), steps_per_min=172)) == ()


def test_hard_repetitions_of_a_real_heart_are_left_alone() -> None:
    # Rising 1.5 beats a second and falling 0.8, faster than most hearts do.
    at = np.arange(3600)
    pulse = np.interp(at % 240, [0, 35, 120, 190, 240], [125, 177, 182, 126, 125])
    assert marks_of(samples(pulse, steps_per_min=178)) == ()


def test_a_spike_of_seconds_is_marked_and_its_neighbours_are_not() -> None:
    pulse = swaying(600)
    pulse[300:304] = 205
    (mark,) = marks_of(samples(pulse))
    assert mark == Mark("spike", 300.0, 304.0)


def test_a_plateau_between_two_jumps_is_marked() -> None:
    pulse = swaying(900)
    pulse[300:340] = 200 + np.arange(40) % 3
    marks = marks_of(samples(pulse))
    covered = sum(mark.end_s - mark.start_s for mark in marks)
    assert set(kinds(marks)) == {"spike"}
    assert 36 <= covered <= 44


def test_a_pulse_that_no_heart_has_is_a_drop_out() -> None:
    pulse = swaying(600)
    pulse[100:110] = 300
    pulse[200:230] = 0
    pulse[400:405] = np.nan
    marks = marks_of(samples(pulse))
    assert [(mark.kind, mark.start_s, mark.end_s) for mark in marks] == [
        ("drop-out", 100.0, 110.0),
        ("drop-out", 200.0, 230.0),
        ("drop-out", 400.0, 405.0),
    ]


def cut(full: Samples, first: int, last: int) -> Samples:
    keep = np.r_[0:first, last : len(full)]
    return Samples(
        full.time_s[keep],
        full.pulse_bpm[keep],
        full.distance_m[keep],
        full.steps_per_min[keep],
        full.stopped[keep],
    )


def test_a_hole_with_way_covered_is_a_gap_and_one_without_a_pause() -> None:
    moving = cut(samples(swaying(600)), 200, 260)
    assert [(m.kind, m.start_s, m.end_s) for m in marks_of(moving)] == [("gap", 199.0, 260.0)]
    standing = cut(samples(swaying(600), speed_m_per_s=0.01), 200, 260)
    assert kinds(marks_of(standing)) == ["pause"]


def test_samples_a_few_seconds_apart_hold_until_the_next() -> None:
    sparse = samples(swaying(400), step_s=7.0)
    assert marks_of(sparse) == ()
    assert figures_of(sparse, ()).measured_s == 399 * 7


def locked(seconds: int, from_s: int, to_s: int) -> Samples:
    rng = np.random.default_rng(1)
    steps = 171 + 2 * np.sin(np.arange(seconds) / 60) + rng.normal(0, 0.7, seconds)
    pulse = swaying(seconds)
    pulse[from_s:to_s] = steps[from_s:to_s] + rng.normal(0, 0.5, to_s - from_s)
    return samples(pulse, steps_per_min=steps)


def test_cadence_lock_of_minutes_is_marked() -> None:
    (mark,) = (mark for mark in marks_of(locked(1800, 600, 900)) if mark.kind == "cadence lock")
    assert mark.start_s == pytest.approx(600, abs=6)
    assert mark.end_s == pytest.approx(900, abs=6)


def test_cadence_lock_from_start_to_end_is_marked() -> None:
    assert "cadence lock" in kinds(marks_of(locked(1200, 0, 1200)))


def test_a_pulse_that_slowly_crosses_the_step_rate_is_not_locked() -> None:
    rng = np.random.default_rng(2)
    pulse = np.linspace(150, 184, 3600) + rng.normal(0, 0.6, 3600)
    steps = 168 + rng.normal(0, 1.2, 3600)
    assert marks_of(samples(pulse, steps_per_min=steps)) == ()


def test_an_overruled_mark_counts_again() -> None:
    pulse = swaying(600)
    pulse[300:304] = 205
    run = samples(pulse)
    (mark,) = marks_of(run)
    assert figures_of(run, (mark,)).measured_s == 595
    assert figures_of(run, (mark,)).missing_s == {"spike": 4.0}
    believed = Mark(mark.kind, mark.start_s, mark.end_s, overruled=True)
    assert figures_of(run, (believed,)).measured_s == 599


def test_a_drop_out_stays_out_even_when_nothing_is_marked() -> None:
    pulse = swaying(60)
    pulse[10:20] = 300
    assert np.count_nonzero(codes_of(samples(pulse), ())) == 10


def test_samples_twelve_seconds_apart_still_carry_their_pulse() -> None:
    run = samples(swaying(3600)[::12], step_s=12.0)
    assert marks_of(run) == ()
    assert codes_of(run, ()).max() == 0


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
