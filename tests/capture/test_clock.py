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


FRAMES = 3600
WAYS = ("steady", "late by chance", "late by a wandering delay")


def arrivals(taken_s: np.ndarray, way: str, seed: int) -> np.ndarray:
    """When frames come: with a millisecond of noise, 10 ms late at the mean by chance, or 20 ms by a slow swing."""
    rng = np.random.default_rng(seed)
    late_s = {
        "steady": rng.uniform(0.0, 0.001, taken_s.size),
        "late by chance": rng.exponential(0.010, taken_s.size),
        "late by a wandering delay": 0.020 * (1 + np.sin(2 * np.pi * 0.37 * taken_s + seed)),
    }[way]
    return np.maximum.accumulate(taken_s + late_s)


def nearly(lost: int, frames: int = FRAMES) -> object:
    """A count within a hundredth of the frames, or two; what was lost in the last seconds is not known yet."""
    return pytest.approx(lost, abs=max(2, frames // 100))


@pytest.mark.parametrize("way", WAYS)
def test_frames_that_are_only_late_are_no_loss(way: str) -> None:
    assert counted(arrivals(np.arange(FRAMES) / 30, way, 1)) <= 2


@pytest.mark.parametrize("size", [2, 4])
def test_frames_that_arrive_in_bursts_are_no_loss(size: int) -> None:
    assert counted([(i - i % size) / 30 + 0.0005 * (i % size) for i in range(400)]) <= 2


@pytest.mark.parametrize("way", WAYS[:2])
def test_what_is_lost_by_chance_is_counted(way: str) -> None:
    kept = np.random.default_rng(2).uniform(size=FRAMES) >= 0.03
    # Up to five seconds are still open when the last frame has come.
    assert counted(arrivals(np.arange(FRAMES) / 30, way, 3)[kept]) == pytest.approx(FRAMES - kept.sum(), abs=12)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("seconds", [0.3, 2.0])
def test_a_stall_whose_frames_come_in_a_burst_is_no_loss(way: str, seconds: float) -> None:
    times_s = arrivals(np.arange(1200) / 30, way, 4)
    until = 500 + round(30 * seconds)
    times_s[500:until] = times_s[until] - 0.0005 * np.arange(until - 500)[::-1]
    assert counted(np.maximum.accumulate(times_s)) <= 2


@pytest.mark.parametrize("way", WAYS)
def test_a_stall_whose_frames_are_lost_is_counted(way: str) -> None:
    times_s = arrivals(np.arange(1200) / 30, way, 5)
    assert counted(np.delete(times_s, np.arange(500, 560))) == nearly(60, 200)


@pytest.mark.parametrize("way", WAYS)
def test_a_rate_that_halves_and_comes_back_is_no_loss(way: str) -> None:
    taken_s = np.cumsum(np.repeat([1 / 30, 1 / 15, 1 / 30], [600, 300, 600]))
    assert counted(arrivals(taken_s, way, 6)) <= 2


def test_stalls_of_a_loaded_machine_hide_no_loss_and_add_none() -> None:
    rng = np.random.default_rng(7)
    late_s = rng.exponential(0.010, FRAMES)
    late_s[rng.integers(100, FRAMES - 200, 10)] += rng.uniform(0.1, 1.0, 10)
    kept = rng.uniform(size=FRAMES) >= 0.03
    times_s = np.maximum.accumulate(np.arange(FRAMES) / 30 + late_s)
    assert counted(times_s) <= 2
    assert counted(times_s[kept]) == nearly(FRAMES - kept.sum())


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("seconds", [5, 15, 45])
def test_a_hole_longer_than_any_window_is_counted(way: str, seconds: int) -> None:
    times_s = arrivals(np.arange(2400) / 30, way, 8)
    assert counted(np.delete(times_s, np.arange(600, 600 + 30 * seconds))) == nearly(30 * seconds, 2400)


def test_a_long_reading_is_counted_to_its_end() -> None:
    times_s = np.arange(12_000) / 30
    assert counted(np.delete(times_s, [*range(300, 310), *range(11_000, 11_040)])) == 50
