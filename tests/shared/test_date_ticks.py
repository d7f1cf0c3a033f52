from __future__ import annotations

from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from dawnbeat.shared.wording import DAY_S, day_of, seconds_of, ticks

days = st.dates(min_value=date(1990, 1, 1), max_value=date(2080, 1, 1))


@given(days, st.integers(1, 8000), st.integers(2, 14))
def test_marks_lie_in_view_in_order_and_are_not_too_many(first: date, span: int, most: int) -> None:
    low = seconds_of(first)
    found = ticks(low, low + span * DAY_S, most)
    at = [each for each, _ in found]
    assert at == sorted(set(at))
    assert all(low <= each <= low + span * DAY_S for each in at)
    assert len(found) <= most + 2


def test_a_month_is_marked_by_days_and_ten_years_by_years() -> None:
    low = seconds_of(date(2025, 1, 1))
    assert "3 Mar" in [words for _, words in ticks(low, low + 90 * DAY_S, 8)]
    assert [words for _, words in ticks(low, seconds_of(date(2029, 6, 1)), 6)] == [
        "2025",
        "2026",
        "2027",
        "2028",
        "2029",
    ]


def test_days_and_seconds_are_each_others_inverse() -> None:
    for day in (date(1969, 12, 31), date(1970, 1, 1), date(2024, 2, 29)):
        assert day_of(seconds_of(day)) == day
