"""What the runner adds to a morning is checked before it is kept."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone, tzinfo

import pytest

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import POSTURES, RATINGS, Circumstances, Context, posture_from


class SummerTime(tzinfo):
    """A place whose rules could change later; it needs no time zone database, which Windows lacks."""

    def utcoffset(self, moment):
        return timedelta(hours=2)

    def dst(self, moment):
        return timedelta(hours=1)

    def tzname(self, moment):
        return "summer"


NOON = datetime(2001, 6, 1, 12, tzinfo=UTC)


@pytest.mark.parametrize("name", RATINGS)
@pytest.mark.parametrize("value", [0, 8, -1, 3.5, "3", True])
def test_a_rating_is_a_whole_number_from_1_to_7(name, value):
    with pytest.raises(DawnbeatError, match=name):
        Context(**{name: value})
    assert getattr(Context(**{name: 7}), name) == 7
    assert getattr(Context(**{name: 1}), name) == 1


@pytest.mark.parametrize("hours", [-0.1, 24.1, float("nan"), float("inf"), "8", True])
def test_hours_slept_are_a_number_from_0_to_24(hours):
    with pytest.raises(DawnbeatError, match="hours_slept"):
        Context(hours_slept=hours)


def test_an_empty_text_says_nothing():
    assert Context(note="", yesterday_run="").is_empty
    assert not Context(ill=False).is_empty


@pytest.mark.parametrize("text", ["x" * 20_001, "\ud800"])
def test_a_text_that_cannot_be_kept_is_refused(text):
    with pytest.raises(DawnbeatError, match="note"):
        Context(note=text)


def test_a_time_without_an_offset_is_refused():
    with pytest.raises(DawnbeatError, match="offset"):
        Circumstances(datetime(2001, 6, 1, 12), "lying", "a camera")


def test_the_offset_of_the_place_is_fixed_when_the_reading_is_taken():
    began = Circumstances(datetime(2001, 6, 1, 6, tzinfo=SummerTime()), "lying", "a camera").began
    assert began.utcoffset() == timedelta(hours=2)
    assert isinstance(began.tzinfo, timezone)


def test_a_posture_is_one_of_three():
    assert [posture_from(name) for name in POSTURES] == list(POSTURES)
    with pytest.raises(DawnbeatError, match="lying, sitting or standing"):
        Circumstances(NOON, "hanging", "a camera")  # type: ignore[arg-type]


@pytest.mark.parametrize("name", ["a\0b", "half \ud800", "\x1b[2J", "two\nlines", "x" * 5000])
def test_the_name_of_a_camera_never_costs_a_reading(name):
    taken = Circumstances(datetime(2025, 3, 1, 6, 30, tzinfo=UTC), "lying", name)
    assert taken.camera.isprintable()
    assert 0 < len(taken.camera) <= 200
    taken.camera.encode()
