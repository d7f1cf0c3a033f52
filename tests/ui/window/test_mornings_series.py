from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dawnbeat.journal.ranges import DEFAULT, MEASURES, Measure, RangeSettings, history
from dawnbeat.journal.store import Journal
from dawnbeat.shared.morning import Morning
from dawnbeat.ui.window.mornings.series import daily_ranges, day_of, seconds_of, series_of

FIRST = date(2023, 12, 20)
value = st.floats(min_value=1.0, max_value=6.0)


@settings(max_examples=40, deadline=None)
@given(
    st.dictionaries(st.integers(0, 150), value, min_size=1, max_size=120),
    st.sampled_from([DEFAULT, RangeSettings(week_days=3, week_minimum=2, history_days=14, history_minimum=3)]),
)
def test_all_days_at_once_agree_with_the_journal_day_by_day(found: dict[int, float], ranges: RangeSettings) -> None:
    days = sorted(found)
    mornings = [Morning(FIRST + timedelta(days=day), found[day], 50.0, "lying", 6.5, True) for day in days]
    expected = history(mornings, "ln_rmssd", mornings[0].date, mornings[-1].date, ranges)
    got = daily_ranges(
        np.array([seconds_of(each.date) for each in mornings]), np.array([found[day] for day in days]), ranges
    )
    assert [day_of(each) for each in got.day_s] == [each.date for each in expected]
    nan = float("nan")
    week = [nan if each.week is None else each.week.mean for each in expected]
    low = [nan if each.usual is None else each.usual.low for each in expected]
    high = [nan if each.usual is None else each.usual.high for each in expected]
    np.testing.assert_allclose(got.week, week, atol=1e-9)
    np.testing.assert_allclose(got.low, low, atol=1e-6)
    np.testing.assert_allclose(got.high, high, atol=1e-6)


@pytest.mark.parametrize("measure", MEASURES)
def test_the_series_of_a_journal_agree_with_its_history(ninety_days: Journal, measure: Measure) -> None:
    series = series_of(ninety_days.readings(), measure, DEFAULT)
    lying = [each for each in ninety_days.mornings() if each.posture == "lying"]
    first, last = day_of(series.day_s[0]), day_of(series.day_s[-1])
    expected = history(lying, measure, first, last)
    low = [float("nan") if each.usual is None else each.usual.low for each in expected]
    np.testing.assert_allclose(series.daily.low, low, atol=1e-6)
    assert series.other_posture.sum() == sum(each.posture == "sitting" for each in ninety_days.mornings())
    assert (~series.usable).sum() == sum(not each.usable for each in ninety_days.mornings())


def test_no_mornings_make_empty_series(journal: Journal) -> None:
    series = series_of([], "ln_rmssd", DEFAULT)
    assert series.day_s.size == series.daily.week.size == 0
    assert series.nearest(0.0) is None
