from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.training import mornings_after
from dawnbeat.training.load import coefficients_from, trimp_of, week_load
from dawnbeat.training.weeks import judge_runs, weeks_of
from tests.training.invented import plain_zones, run, zone_set

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
        coefficients_from("others")


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
