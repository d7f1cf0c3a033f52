"""Windows, minimum counts and the four phrases."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from dawnbeat.journal import ranges
from dawnbeat.journal.ranges import RangeSettings
from dawnbeat.journal.today import stand_of, trend
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import Morning, Posture

TODAY = date(2025, 3, 31)


def morning(
    back: int, ln_rmssd: float | None = 4.0, pulse: float = 50.0, posture: Posture = "lying", **more: object
) -> Morning:
    about = {"hour": 6.5, "usable": True} | more
    return Morning(TODAY - timedelta(days=back), ln_rmssd, pulse, posture, **about)  # type: ignore[arg-type]


def scattered(backs: range, centre: float = 4.0) -> list[Morning]:
    return [morning(back, centre + 0.1 * (-1) ** back) for back in backs]


def test_the_week_has_seven_days_with_today_and_needs_three_mornings() -> None:
    week = ranges.week_and_range([morning(back, 4.0 + back) for back in (0, 6, 7, 3)], "ln_rmssd", TODAY)[0]
    assert week is not None
    assert week.dates == tuple(TODAY - timedelta(days=back) for back in (6, 3, 0))
    assert week.mean == pytest.approx(7.0)
    assert ranges.week_and_range([morning(0), morning(6), morning(7)], "ln_rmssd", TODAY)[0] is None


def test_the_usual_range_has_the_four_weeks_before_the_week_and_needs_fourteen_mornings() -> None:
    fourteen = [*scattered(range(7, 20)), morning(34)]
    usual = ranges.week_and_range([*fourteen, morning(6, 9.0), morning(35, 9.0)], "ln_rmssd", TODAY)[1]
    assert usual is not None
    assert usual.n == 14
    assert (usual.dates[0], usual.dates[-1]) == (TODAY - timedelta(days=34), TODAY - timedelta(days=7))
    assert ranges.week_and_range([*fourteen[:-1], morning(35)], "ln_rmssd", TODAY)[1] is None


@pytest.mark.parametrize(
    "marred",
    [
        {"ill": True},
        {"comparable": False},
        {"irregular": True, "usable": False, "pulse_usable": True},
        {"duration_s": 25.0},
        {"hour": 11.0},
        {"origin": "strap"},
        {"posture": "sitting"},
    ],
)
def test_mornings_that_are_not_alike_never_enter_the_usual_range(marred: dict[str, object]) -> None:
    thirteen = scattered(range(7, 20))
    assert ranges.week_and_range([*thirteen, morning(25, **marred)], "ln_rmssd", TODAY)[1] is None  # type: ignore[arg-type]
    assert ranges.week_and_range([*thirteen, morning(25)], "ln_rmssd", TODAY)[1] is not None


def test_a_morning_of_which_only_the_pulse_may_be_used_counts_for_the_pulse_alone() -> None:
    mornings = [*scattered(range(7, 20)), morning(25, 9.0, 50.0, usable=False, pulse_usable=True)]
    pulse = ranges.week_and_range(mornings, "resting_pulse_bpm", TODAY)[1]
    assert pulse is not None
    assert pulse.n == 14
    assert ranges.week_and_range(mornings, "ln_rmssd", TODAY)[1] is None


def test_an_ill_morning_stays_in_its_week() -> None:
    week = ranges.week_and_range([morning(0), morning(1, ill=True), morning(2)], "ln_rmssd", TODAY)[0]
    assert week is not None
    assert week.n == 3


def test_readings_that_are_not_usable_or_have_no_value_never_enter() -> None:
    marred = [morning(0, 9.0, usable=False), morning(1, None), *scattered(range(2, 5))]
    week = ranges.week_and_range(marred, "ln_rmssd", TODAY)[0]
    assert week is not None
    assert week.n == 3
    history = [*scattered(range(7, 20)), morning(21, 9.0, usable=False)]
    assert ranges.week_and_range(history, "ln_rmssd", TODAY)[1] is None


@pytest.mark.parametrize(
    ("value", "phrase"),
    [
        (3.89, "below your usual range"),
        (3.95, "inside your usual range"),
        (4.05, "inside your usual range"),
        (4.2, "above your usual range"),
        (None, "too few mornings to say"),
    ],
)
def test_the_four_phrases(value: float | None, phrase: str) -> None:
    usual = ranges.week_and_range(scattered(range(7, 41)), "ln_rmssd", TODAY)[1]
    assert usual is not None
    assert ranges.standing(value, usual.low, usual.high) == phrase
    assert ranges.standing(value, None, None) == "too few mornings to say"


def test_equal_mornings_stand_inside_a_range_of_no_width() -> None:
    same = [morning(back, 4.1) for back in range(60)]
    stand = stand_of(same, TODAY).ln_rmssd
    assert (stand.week, stand.morning) == (ranges.INSIDE, ranges.INSIDE)


@given(st.lists(st.floats(1, 6), min_size=14, max_size=28), st.floats(0.1, 2.0))
def test_the_range_is_centred_and_as_wide_as_asked(values: list[float], worthwhile_sd: float) -> None:
    settings = RangeSettings(worthwhile_sd=worthwhile_sd)
    usual = ranges.week_and_range(
        [morning(7 + place, value) for place, value in enumerate(values)], "ln_rmssd", TODAY, settings
    )[1]
    assert usual is not None
    assert usual.mean == pytest.approx(float(np.mean(values)))
    assert usual.high - usual.low == pytest.approx(2 * worthwhile_sd * float(np.std(values, ddof=1)), abs=1e-9)


def test_the_trend_of_a_straight_line_is_its_slope_without_doubt() -> None:
    found = trend([morning(back, 4.0 - 0.01 * back) for back in range(28)], "ln_rmssd", TODAY)
    assert found is not None
    assert found.per_week == pytest.approx(0.07)
    assert (found.low, found.high) == (pytest.approx(0.07), pytest.approx(0.07))
    assert found.clear
    assert found.n == 28
    assert trend([morning(back) for back in range(13)], "ln_rmssd", TODAY) is None


def test_scatter_without_slope_gives_no_clear_trend() -> None:
    found = trend(scattered(range(28)), "ln_rmssd", TODAY)
    assert found is not None
    assert not found.clear


def test_window_lengths_and_counts_are_settings() -> None:
    settings = RangeSettings(week_days=5, week_minimum=2, history_days=20, history_minimum=4)
    mornings = scattered(range(30))
    week = ranges.week_and_range(mornings, "ln_rmssd", TODAY, settings)[0]
    usual = ranges.week_and_range(mornings, "ln_rmssd", TODAY, settings)[1]
    assert week is not None
    assert usual is not None
    assert (week.n, usual.n) == (5, 20)
    assert usual.dates[-1] == TODAY - timedelta(days=5)


@pytest.mark.parametrize(
    "wrong",
    [
        {"week_days": 2},
        {"week_days": 7.0},
        {"worthwhile_sd": 0},
        {"worthwhile_sd": True},
        {"hour_tolerance_h": "2"},
        {"history_days": 91},
    ],
)
def test_a_setting_out_of_range_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(DawnbeatError, match=next(iter(wrong))):
        RangeSettings(**wrong)  # type: ignore[arg-type]


def test_all_days_at_once_are_what_each_day_alone_would_say() -> None:
    mornings = [morning(back, 4 + 0.01 * (back * 7 % 13)) for back in range(120) if back % 5]
    first = TODAY - timedelta(days=40)
    found = ranges.daily_ranges(mornings, "ln_rmssd", first, TODAY)
    for place, ordinal in enumerate(found.day):
        week, usual = ranges.week_and_range(mornings, "ln_rmssd", date.fromordinal(int(ordinal)))
        assert week is not None
        assert usual is not None
        assert (found.week[place], found.week_error[place]) == pytest.approx((week.mean, week.error))
        assert (found.low[place], found.band_high[place]) == pytest.approx((usual.low, usual.band_high))


def test_the_week_errs_as_its_mornings_and_their_likeness_say() -> None:
    """Against the sum written out: variance of mean of the week less mean of the reference, lag-1 to the days apart."""
    rng = np.random.default_rng(3)
    mornings = [morning(back, 4 + 0.1 * rng.standard_normal()) for back in range(35) if back % 4]
    week, usual = ranges.week_and_range(mornings, "ln_rmssd", TODAY)
    assert week is not None
    assert usual is not None
    weights = dict.fromkeys(week.dates, 1 / week.n) | dict.fromkeys(usual.dates, -1 / usual.n)
    days = list(weights)
    apart = [[usual.lag1 ** abs((one - other).days) for other in days] for one in days]
    variance = np.array(list(weights.values())) @ np.array(apart) @ np.array(list(weights.values()))
    inside = [[usual.lag1 ** abs((one - other).days) for other in usual.dates] for one in usual.dates]
    true_sd = usual.sd * np.sqrt((1 - 1 / usual.n) / (1 - np.sum(inside) / usual.n**2))
    widened = stats.t.ppf(0.975, usual.n - 1) / stats.norm.ppf(0.975)
    assert week.error == pytest.approx(true_sd * np.sqrt(variance) * widened, rel=1e-3)


def test_later_mornings_change_nothing_about_a_day() -> None:
    mornings = scattered(range(60))
    later = [*mornings, morning(-1, 9.0), morning(-2, 9.0)]
    assert stand_of(later, TODAY) == stand_of(mornings, TODAY)


def test_only_mornings_in_the_usual_posture_make_the_week_and_the_range() -> None:
    mornings = [*scattered(range(1, 60)), morning(0, 3.0, 70, "standing"), morning(30, 3.0, 70, "standing")]
    today = stand_of([each for each in mornings if each.date != TODAY - timedelta(days=30)], TODAY)
    assert today.usual_posture == "lying"
    assert today.other_posture == (TODAY,)
    assert today.ln_rmssd.in_week == 6
    assert today.ln_rmssd.this_morning == 3.0
    assert today.ln_rmssd.morning == ranges.TOO_FEW, "there are no standing mornings to compare with"
    assert today.ln_rmssd.week == ranges.INSIDE


def test_a_morning_in_another_posture_is_compared_with_its_like() -> None:
    sitting = [morning(back, 3.0 + 0.1 * (-1) ** back, 60, "sitting") for back in range(0, 60, 3)]
    lying = scattered(range(1, 60, 3)) + scattered(range(2, 60, 3))
    today = stand_of(sitting + lying, TODAY, RangeSettings(history_days=60))
    assert today.usual_posture == "lying"
    assert today.ln_rmssd.morning_usual is not None
    assert today.ln_rmssd.morning_usual.mean == pytest.approx(3.0, abs=0.02)
    assert today.ln_rmssd.usual is not None
    assert today.ln_rmssd.usual.mean == pytest.approx(4.0, abs=0.02)


def test_another_hour_than_usual_is_told() -> None:
    before = scattered(range(1, 30))
    assert stand_of([*before, morning(0, hour=8.0)], TODAY).hours_off is None
    assert stand_of([*before, morning(0, hour=9.5)], TODAY).hours_off == pytest.approx(3.0)
    assert stand_of([*before, morning(0, hour=23.5)], TODAY).hours_off == pytest.approx(-7.0)
