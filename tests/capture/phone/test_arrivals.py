from __future__ import annotations

import numpy as np
import pytest

from dawnbeat.capture.phone.arrivals import ClockCheck


def run(
    seconds: float,
    phone_s=lambda t: t + 500.0,
    late_s=lambda t: 0.0,
    waiting=lambda t: 0,
    wall_s=lambda t: t + 1.7e9,
) -> ClockCheck:
    """A batch every quarter of a second, taken at t, arriving after 20 to 80 ms and `late_s`."""
    check = ClockCheck()
    delays = np.random.default_rng(1).gamma(2.0, 0.02, 10_000)
    for number, t in enumerate(np.arange(0.0, seconds, 0.25)):
        arrived_s = float(t + 0.02 + delays[number] + late_s(t))
        check.see(float(phone_s(t)), arrived_s, float(wall_s(arrived_s)), waiting(t))
    return check


def test_a_steady_clock_on_a_shaky_network_is_good() -> None:
    check = run(300.0)
    assert (check.jumps, check.words, check.slept) == ([], "", False)
    assert check.speed == pytest.approx(1.0, abs=0.001)


def test_a_network_that_is_gone_for_a_minute_is_no_jump() -> None:
    check = run(
        120.0, late_s=lambda t: max(0.0, 90.0 - t) if t > 30 else 0.0, waiting=lambda t: 100 if 30 < t < 89 else 0
    )
    assert check.words == ""


@pytest.mark.parametrize("by_s", [0.5, 3.0, 3600.0])
def test_a_clock_that_goes_forward_is_said(by_s: float) -> None:
    check = run(120.0, phone_s=lambda t: t + 500.0 + (by_s if t >= 60.0 else 0.0))
    assert len(check.jumps) == 1
    assert check.jumps[0].by_s == pytest.approx(by_s, abs=0.1)
    assert check.jumps[0].at_s == pytest.approx(60.0 + by_s, abs=1.0)
    assert f"{by_s:.1f}"[:2] in check.words or "jumped" in check.words


def test_a_clock_that_stood_still_is_said() -> None:
    check = run(120.0, phone_s=lambda t: t + 500.0 - (3.0 if t >= 60.0 else 0.0))
    assert [round(jump.by_s, 1) for jump in check.jumps] == [-3.0]


@pytest.mark.parametrize("speed", [0.97, 1.03])
def test_a_clock_that_runs_at_another_speed_is_said(speed: float) -> None:
    check = run(120.0, phone_s=lambda t: speed * t + 500.0)
    assert "speed" in check.words or check.jumps


def test_a_computer_that_slept_is_no_fault_of_the_phone() -> None:
    # Its monotonic clock stood still for ten minutes, the wall's and the phone's did not.
    check = run(
        120.0,
        phone_s=lambda t: t + 500.0 + (600.0 if t >= 60.0 else 0.0),
        wall_s=lambda a: a + 1.7e9 + (600.0 if a >= 60.0 else 0.0),
    )
    assert check.jumps == []
    assert check.slept
