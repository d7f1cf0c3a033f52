from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from dawnbeat.training.adaptation import Fixed, fixed_of, pace_at, periods_of, pulse_at
from dawnbeat.training.run import Run
from dawnbeat.training.weeks import judge_runs
from tests.training.invented import morning, run, zone_set

MARCH = date(2025, 3, 1)
SET = zone_set(MARCH)


def minutes_at(pulse_bpm: float, speed: float, count: int = 40) -> np.ndarray:
    return np.column_stack((np.full(count, pulse_bpm), np.full(count, speed), np.zeros(count)))


def with_minutes(day: date, pulse_bpm: float, speed: float) -> Run:
    plain = run(day, pulse_bpm=round(pulse_bpm), felt_effort=3)
    return replace(plain, figures=replace(plain.figures, minutes=minutes_at(pulse_bpm, speed)))


def test_pace_at_a_pulse_and_pulse_at_a_pace_by_hand() -> None:
    """At 142 bpm 2.84 m/s are 0.02 m a beat and second: at 140 bpm 2.8 m/s, 357.1 s a km. At 350 s a km, 142.86 bpm."""
    minutes = minutes_at(142, 2.84)
    assert pace_at(minutes, 140) == pytest.approx(1000 / 2.8)
    assert pulse_at(minutes, 350) == pytest.approx(1000 / 350 / 0.02)
    assert pace_at(minutes, 150) is None
    assert pulse_at(minutes, 300) is None
    assert pace_at(minutes[:19], 140) is None


def test_months_stand_side_by_side_at_one_pulse_and_one_pace() -> None:
    # The same pulse, a faster pace in the second month; a walk counts in neither.
    runs = [with_minutes(MARCH + timedelta(days=n), 140, 2.8) for n in (1, 8)]
    runs += [with_minutes(date(2025, 4, 2 + n), 140, 2.9) for n in (0, 7)]
    walk = replace(with_minutes(date(2025, 4, 20), 140, 1.4), counts=False)
    mornings = [morning(date(2025, 4, n), 4.0 + n / 100, 48 + n) for n in (1, 2, 3)]
    judged = judge_runs([*runs, walk], [SET])
    march, april = periods_of(judged, mornings, Fixed(140, 357), MARCH, date(2025, 4, 30))
    assert (march.runs, april.runs, april.steady_minutes) == (2, 2, 60)
    assert (march.pace_s_per_km, april.pace_s_per_km) == pytest.approx((1000 / 2.8, 1000 / 2.9))
    assert march.pulse_bpm == pytest.approx(140, abs=0.2)
    assert april.pulse_bpm is not None
    assert april.pulse_bpm < 136
    assert (march.mornings, april.mornings, april.resting_bpm) == (0, 3, 50)
    assert april.ln_rmssd == pytest.approx(4.02)
    assert (april.session_load, april.distance_m, april.easy_runs) == (360, 20_000, 2)
    (year,) = periods_of(judged, mornings, Fixed(140, 357), MARCH, date(2025, 4, 30), "year")
    assert (year.first, year.runs, year.steady_minutes) == (date(2025, 1, 1), 4, 120)


def test_a_month_without_runs_is_there_and_silent() -> None:
    months = periods_of([], [], None, date(2024, 11, 15), date(2025, 2, 3))
    assert [each.first.month for each in months] == [11, 12, 1, 2]
    assert (months[0].runs, months[0].distance_m, months[0].pace_s_per_km, months[0].easy_share) == (
        0,
        None,
        None,
        None,
    )


def test_the_fixed_pulse_and_pace_are_those_of_the_middle_easy_minute() -> None:
    runs = [with_minutes(MARCH + timedelta(days=n), 138, 2.83) for n in range(3)]
    hard = [with_minutes(MARCH + timedelta(days=n), 172, 3.9) for n in range(5, 9)]
    judged = judge_runs([*runs, *hard], [SET])
    assert fixed_of(judged, MARCH + timedelta(days=20)) == Fixed(140.0, 355.0)
    assert fixed_of(judged[3:], MARCH + timedelta(days=20)) is None
