from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from dawnbeat.journal.ranges import DEFAULT, Measure, daily_ranges, may_be_used
from dawnbeat.journal.series import series_of
from dawnbeat.journal.store import Journal
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from dawnbeat.shared.wording import day_of


@pytest.fixture
def ninety_days(journal: Journal) -> Journal:
    fill_with_invented_mornings(journal, date(2025, 6, 1))
    return journal


@pytest.mark.parametrize("measure", ["ln_rmssd", "resting_pulse_bpm"])
def test_the_series_of_a_journal_are_its_daily_ranges(ninety_days: Journal, measure: Measure) -> None:
    series = series_of(ninety_days.readings(), measure, DEFAULT)
    mornings = ninety_days.mornings()
    expected = daily_ranges(mornings, measure, mornings[0].date, mornings[-1].date)
    np.testing.assert_array_equal(series.daily.low, expected.low)
    assert [day_of(each) for each in series.daily_s] == [date.fromordinal(int(each)) for each in expected.day]
    assert series.other_posture.sum() == sum(each.posture == "sitting" for each in mornings)
    assert (~series.usable).sum() == sum(not may_be_used(each, measure) for each in mornings)
    assert series.set_apart.sum() == sum(bool(each.ill) for each in mornings)


def test_no_mornings_make_empty_series(journal: Journal) -> None:
    series = series_of([], "ln_rmssd", DEFAULT)
    assert series.day_s.size == 0
    assert np.isnan(series.daily.week).all()
    assert series.nearest(0.0) is None
