"""Days, times, paces and shares in words, and read back."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import (
    CLOCKS_APART,
    NO_BREAK_SPACE,
    UNKNOWN,
    WORD_JOINER,
    Units,
    between,
    figure,
    long_clock,
    metres_from,
    number,
    pace_of,
    past_moment,
    percent,
    rating,
    seconds_from,
    short_day,
    signed,
    span,
    unbroken,
)


def test_a_day_in_a_sentence_has_its_month_in_letters_and_its_year() -> None:
    assert short_day(date(2026, 11, 12)) == "12 November 2026"


def test_a_span_says_a_common_year_once() -> None:
    assert span(date(2026, 10, 29), date(2026, 11, 18)) == "29 October to 18 November 2026"
    assert span(date(2025, 12, 29), date(2026, 1, 4)) == "29 December 2025 to 4 January 2026"


@pytest.mark.parametrize(
    ("seconds", "said"), [(0, "0:00:00"), (65, "0:01:05"), (2699, "0:44:59"), (19535, "5:25:35"), (None, UNKNOWN)]
)
def test_a_long_clock_always_holds_hours(seconds: float | None, said: str) -> None:
    assert long_clock(seconds) == said
    if seconds is not None:
        assert seconds_from(said) == seconds


@pytest.mark.parametrize(
    ("moment", "refused"),
    [
        ("0001-01-01T00:00:00+14:00", "can't be right"),
        ("1970-01-01T00:00:00+00:00", "can't be right"),
        ("2026-03-01T06:40:00+02:00", None),
        ("9999-12-31T23:59:59-12:00", "still to come"),
    ],
)
def test_what_was_taken_lies_in_the_past(moment: str, refused: str | None) -> None:
    taken = datetime.fromisoformat(moment)
    if refused is None:
        assert past_moment(taken) is taken
        return
    with pytest.raises(DawnbeatError, match=refused):
        past_moment(taken)


def test_clocks_may_differ_a_little() -> None:
    ahead = datetime.now(UTC) + CLOCKS_APART
    assert past_moment(ahead - timedelta(seconds=1))
    with pytest.raises(DawnbeatError, match="still to come"):
        past_moment(ahead + timedelta(minutes=1))


def test_what_rounds_to_zero_has_no_sign() -> None:
    assert [signed(value, 1) for value in (-0.04, 0.04, -0.0, -0.06, 3.25, None)] == ["0.0"] * 3 + ["-0.1", "+3.2", "–"]
    assert (number(-0.4), number(-0.04, 1), percent(-0.004), number(-1.0)) == ("0", "0.0", "0 %", "-1")
    assert between(-17.2, -0.2, sign=True) == "-17 to 0"
    assert between(47, 57) == "47 to 57"


def test_a_rating_is_shown_as_it_was_typed() -> None:
    assert [rating(value) for value in (2.5, 7.5, 8.0, 10.0, None)] == ["2.5", "7.5", "8", "10", UNKNOWN]


@pytest.mark.parametrize(
    ("text", "units", "metres"),
    [("10", "km", 10_000), ("21,0975 km", "km", 21_097.5), ("13.1 mi", "km", 21_082.4), ("5", "miles", 8_046.72)],
)
def test_distances_are_read_in_kilometres_and_miles(text: str, units: Units, metres: float) -> None:
    assert metres_from(text, units) == pytest.approx(metres, abs=0.1)


def test_a_pace_a_mile_is_longer_by_the_length_of_the_mile() -> None:
    # 300 * 1.609344 = 482.8 s.
    assert (pace_of(300), pace_of(300, "miles"), pace_of(None)) == ("5:00 min/km", "8:03 min/mile", UNKNOWN)


@pytest.mark.parametrize("text", ["", "ten", "1,000.5", "nan km"])
def test_what_is_no_distance_is_refused(text: str) -> None:
    with pytest.raises(DawnbeatError, match="not a number"):
        metres_from(text)


@pytest.mark.parametrize(
    ("words", "held"),
    [
        ("55 bpm, where 45 to 51 bpm is usual.", "55_bpm, where 45_to_51_bpm is usual."),
        ("at least 25 s.", "at least 25_s."),
        ("44 pairs, than 20 mornings, 30-minute, 2026-11-02", "44_pairs, than 20_mornings, 30-^minute, 2026-11-02"),
        ("97 % of beats, +3.2 to +4.3 % an hour", "97_% of beats, +3.2_to_+4.3_% an hour"),
        ("0 to 1, -14 to -5, 47 to 62 ml/min/kg", "0_to_1, -14_to_-5, 47_to_62_ml/^min/^kg"),
        ("2026-11-02 to 2026-11-09, up to 128, 3 to go", "2026-11-02 to 2026-11-09, up to 128, 3 to go"),
        ("44:59 · 7.65 km · 5 runs", "44:59_· 7.65_km_· 5_runs"),
        ("2 sets, 3 hills, 4 msec", "2 sets, 3 hills, 4 msec"),
        ("22 November 2026, in 10 minutes, 3 Marches", "22_November 2026, in 10_minutes, 3 Marches"),
        ("5:47 min/km, Pace, min/mile, and/or", "5:47_min/^km, Pace, min/^mile, and/or"),
        ("`agree A B --save-as X` - or -7.8 %", "`agree A B -^-^save-^as X` - or -7.8_%"),
        ("/home/a--b/c --taken", "/home/a--b/c -^-^taken"),
    ],
)
def test_numbers_days_paces_and_options_stay_in_one_line(words: str, held: str) -> None:
    assert unbroken(words) == held.replace("_", NO_BREAK_SPACE).replace("^", WORD_JOINER)


def test_a_range_has_its_unit_within() -> None:
    assert between(-14.2, -1.5, 1, sign=True, unit="%") == "-14.2 to -1.5 %"
    assert between(47, 57) == "47 to 57"
    assert figure(48.2, (42, 55.4), unit="ms") == "48 ms (42 to 55 ms)"
    assert figure(48.2, (42, 55.4)) == "48 (42 to 55)"
