from __future__ import annotations

import pytest

from dawnbeat.training.wording import UNKNOWN, long_clock, rating, seconds_from


@pytest.mark.parametrize(
    ("seconds", "said"), [(0, "0:00:00"), (65, "0:01:05"), (2699, "0:44:59"), (19535, "5:25:35"), (None, UNKNOWN)]
)
def test_a_long_clock_always_holds_hours(seconds: float | None, said: str) -> None:
    assert long_clock(seconds) == said
    if seconds is not None:
        assert seconds_from(said) == seconds


def test_a_rating_is_shown_as_it_was_typed() -> None:
    assert [rating(value) for value in (2.5, 7.5, 8.0, 10.0, None)] == ["2.5", "7.5", "8", "10", UNKNOWN]
