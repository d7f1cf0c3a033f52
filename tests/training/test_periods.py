"""Weeks, months and years made of judged runs."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnbeat.shared.checked_fields import one_of
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training import mornings_after
from dawnbeat.training.periods import Fixed, fixed_of, judge_runs, periods_of, week_load, weeks_of
from dawnbeat.training.run import Run
from dawnbeat.training.run_figures import COEFFICIENTS, pace_at, pulse_at, trimp_of
from tests.training.invented import morning, plain_zones, run, zone_set

MONDAY = date(2025, 3, 3)


def test_a_week_adds_up_its_runs() -> None:
    runs = [
        run(MONDAY, 60, 140, felt_effort=3),
        run(MONDAY + timedelta(days=2), 30, 165, felt_effort=7),
        run(MONDAY + timedelta(days=6), 90, None, felt_effort=4, distance_m=None),
    ]
    (week,) = weeks_of(judge_runs(runs, [zone_set(MONDAY)]), MONDAY, MONDAY + timedelta(days=6))
    assert (week.runs, week.duration_s, week.measured_s) == (3, 180 * 60, 90 * 60)
    assert week.zone_s == (0, 3600, 0, 1800, 0)
    assert week.easy_share == pytest.approx(2 / 3)
    assert (week.distance_m, week.without_distance) == (20_000, 1)
    assert week.session_load == 60 * 3 + 30 * 7 + 90 * 4
    assert (week.unrated, week.without_trimp) == (0, 1)
    assert week.monotony is not None
    assert week.strain == pytest.approx(week.session_load * week.monotony)


def test_what_does_not_count_as_a_run_is_in_no_week() -> None:
    # A walk of three hours beside one hard run: alone it would make the week look easy.
    walk = replace(run(MONDAY, 180, 100), sport="walking", counts=False)
    judged = judge_runs([walk, run(MONDAY + timedelta(days=1), 30, 165)], [zone_set(MONDAY)])
    (week,) = weeks_of(judged, MONDAY, MONDAY + timedelta(days=6))
    assert (week.runs, week.easy_share, week.duration_s) == (1, 0, 1800)
    assert mornings_after.daily_load(judged).by_day.keys() == {MONDAY + timedelta(days=1)}


def test_a_week_with_an_unrated_run_or_not_yet_over_has_no_monotony() -> None:
    judged = judge_runs([run(MONDAY, felt_effort=3), run(MONDAY + timedelta(days=1))], [])
    (week,) = weeks_of(judged, MONDAY, MONDAY + timedelta(days=6))
    assert (week.session_load, week.unrated, week.monotony, week.strain) == (180, 1, None, None)
    (week,) = weeks_of(judge_runs([run(MONDAY, felt_effort=3)], []), MONDAY, MONDAY + timedelta(days=3))
    assert week.monotony is None


def test_weeks_without_a_run_are_listed_and_silent() -> None:
    weeks = weeks_of(judge_runs([run(MONDAY)], [zone_set(MONDAY)]), MONDAY, MONDAY + timedelta(days=20))
    assert [week.first for week in weeks] == [MONDAY + timedelta(weeks=n) for n in range(3)]
    assert (weeks[1].runs, weeks[1].easy_share, weeks[1].distance_m, weeks[1].session_load) == (0, None, None, None)


def test_the_easy_share_stands_beside_that_of_the_weeks_before() -> None:
    runs = []
    for week, minutes_hard in enumerate((10, 20, 30, 15)):
        day = MONDAY + timedelta(weeks=week)
        runs += [run(day, 60 - minutes_hard, 140), run(day, minutes_hard, 170)]
    weeks = weeks_of(judge_runs(runs, [zone_set(MONDAY)]), MONDAY, MONDAY + timedelta(weeks=3, days=6))
    assert [week.easy_range for week in weeks[:3]] == [None, None, None]
    assert weeks[3].easy_range == pytest.approx((0.5, 50 / 60))
    assert weeks[3].easy_share == pytest.approx(0.75)


def test_each_run_is_judged_by_the_zones_of_its_day() -> None:
    sets = [zone_set(MONDAY, 50, 190), zone_set(MONDAY + timedelta(days=7), 50, 176)]
    runs = [run(MONDAY + timedelta(days=days), pulse_bpm=145) for days in (-30, 0, 6, 7)]
    judged = judge_runs(runs, sets)
    shares = [None if each.judged is None else each.judged.easy_share for each in judged]
    assert shares == [1.0, 1.0, 1.0, 0.0]
    assert [each.before_sets for each in judged] == [True, False, False, False]


def test_a_run_measured_in_part_has_a_training_impulse_from_three_quarters_on() -> None:
    from dataclasses import replace

    figures = run(MONDAY, 60, 150).figures
    anchors = plain_zones().anchors
    assert trimp_of(replace(figures, measured_s=0.74 * 3600), anchors, "men") is None
    assert trimp_of(replace(figures, measured_s=0.76 * 3600), anchors, "men") is not None
    with pytest.raises(DawnbeatError, match="say men or women"):
        one_of("coefficients", "others", COEFFICIENTS)


@given(st.lists(st.floats(0, 2000), min_size=7, max_size=7))
def test_monotony_is_defined_or_left_out_and_strain_follows(daily: list[float]) -> None:
    week = week_load(daily)
    assert (week.monotony is None) == (week.strain is None)
    if week.monotony is not None:
        # Seven values of one sign can't spread by more than sqrt(7) times their mean.
        assert week.monotony >= 1 / 7**0.5 - 1e-9


def test_the_easy_runs_are_counted_and_a_race_is_none_of_them() -> None:
    easy, hard = run(MONDAY, 60, 140), run(MONDAY + timedelta(days=1), 60, 170)
    race = replace(run(MONDAY + timedelta(days=2), 60, 140), race=True)
    unmeasured = run(MONDAY + timedelta(days=3), 60, None)
    judged = judge_runs([easy, hard, race, unmeasured], [zone_set(MONDAY)])
    assert [each.easy for each in judged] == [True, False, False, None]
    (week,) = weeks_of(judged, MONDAY, MONDAY + timedelta(days=6))
    assert (week.easy_runs, week.judged_runs, week.easy_runs_share) == (1, 3, pytest.approx(1 / 3))


def test_the_same_training_is_easier_by_time_than_by_runs() -> None:
    """Four easy runs of an hour and one with 18 hard minutes in its hour: 4 of 5 runs, 94 % of the time."""
    easy = [run(MONDAY + timedelta(days=n), 60, 140) for n in range(4)]
    at_bpm = easy[0].figures.ms_at_bpm.copy()
    at_bpm[140], at_bpm[170] = 42 * 60_000, 18 * 60_000
    mixed = replace(run(MONDAY + timedelta(days=5), 60, 149), figures=replace(easy[0].figures, ms_at_bpm=at_bpm))
    (week,) = weeks_of(judge_runs([*easy, mixed], [zone_set(MONDAY)]), MONDAY, MONDAY + timedelta(days=6))
    assert week.easy_runs_share == pytest.approx(0.8)
    assert week.easy_share == pytest.approx(282 / 300)


def test_a_weeks_load_stands_beside_the_eight_weeks_before() -> None:
    runs = [run(MONDAY + timedelta(weeks=n), 60, 140, felt_effort=felt) for n, felt in enumerate((9, 3, 5, 4, 2))]
    weeks = weeks_of(judge_runs(runs, [zone_set(MONDAY)]), MONDAY, MONDAY + timedelta(weeks=4, days=6))
    assert weeks[2].session_load_range is None
    assert weeks[4].session_load_range == (180, 540)
    # Nine weeks on the first week has left the span.
    later = weeks_of(judge_runs(runs, [zone_set(MONDAY)]), MONDAY, MONDAY + timedelta(weeks=9))
    assert later[-1].session_load_range == (120, 300)
    assert later[-1].trimp_range["men"] is not None
    unrated = weeks_of(
        judge_runs([*runs[:3], run(MONDAY + timedelta(days=1), 60, 140)], []), MONDAY, MONDAY + timedelta(weeks=3)
    )
    assert unrated[-1].session_load_range is None


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
