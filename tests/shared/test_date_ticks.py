from __future__ import annotations

from datetime import date
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from dawnbeat.shared.wording import DAY_S, date_ticks, day_of, seconds_of

days = st.dates(min_value=date(1990, 1, 1), max_value=date(2080, 1, 1))


@given(days, st.integers(1, 8000))
def test_marks_lie_in_view_in_order_and_grow_in_number(first: date, span: int) -> None:
    low = seconds_of(first)
    counts = []
    for found in date_ticks(low, low + span * DAY_S):
        at = [each for each, _ in found]
        assert at == sorted(set(at))
        assert all(low <= each <= low + span * DAY_S for each in at)
        counts.append(len(found))
    assert counts[-1] == span + 1
    assert all(fewer <= more + 1 for fewer, more in pairwise(counts))


def test_a_month_is_marked_by_days_and_ten_years_by_years() -> None:
    low = seconds_of(date(2025, 1, 1))
    marks = [[words for _, words in found] for found in date_ticks(low, seconds_of(date(2029, 6, 1)))]
    assert marks[3] == ["2025", "2026", "2027", "2028", "2029"]
    assert marks[7][:4] == ["2025", "Feb", "Mar", "Apr"]
    assert "3 Mar" in marks[9]


def test_days_and_seconds_are_each_others_inverse() -> None:
    for day in (date(1969, 12, 31), date(1970, 1, 1), date(2024, 2, 29)):
        assert day_of(seconds_of(day)) == day
