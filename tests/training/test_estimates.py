from __future__ import annotations

import numpy as np
import pytest

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import clock, seconds_from
from dawnbeat.training.estimates import (
    Race,
    critical_speed,
    disagreement,
    marathon_time,
    race_equivalents,
    race_time_s,
    threshold_test,
    uptake_from_pulses,
    uptake_from_race,
)
from dawnbeat.training.run import Mark
from dawnbeat.training.run_figures import marks_of
from tests.training.invented import samples, swaying


@pytest.mark.parametrize(
    ("distance_m", "duration_s", "said"),
    [
        (800, 120, "from 1.5 km"),
        (100_000, 36_000, "to a marathon"),
        (5000, 200, "3.5 minutes"),
        (3000, 300, "check both"),
    ],
)
def test_a_race_outside_the_formula_is_refused(distance_m: float, duration_s: float, said: str) -> None:
    with pytest.raises(DawnbeatError, match=said):
        uptake_from_race(distance_m, duration_s)


@pytest.mark.parametrize("uptake", [25.0, 40.0, 55.0, 80.0])
@pytest.mark.parametrize("distance_m", [1500.0, 5000.0, 21_097.5])
def test_the_time_for_an_uptake_asks_for_that_uptake(uptake: float, distance_m: float) -> None:
    time_s = race_time_s(distance_m, uptake)
    if time_s >= 210:
        assert uptake_from_race(distance_m, time_s).value == pytest.approx(uptake, abs=1e-6)


def test_a_race_is_equal_to_itself() -> None:
    found = {each.name: each for each in race_equivalents(10_000, 2600)}
    assert found["10 km"].duration_s == pytest.approx(2600, abs=1e-3)
    assert found["10 km"].of_race == 1
    assert "1500 m" in found


def test_an_estimate_carries_formula_source_and_error() -> None:
    measured, guessed = uptake_from_pulses(50, 190, True, "men"), uptake_from_pulses(50, 180, False, "men")
    assert measured.low is not None
    assert guessed.low is not None
    assert guessed.value - guessed.low > measured.value - measured.low
    assert "Uth" in measured.source
    assert "well-trained men" in measured.error
    assert "Uth 2005" in uptake_from_pulses(50, 190, True, "women").source


def test_a_race_outside_the_interval_of_the_pulses_disagrees_and_says_which_to_trust() -> None:
    # 59 from pulses and 46 from a race.
    by_pulses = uptake_from_pulses(48, 185, True, "men")
    slow, near, fast = (uptake_from_race(10_000, seconds) for seconds in (2660, 2140, 1800))
    found = disagreement(slow, by_pulses)
    assert found is not None
    assert (round(found.by_pulses), round(found.by_race)) == (59, 46)
    assert "trust the race" in found.words
    assert disagreement(near, by_pulses) is None
    assert disagreement(fast, by_pulses) is not None


@pytest.mark.parametrize(
    ("races", "weekly_km", "said"),
    [
        ([], 40, "needs a race"),
        ([Race(1500, 300)], 40, "5 km to half marathon"),
        ([Race(10_000, 2700)], 0, "can't be right"),
        ([Race(10_000, 2700)], 1000, "can't be right"),
    ],
)
def test_a_marathon_outside_its_model_is_refused(races: list[Race], weekly_km: float, said: str) -> None:
    with pytest.raises(DawnbeatError, match=said):
        marathon_time(races, weekly_km)


@pytest.mark.parametrize(
    ("efforts", "said"),
    [
        ([Race(1200, 245)], "two or three efforts"),
        ([Race(1200, 245), Race(1210, 248)], "half as long again"),
        ([Race(1200, 245), Race(10_000, 2700)], "2 to 20"),
        ([Race(1200, 300), Race(3600, 500)], "fit each other"),
    ],
)
def test_efforts_that_no_line_fits_are_refused(efforts: list[Race], said: str) -> None:
    with pytest.raises(DawnbeatError, match=said):
        critical_speed(efforts)


def half_hour_inside() -> np.ndarray:
    return np.concatenate((swaying(900, 130), 165 + 5 * np.tanh(np.arange(1800) / 300), swaying(600, 130)))


def test_the_fastest_half_hour_is_found_and_its_last_twenty_minutes_averaged() -> None:
    pulse = half_hour_inside()
    speed = np.concatenate((np.full(900, 2.8), np.full(1800, 4.0), np.full(600, 2.6)))
    run = samples(pulse)
    object.__setattr__(run, "distance_m", np.concatenate(([0], np.cumsum(speed)[:-1])))
    test = threshold_test(run, marks_of(run))
    assert test.from_s == pytest.approx(900, abs=2)
    assert test.bpm == pytest.approx(pulse[1500:2700].mean(), abs=0.1)
    assert test.pace_s_per_km == pytest.approx(250, abs=0.5)


def test_a_test_that_was_not_measured_or_is_not_there_is_refused() -> None:
    run = samples(half_hour_inside())
    with pytest.raises(DawnbeatError, match="10 were measured"):
        threshold_test(run, [Mark("cadence lock", 1500, 2100)], 900)
    with pytest.raises(DawnbeatError, match="no half hour follows"):
        threshold_test(run, (), 2000)
    with pytest.raises(DawnbeatError, match="lasts 17 minutes"):
        threshold_test(samples(swaying(1000)), ())
    unknown = samples(half_hour_inside())
    object.__setattr__(unknown, "distance_m", np.full(len(unknown), np.nan))
    with pytest.raises(DawnbeatError, match="say where the test begins"):
        threshold_test(unknown, ())
    assert threshold_test(unknown, (), 900).pace_s_per_km is None


@pytest.mark.parametrize(("text", "seconds"), [("42:30", 2550), ("1:02:30", 3750), ("90", 5400), ("90:00", 5400)])
def test_durations_are_read_and_written(text: str, seconds: float) -> None:
    assert seconds_from(text) == seconds
    assert seconds_from(clock(seconds)) == seconds


@pytest.mark.parametrize("text", ["", "soon", "1:99", "-3", "nan", "inf"])
def test_what_is_no_duration_is_refused(text: str) -> None:
    with pytest.raises(DawnbeatError, match="is not a time"):
        seconds_from(text)
