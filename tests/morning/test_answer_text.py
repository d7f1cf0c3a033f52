"""The words of the answer carry the numbers, never a diagnosis, and always when to see a doctor."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnbeat.journal.ranges import DEFAULT
from dawnbeat.journal.store import Journal
from dawnbeat.journal.today import stand_of
from dawnbeat.morning import answer as rules
from dawnbeat.morning.answer import Fact, answer_of
from dawnbeat.morning.answer_text import (
    HEADLINES,
    SEEK_HELP,
    asks,
    cautions,
    fact_text,
    headline,
    lead,
    lines,
    rests_on,
    why,
)
from dawnbeat.morning.answering import grounds, keep_answer, other_answers
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from dawnbeat.shared.morning import Context, Morning
from tests.morning.test_answer import TODAY, mornings, some_morning

# Every code that the rules can give.
CODES = sorted(
    set(
        re.findall(
            r'(?:Fact|_single|_weekly|_lately)\((?:\w+, )?"(\w+)"', Path(rules.__file__).read_text(encoding="utf-8")
        )
    )
    | {f"felt_{each}" for each in ("sleep", "stress", "fatigue", "soreness")}
)


def test_a_week_below_names_its_average_the_range_and_the_source() -> None:
    answer = answer_of(mornings(last=7, ln_sds=-2.2), TODAY)
    assert headline(answer) == "Easy instead of hard"
    assert re.search(r"3\d ms over 7 mornings, against \d\d to \d\d ms", lead(answer))
    assert any("Vesterinen et al. 2016" in each for each in why(answer))
    assert any("One morning by itself says little" in each for each in why(answer))


def test_too_few_mornings_are_said_with_what_is_there_and_what_is_needed() -> None:
    said = lead(answer_of(mornings(days=16), TODAY))
    assert "9 of the 14" in said
    assert "go by how you feel" in said


def test_illness_sends_fever_and_chest_to_a_doctor_and_asks_whether_it_is_over() -> None:
    ill = answer_of(mornings(), TODAY, notes=Context(ill=True))
    assert headline(ill) == "No run today"
    assert any("fever" in each and "see a doctor" in each for each in cautions(ill))
    given = mornings()
    given[1] = replace(given[1], ill=True)
    assert any("well again" in each for each in asks(answer_of(given, TODAY)))


def test_above_the_range_has_two_meanings() -> None:
    answer = answer_of(mornings(last=7, ln_sds=3.0), TODAY)
    assert "good form and also in deep fatigue" in lead(answer)
    assert any("Plews et al. 2013" in each for each in why(answer))


def test_what_it_rests_on_lists_dates_counts_and_what_was_left_out() -> None:
    given = mornings(posture="sitting")
    given[5] = replace(given[5], usable=False)
    given[9] = replace(given[9], ill=True)
    said = rests_on(stand_of(given, TODAY))
    assert any(re.match(r"lnRMSSD, week: \d\.\d\d from 5 mornings, 25 March to 30 March", line) for line in said)
    assert any("usual range" in line and "27 mornings" in line for line in said)
    assert "Left out for another posture or origin: 1 morning, 31 March 2031." in said
    assert "Left out as not usable: 1 morning, 26 March 2031." in said
    assert any(line.startswith("Left out as ill") and line.endswith("1 morning, 22 March 2031.") for line in said)


@pytest.mark.parametrize("code", CODES)
def test_every_code_of_the_rules_has_words(code: str) -> None:
    names = ("ms", "bpm", "mornings", "needed", "rating", "hours", "load", "usual_load", "days_ago", "hours_off", "s")
    values = dict.fromkeys([*names, "low_ms", "high_ms", "low_bpm", "high_bpm", "needed_s"], 7.0)
    said = fact_text(Fact(code, values))
    assert code.replace("_", " ").capitalize() + " (" not in said
    assert "{" not in said


def test_a_code_that_is_not_known_is_said_as_it_is_stored() -> None:
    assert fact_text(Fact("new_thing", {"ms": 3.5})) == "New thing (ms 3.5)."


@given(st.lists(some_morning, max_size=40, unique_by=lambda each: each.date))
def test_whatever_the_mornings_the_words_are_careful(given: list[Morning]) -> None:
    answer = answer_of(given, TODAY)
    said = lines(answer)
    assert said[0].startswith(HEADLINES[answer.what])
    assert said[-1] == SEEK_HELP
    text = " ".join([*said, *why(answer), *rests_on(stand_of(given, TODAY))])
    assert "  " not in text
    assert "nan" not in text
    assert not re.search(r"score|readiness|diagnos|overtrain", text)


def test_the_answer_of_a_journal_is_drawn_from_its_readings(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        fill_with_invented_mornings(journal, TODAY, days=60)
        drawn_from = grounds(journal, TODAY)
        assert drawn_from.today.ln_rmssd.usual is not None
        assert drawn_from.answer(Context(well_again=True)).because != drawn_from.answer().because
        assert drawn_from.answer(Context(ill=True)).what == "none"
        assert drawn_from.load is None
        assert grounds(journal, TODAY - timedelta(days=61)).answer().what == "cannot_say"


def test_what_was_said_stays_and_what_would_be_said_now_is_told(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        fill_with_invented_mornings(journal, TODAY, days=60)
        days = (each.local_date for each in reversed(journal.readings()) if each.counts)
        day = next(each for each in days if grounds(journal, each).answer().what == "keep")
        said = grounds(journal, day).answer()
        reading = keep_answer(journal, journal.counting(day), grounds(journal, day))
        assert reading.answer is not None
        assert reading.answer["what"] == said.what
        assert other_answers(journal, DEFAULT, {}) == []
        journal.edit_context(reading.id, replace(reading.context, ill=True))
        ((_, before, now),) = other_answers(journal, DEFAULT, {})
        assert before.what == said.what
        assert now.what != said.what
        assert journal.reading(reading.id).answer == reading.answer
