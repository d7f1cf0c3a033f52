from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training.maximum import Maximum
from dawnbeat.training.race import estimates_of, held_of, race_plan, weekly_distance_km
from dawnbeat.training.run import Run
from dawnbeat.training.zone_store import Standing, Threshold
from tests.training.invented import run

TODAY = date(2025, 6, 1)
KNOWN = Standing(None, Maximum(TODAY, "race", 190.0), Threshold(TODAY, 170.0))


def even_run(back: int, pulse_bpm: float, speed: float, minutes: int = 60, drift_per_hour: float = 0.0) -> Run:
    """A level run at one speed whose pulse rises from its middle value by so much an hour."""
    at = np.arange(minutes)
    pulse = pulse_bpm * (1 + drift_per_hour / 100 * (at - 10) / 60)
    table = np.column_stack((pulse, np.full(minutes, speed), np.zeros(minutes)))
    plain = run(TODAY - timedelta(days=back), minutes, round(pulse_bpm), distance_m=speed * 60 * minutes, run_id=back)
    return replace(plain, figures=replace(plain.figures, minutes=table))


def line_of_runs(drift_per_hour: float = 0.0) -> list[Run]:
    """Four runs on the line 20 + 40 v (bpm, m/s), and a long one of two hours."""
    runs = [even_run(n, 20 + 40 * speed, speed) for n, speed in ((5, 2.8), (8, 3.0), (12, 3.2), (15, 3.4))]
    return [*runs, even_run(20, 20 + 40 * 2.8, 2.8, 130, drift_per_hour)]


def test_how_a_long_run_held_is_worked_out_by_thirds() -> None:
    """130 minutes, 120 of them after the tenth: thirds of 40 lie 80 minutes apart; the pulse rises by 6 % an hour."""
    found = held_of(even_run(1, 140, 2.8, 130, 6.0))
    assert found is not None
    assert found.first_bpm == pytest.approx(140 * (1 + 0.06 * 19.5 / 60))
    assert found.last_bpm == pytest.approx(140 * (1 + 0.06 * 99.5 / 60))
    assert found.first_pace_s_per_km == pytest.approx(1000 / 2.8)
    # 8 % of 140 over 80 minutes, of a first third at 142.7: 7.85 % in 80 minutes, 5.88 % an hour.
    assert found.drift_pct_per_hour == pytest.approx(100 * (11.2 / 142.73) / (80 / 60), abs=0.02)
    assert held_of(even_run(1, 140, 2.8, 50)) is None


def test_a_plan_gives_the_pulse_of_the_own_line_at_the_pace_of_the_goal() -> None:
    """A half marathon in 1:46:33 is 3.3 m/s: 20 + 40 * 3.3 = 152 bpm, with 1 bpm at least of spread between days."""
    plan = race_plan(21_097.5, line_of_runs(), KNOWN, TODAY, 21_097.5 / 3.3)
    assert plan.pace_s_per_km == pytest.approx(1000 / 3.3)
    assert plan.start_pace_s_per_km == pytest.approx((1000 / 3.3 * 1.02, 1000 / 3.3))
    assert plan.start_bpm == pytest.approx((150, 154))
    assert plan.drift_pct_per_hour == pytest.approx(0, abs=0.01)
    assert plan.end_bpm == pytest.approx((150, 154), abs=0.1)
    assert plan.cap_bpm == 170
    assert plan.notes == ()
    assert any("150 to 154 bpm" in line for line in plan.lines())
    assert any("min/mile" in line for line in plan.lines("miles"))


def test_drift_of_the_long_run_raises_the_end_and_warns_of_a_goal_that_is_too_fast() -> None:
    calm = race_plan(21_097.5, line_of_runs(6.0), KNOWN, TODAY, 21_097.5 / 3.0)
    assert calm.end_bpm is not None
    assert calm.start_bpm is not None
    hours = (21_097.5 / 3.0 - 600) / 3600
    drift = calm.drift_pct_per_hour or 0
    assert calm.end_bpm[1] == pytest.approx(calm.start_bpm[1] * (1 + drift * hours / 100))
    assert "goal above threshold" not in calm.notes
    fast = race_plan(21_097.5, line_of_runs(6.0), KNOWN, TODAY, 21_097.5 / 3.7)
    assert "goal above threshold" in fast.notes


def test_what_runs_do_not_say_is_not_made_up() -> None:
    sprint = race_plan(5_000, line_of_runs(), KNOWN, TODAY, 5_000 / 4.5)
    assert sprint.start_bpm is None
    assert "faster than run" in sprint.notes
    assert sprint.cap_bpm is None
    bare = race_plan(42_195, line_of_runs()[:1], KNOWN, TODAY, 42_195 / 2.8)
    assert (bare.start_bpm, bare.end_bpm, bare.held) == (None, None, ())
    assert set(bare.notes) == {"few minutes", "no long run"}
    assert "longer than run" in race_plan(42_195, line_of_runs(), KNOWN, TODAY, 42_195 / 2.8).notes


@pytest.mark.parametrize(
    ("distance_m", "goal_s", "said"),
    [(800, 120, "1.5 to 100 km"), (10_000, 600, "check both"), (10_000, None, "give a goal")],
)
def test_a_race_that_cant_be_is_refused(distance_m: float, goal_s: float | None, said: str) -> None:
    with pytest.raises(DawnbeatError, match=said):
        race_plan(distance_m, line_of_runs(), KNOWN, TODAY, goal_s)


def test_without_a_goal_an_own_race_says_one() -> None:
    race = replace(run(TODAY - timedelta(days=9), 45, 170, distance_m=10_000), race=True)
    plan = race_plan(10_000, [*line_of_runs(), race], KNOWN, TODAY)
    assert plan.goal_s == pytest.approx(2700, abs=1)
    assert "equal to the race" in plan.goal_from
    marathon = race_plan(42_195, [*line_of_runs(), race], KNOWN, TODAY)
    assert "Vickers" in marathon.goal_from


def test_estimates_come_together_and_say_what_is_missing() -> None:
    race = replace(run(TODAY - timedelta(days=9), 45, 170, distance_m=10_000, run_id=1), race=True)
    half = replace(run(TODAY - timedelta(days=40), 100, 165, distance_m=21_097.5, run_id=2), race=True)
    short = [
        replace(run(TODAY - timedelta(days=back), minutes, 175, distance_m=way, run_id=back), race=True)
        for back, minutes, way in ((60, 245 / 60, 1200), (62, 845 / 60, 3600))
    ]
    found = estimates_of([*short, half, race], KNOWN, None, TODAY)
    assert [each.unit for each in found.estimates] == ["ml/min/kg", "s/km"]
    assert found.marathon is not None
    assert found.marathon.races == 2
    assert found.critical is not None
    assert found.critical.speed_m_per_s == pytest.approx(4.0)
    assert any("resting pulse and a maximum" in line for line in found.missing)
    walk = replace(race, counts=False)
    assert estimates_of([walk], KNOWN, None, TODAY).marathon is None
    assert weekly_distance_km([race, half, walk], TODAY) == pytest.approx(31.0975 / 8)
