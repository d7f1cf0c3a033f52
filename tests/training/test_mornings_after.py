from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from dawnbeat.training.mornings_after import (
    association,
    daily_load,
    hardest_days,
    next_morning_association,
    week_association,
)
from dawnbeat.training.periods import judge_runs
from tests.training.invented import morning, run, zone_set

FIRST = date(2025, 1, 6)


def test_below_twenty_pairs_nothing_is_said() -> None:
    pairs = [(float(n), float(n)) for n in range(19)]
    assert association("x", pairs) is None
    assert association("x", [*pairs, (float("nan"), 1.0)]) is None
    assert association("x", [*pairs, (19.0, 19.0)]) is not None
    assert association("x", [(1.0, float(n)) for n in range(30)]) is None


def test_an_interval_that_holds_zero_is_called_chance() -> None:
    rng = np.random.default_rng(5)
    found = association("load and mornings", rng.normal(size=(25, 2)).tolist())
    assert found is not None
    assert found.low < 0 < found.high
    assert "may be chance" in found.words
    assert "25 pairs" in found.words


def test_load_is_the_best_measure_that_most_runs_have() -> None:
    rated = [run(FIRST + timedelta(days=n), felt_effort=4) for n in range(8)]
    assert daily_load(judge_runs(rated, [zone_set(FIRST)])).name == "training impulse"
    assert daily_load(judge_runs(rated, [])).name == "session rating"
    some = [*rated[:7], run(FIRST + timedelta(days=7))]
    found = daily_load(judge_runs(some, []))
    assert (found.name, found.left_out, len(found.by_day)) == ("session rating", 1, 7)
    assert daily_load(judge_runs(rated[:2] + some[7:], [])).name == "minutes run"


def test_mornings_that_fall_after_hard_days_are_found() -> None:
    rng = np.random.default_rng(7)
    runs, mornings, felt = [], [], 0.0
    for n in range(200):
        day = FIRST + timedelta(days=n)
        mornings.append(morning(day, 4.0 - 0.04 * felt + rng.normal(0, 0.03)))
        felt = float(rng.integers(1, 10))
        runs.append(run(day, 60, None, felt_effort=felt))
    loads = daily_load(judge_runs(runs, []))
    found = next_morning_association(loads, mornings)
    assert found is not None
    assert found.rho < -0.7
    assert found.high < 0
    assert "does not say why" in found.words
    weekly = week_association(loads, mornings)
    assert weekly is not None
    assert weekly.n == 27
    # In these invented mornings a run is felt for one day only, so nothing is left a week later.
    assert weekly.low < 0 < weekly.high


def test_the_hardest_days_come_with_the_morning_after() -> None:
    runs = [run(FIRST + timedelta(days=n), 60, None, felt_effort=2) for n in range(0, 80, 2)]
    hard = FIRST + timedelta(days=71)
    runs.append(run(hard, 120, None, felt_effort=9))
    mornings = [morning(FIRST + timedelta(days=n), 4.0 + 0.05 * (-1) ** n, 50 + (-1) ** n) for n in range(90)]
    mornings[72] = morning(hard + timedelta(days=1), 3.5, 60)
    loads = daily_load(judge_runs(runs, []))
    (first, second) = hardest_days(judge_runs(runs, []), loads, mornings, count=2)
    assert (first.date, first.load, first.runs) == (hard, 1080, 1)
    assert first.ln_rmssd == "below your usual range"
    assert first.resting_pulse == "above your usual range"
    assert first.week_moved == pytest.approx(-0.5 / 7, abs=0.05)
    assert second.load == 120
    (lonely,) = hardest_days(judge_runs(runs[:1], []), daily_load(judge_runs(runs[:1], [])), [])
    assert lonely.next_morning is None
    assert lonely.ln_rmssd == "too few mornings to say"


def test_a_morning_that_is_held_against_nothing_says_why() -> None:
    judged = judge_runs([run(FIRST + timedelta(days=n), 60, None, felt_effort=9 - n) for n in range(4)], [])
    mornings = [morning(FIRST + timedelta(days=n)) for n in range(4)]
    mornings[1] = replace(mornings[1], usable=False)
    mornings[2] = replace(mornings[2], posture="standing")
    days = hardest_days(judged, daily_load(judged), mornings)
    assert [day.not_compared for day in days] == [
        "reading not usable",
        "taken standing, most are lying",
        "",
        "no reading",
    ]
    assert days[2].ln_rmssd == "too few mornings to say"
