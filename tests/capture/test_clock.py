from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnbeat.capture.clock import DropCounter, FrameClock, Tick, doubt_of_driver


def ticks(count: int = 30, rate_hz: float = 30.0, driver_speed: float = 1.0, seed: int = 0) -> list[Tick]:
    """Frames with two milliseconds of jitter, delivered up to eight milliseconds late."""
    rng = np.random.default_rng(seed)
    true_s = np.arange(count) / rate_hz + rng.normal(0, 0.002, count)
    late_s = rng.uniform(0.001, 0.009, count)
    return [Tick(float(500 + t + d), float(20 + driver_speed * t)) for t, d in zip(true_s, late_s, strict=True)]


def test_a_driver_that_keeps_time_is_believed_and_takes_the_delivery_jitter_away() -> None:
    seen = ticks(300)
    clock = FrameClock(seen[:30])
    assert clock.doubt is None
    times_s = np.array([clock.time_s(tick) for tick in seen[30:]])
    driver_s = np.array([tick.driver_s for tick in seen[30:]])
    np.testing.assert_allclose(np.diff(times_s), np.diff(driver_s), atol=1e-9)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda i, tick: Tick(tick.monotonic_s, None), "gives no times"),
        (lambda i, tick: Tick(tick.monotonic_s, math.nan), "gives no times"),
        (lambda i, tick: Tick(tick.monotonic_s, 0.0), "gives no times"),
        (lambda i, tick: Tick(tick.monotonic_s, 20 + (i // 2) / 15), "stand still"),
        (lambda i, tick: Tick(tick.monotonic_s, i / 30.0), "counts frames"),
        (lambda i, tick: Tick(tick.monotonic_s, 20 + 1.2 * (tick.driver_s - 20)), "another speed"),
        (lambda i, tick: Tick(tick.monotonic_s, 20 + 0.9 * (tick.driver_s - 20)), "another speed"),
    ],
)
def test_a_driver_that_does_not_keep_time_is_not_believed(spoil, words) -> None:
    doubt = doubt_of_driver([spoil(i, tick) for i, tick in enumerate(ticks())])
    assert doubt is not None
    assert words in doubt


def test_times_come_from_the_grab_where_the_driver_is_not_believed() -> None:
    seen = [Tick(tick.monotonic_s, None) for tick in ticks(100)]
    clock = FrameClock(seen[:30])
    times_s = [clock.time_s(tick) for tick in seen[30:]]
    assert times_s == [tick.monotonic_s for tick in seen[30:]]


@pytest.mark.parametrize("fault_s", [None, math.nan, -5.0, 0.0, 1e6, 25.0])
def test_a_driver_that_fails_later_is_left_without_a_jump(fault_s: float | None) -> None:
    seen = ticks(200)
    clock = FrameClock(seen[:30])
    times_s = [clock.time_s(tick) for tick in seen[30:100]]
    times_s += [clock.time_s(Tick(tick.monotonic_s, fault_s)) for tick in seen[100:130]]
    times_s += [clock.time_s(tick) for tick in seen[130:]]
    steps_s = np.diff(times_s)
    assert steps_s.min() > 0
    assert np.abs(steps_s - 1 / 30).max() < 0.02
    assert clock.doubt is not None
    true_s = np.array([tick.driver_s for tick in seen[30:]])
    assert np.abs((np.array(times_s) - times_s[0]) - (true_s - true_s[0])).max() < 0.02


def test_a_reader_that_was_held_up_keeps_the_drivers_times() -> None:
    seen = ticks(200)
    clock = FrameClock(seen[:30])
    held_s = seen[130].monotonic_s
    late = [Tick(max(tick.monotonic_s, held_s) + 1e-3 * i, tick.driver_s) for i, tick in enumerate(seen[100:130])]
    times_s = np.array([clock.time_s(tick) for tick in [*seen[30:100], *late, *seen[130:]]])
    assert clock.doubt is None
    assert np.abs(np.diff(times_s) - 1 / 30).max() < 0.012


any_number = st.none() | st.floats(allow_nan=True, allow_infinity=True)


@given(
    st.lists(st.tuples(st.floats(0, 1e8), any_number), max_size=60),
    st.booleans(),
)
def test_times_always_rise(grabs: list[tuple[float, float | None]], believed: bool) -> None:
    clock = FrameClock(ticks() if believed else [Tick(m, d) for m, d in grabs[:20]])
    times_s = [clock.time_s(Tick(m, d)) for m, d in grabs]
    assert all(math.isfinite(value) for value in times_s)
    assert all(after > before for before, after in pairwise(times_s))
    rows = [f"{value:.6f}" for value in times_s]
    assert len(set(rows)) == len(rows)


def counted(times_s) -> int:
    counter = DropCounter()
    return sum(counter.lost_before(float(time_s)) for time_s in times_s)


def test_lost_frames_are_counted_from_the_gaps_they_leave() -> None:
    rng = np.random.default_rng(0)
    lost = {50, 51, 52, 90, 120}
    counter = DropCounter()
    counts = {i: counter.lost_before(i / 30 + rng.normal(0, 0.003)) for i in range(200) if i not in lost}
    assert {i: n for i, n in counts.items() if n} == {65: 3, 103: 1, 133: 1}


def test_a_rate_that_halves_counts_as_loss_for_a_moment_only() -> None:
    assert counted([i / 30 for i in range(60)] + [2 + i / 15 for i in range(60)]) <= 6


def test_frames_that_arrive_in_bursts_are_no_loss() -> None:
    assert counted([(i - i % 2) / 30 + 0.0005 * (i % 2) for i in range(200)]) <= 3
    assert counted([(i - i % 4) / 30 + 0.0005 * (i % 4) for i in range(400)]) <= 4


@pytest.mark.parametrize("late_ms", [3.0, 10.0, 20.0])
def test_frames_that_are_only_late_are_no_loss(late_ms: float) -> None:
    late_s = np.random.default_rng(1).uniform(0.0, 2.0 * late_ms / 1000.0, 3600)
    assert counted(np.maximum.accumulate(np.arange(3600) / 30 + late_s)) <= 3


def test_one_stall_with_its_burst_is_no_loss() -> None:
    times_s = np.arange(300) / 30
    times_s[100:109] = times_s[108] + 0.001 * np.arange(9)
    assert counted(times_s) == 0


def test_what_one_stall_seemed_to_lose_is_taken_off_what_is_lost_later() -> None:
    times_s = np.arange(1200) / 30 + np.random.default_rng(3).uniform(0.0, 0.02, 1200)
    times_s[100:108] = times_s[107] + 0.001 * np.arange(8)
    kept = np.random.default_rng(4).uniform(size=1200) >= 0.05
    kept[:300] = True
    assert counted(np.maximum.accumulate(times_s[kept])) == pytest.approx(1200 - kept.sum(), abs=9)


@pytest.mark.parametrize("late_ms", [0.0, 5.0, 10.0])
def test_what_is_lost_among_late_frames_is_counted_nearly(late_ms: float) -> None:
    rng = np.random.default_rng(2)
    times_s = np.arange(3600) / 30 + rng.exponential(max(late_ms, 1e-3) / 1000.0, 3600)
    kept = rng.uniform(size=3600) >= 0.03
    assert counted(np.maximum.accumulate(times_s[kept])) == pytest.approx(3600 - kept.sum(), rel=0.25)
