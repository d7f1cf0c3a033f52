"""Today's paragraph says what it rests on, and nothing that it can't know."""

from __future__ import annotations

import re
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnbeat.journal.store import Journal
from dawnbeat.journal.today import stand_of, today_of
from dawnbeat.journal.words import SEEK_HELP, paragraph, rests_on
from dawnbeat.shared.morning import Morning, Posture

TODAY = date(2025, 3, 31)
ADVICE = re.compile("swap|keep to|Kiviniemi|easy one|commonly")


def mornings(week: float = 4.0, pulse: float = 50.0, days: int = 60, **today: Any) -> list[Morning]:
    found = []
    for back in range(days):
        sign = (-1) ** back
        here = {"ln_rmssd": 4.0 + 0.15 * sign, "resting_pulse_bpm": 50.0 + sign}
        if back < 7:
            here = {"ln_rmssd": week, "resting_pulse_bpm": pulse}
        about: dict[str, Any] = {"posture": "lying", "hour": 6.5, "usable": True} | here
        if back == 0:
            about |= today
        found.append(Morning(date=TODAY - timedelta(days=back), **about))
    return found


def said(given: list[Morning]) -> str:
    return paragraph(stand_of(given, TODAY))


def test_a_week_below_names_the_range_its_mornings_and_what_runners_commonly_do() -> None:
    text = said(mornings(week=3.7))
    assert text.startswith("Your week's average sits below your usual range: RMSSD about 40 ms from 7 mornings")
    assert "from 53 mornings between 31 January 2025 and 24 March 2025" in text
    assert "swap a hard session for an easy one" in text
    assert "Kiviniemi 2007" in text
    assert "One morning by itself says little." in text


def test_a_week_inside_keeps_the_plan() -> None:
    text = said(mornings())
    assert "sits inside your usual range" in text
    assert "keep to their plan" in text


def test_a_week_above_is_not_called_good() -> None:
    text = said(mornings(week=4.3))
    assert "sits above your usual range" in text
    assert "RMSSD above the range is not automatically good" in text


def test_too_few_mornings_give_no_advice() -> None:
    text = said(mornings(days=10))
    assert text.startswith("There are too few mornings to say where your week stands")
    assert "needs 14 usable mornings" in text
    assert "there are 3" in text
    assert not ADVICE.search(text)


def test_no_mornings_at_all_say_so() -> None:
    text = said([])
    assert "There is no reading for this day." in text
    assert "there are none" in text
    assert not ADVICE.search(text)


def test_a_raised_pulse_is_named_even_when_variability_is_inside() -> None:
    text = said(mornings(pulse=52.0))
    assert "Your resting pulse is raised: 52 bpm over the week" in text
    assert "keep the next session easy" in text


def test_several_days_far_above_with_illness_send_to_a_doctor_and_give_no_plan() -> None:
    text = said(mornings(week=3.5, pulse=60.0, ill=True))
    assert "far above usual for 7 mornings together and you have felt ill: leave out running and see a doctor" in text
    assert "swap" not in text
    well = said(mornings(week=3.5, pulse=60.0))
    assert "if you feel ill as well, or it stays so, see a doctor" in well


def test_feeling_ill_counts_for_more_than_a_range() -> None:
    text = said(mornings(ill=True))
    assert "You noted that you feel ill" in text
    assert "keep to their plan" not in text


def test_many_irregular_beats_are_shown_to_a_doctor_usable_or_not() -> None:
    for usable in (True, False):
        text = said(mornings(irregular_share=0.12, usable=usable))
        assert "12 % of this morning's intervals came from irregular beats" in text
        assert "show it to a doctor" in text
    assert "irregular" not in said(mornings(irregular_share=0.01))


def test_another_posture_and_hour_are_named() -> None:
    text = said(mornings(posture="standing", hour=11.0))
    assert "You were standing this time and are usually lying" in text
    assert "about 4 hours later than usual" in text


def test_a_reading_that_is_not_usable_is_not_compared() -> None:
    text = said(mornings(usable=False, ln_rmssd=9.0))
    assert "not usable, so it counts for nothing here" in text
    assert "8103" not in text


def test_what_it_rests_on_lists_dates_counts_and_what_was_left_out() -> None:
    given = mornings(posture="sitting")
    given[5] = Morning(given[5].date, 4.0, 50.0, "lying", 6.5, False)
    lines = rests_on(stand_of(given, TODAY))
    assert any(line.startswith("lnRMSSD, week: 4.00 from 5 mornings, 2025-03-25 to 2025-03-30") for line in lines)
    assert any("usual range" in line and "53 mornings" in line for line in lines)
    assert "Left out for another posture than lying: 1 morning, 2025-03-31." in lines
    assert "Left out as not usable: 1 morning, 2025-03-26." in lines


some_morning = st.builds(
    Morning,
    date=st.integers(-2, 80).map(lambda back: TODAY - timedelta(days=back)),
    ln_rmssd=st.none() | st.floats(0.5, 6),
    resting_pulse_bpm=st.none() | st.floats(30, 120),
    posture=st.sampled_from(["lying", "sitting", "standing"]),
    hour=st.floats(0, 23.9),
    usable=st.booleans(),
    ill=st.none() | st.booleans(),
    irregular_share=st.none() | st.floats(0, 1),
)


@given(st.lists(some_morning, max_size=90, unique_by=lambda each: each.date))
def test_whatever_the_mornings_the_paragraph_is_careful(given: list[Morning]) -> None:
    today = stand_of(given, TODAY)
    text = paragraph(today)
    assert text.endswith(SEEK_HELP)
    assert "\n" not in text
    assert "  " not in text
    assert "nan" not in text
    assert not re.search(r"score|ready|readiness|diagnos|you have (?!felt)|overtrain", text)
    if today.ln_rmssd.week == "too few mornings to say":
        assert not re.search("swap|keep to|Kiviniemi", text)
    rests_on(today)


def test_the_day_of_a_journal_is_read_from_its_readings(journal: Journal, taken: Any, analysed: Any) -> None:
    posture: Posture = "lying"
    for day in range(1, 29):
        journal.save(taken(f"2025-02-{day:02d}T06:30:00", posture=posture), analysed(4 + 0.1 * (-1) ** day, seed=day))
    journal.save(taken("2025-02-28T07:00:00"), analysed(9.0))
    today = today_of(journal, date(2025, 2, 28))
    assert today.ln_rmssd.week == "inside your usual range"
    assert today.ln_rmssd.usual is not None
    assert today.ln_rmssd.usual.n == 21
    assert today.morning is not None
    assert today.morning.irregular_share == 0.0
    assert today.ln_rmssd.this_morning == pytest.approx(4.1)
