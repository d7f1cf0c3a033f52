"""The answer weighs health before numbers, the week before one morning, and never claims what it can't know."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnbeat.morning.answer import LoadBehind, answer_of
from dawnbeat.morning.answering import as_json, from_json
from dawnbeat.shared.morning import Context, Morning
from tests.benchmarks.answers import EVENT, FIRST, dawnbeat, feverish, odd, runner, unchanging, unseen

TODAY = date(2031, 3, 31)


def mornings(days: int = 45, last: int = 0, ln_sds: float = 0.0, pulse_sds: float = 0.0, **today: Any) -> list[Morning]:
    """A quiet runner, lnRMSSD 4.0 with SD 0.15 and pulse 50 with SD 2; the `last` mornings moved by so many SD."""
    rng = np.random.default_rng(7)
    found = []
    for back in range(days):
        moved = back < last
        # The strays of the last mornings are small, so that only what is asked for speaks.
        stray, other = rng.standard_normal(2) * (0.2 if back < 7 else 1.0)
        found.append(
            Morning(
                TODAY - timedelta(days=back),
                4.0 + 0.15 * (stray + (ln_sds if moved else 0.0)),
                50.0 + 2.0 * (other + (pulse_sds if moved else 0.0)),
                "lying",
                6.5,
                usable=True,
                duration_s=120.0,
                context=Context(sleep=2 + back % 2, stress=2, fatigue=3, soreness=2, hours_slept=7.5),
            )
        )
    return [replace(found[0], **today), *found[1:]]


def codes(answer: Any) -> set[str]:
    return {each.code for each in answer.because}


def test_a_quiet_runner_keeps_the_plan_and_sees_each_value_with_its_usual() -> None:
    answer = answer_of(mornings(), TODAY)
    assert answer.what == "keep"
    assert answer.because == ()
    by_code = {each.code: each.values for each in answer.facts}
    assert by_code["rmssd"]["low_ms"] < by_code["rmssd"]["ms"] < by_code["rmssd"]["high_ms"]
    assert by_code["pulse"]["low_bpm"] < by_code["pulse"]["bpm"] < by_code["pulse"]["high_bpm"]
    assert by_code["week_rmssd"]["mornings"] == 7


def test_illness_today_is_no_run_whatever_the_numbers_and_changes_while_the_runner_ticks() -> None:
    given = mornings()
    assert answer_of(given, TODAY).what == "keep"
    answer = answer_of(given, TODAY, notes=Context(ill=True))
    assert answer.what == "none"
    assert "fever" in answer.cautions
    assert answer_of(given, TODAY, notes=Context(ill=False)).what == "keep"


@pytest.mark.parametrize("ago", [1, 2, 3])
def test_illness_of_the_last_days_is_asked_about_until_the_runner_is_well_again(ago: int) -> None:
    given = mornings()
    given[ago] = replace(given[ago], ill=True)
    asked = answer_of(given, TODAY)
    assert (asked.what, asked.asks) == ("none", ("well_again",))
    assert answer_of(given, TODAY, notes=Context(well_again=True)).what == "keep"
    assert answer_of(given, TODAY, notes=Context(ill=False)).what == "none", "not ill is not yet well again"


def test_illness_of_four_days_ago_is_not_asked_about() -> None:
    given = mornings()
    given[4] = replace(given[4], ill=True)
    assert not answer_of(given, TODAY).asks


def test_a_feverish_morning_is_easy_by_both_measures() -> None:
    answer = answer_of(mornings(last=1, ln_sds=-2.5, pulse_sds=2.5), TODAY)
    assert answer.what == "easy"
    assert {"rmssd_off", "pulse_off"} <= codes(answer)


def test_one_odd_morning_alone_changes_nothing_but_a_very_far_one_does() -> None:
    assert answer_of(mornings(last=1, ln_sds=-2.0), TODAY).what == "keep"
    assert codes(answer_of(mornings(last=1, ln_sds=-5.0), TODAY)) >= {"rmssd_far"}
    assert codes(answer_of(mornings(last=1, pulse_sds=5.0), TODAY)) >= {"pulse_far"}


def test_the_better_side_of_one_morning_changes_nothing() -> None:
    assert answer_of(mornings(last=1, ln_sds=2.5, pulse_sds=-2.5), TODAY).what == "keep"


def test_a_reading_that_errs_much_itself_weighs_less() -> None:
    far = mornings(last=1, ln_sds=-2.5, pulse_sds=2.5)
    unsure = [replace(far[0], ln_rmssd_error=0.6, pulse_error_bpm=8.0), *far[1:]]
    assert answer_of(far, TODAY).what == "easy"
    assert not codes(answer_of(unsure, TODAY)) & {"rmssd_off", "rmssd_far"}


def test_a_week_outside_is_easy_on_either_side() -> None:
    assert codes(answer_of(mornings(last=7, ln_sds=-2.2), TODAY)) >= {"week_rmssd_below"}
    assert codes(answer_of(mornings(last=7, ln_sds=3.0), TODAY)) >= {"week_rmssd_above"}
    assert codes(answer_of(mornings(last=7, pulse_sds=1.5), TODAY)) & {"week_pulse_above", "lately_pulse_above"}
    assert answer_of(mornings(last=7, pulse_sds=-1.5), TODAY).what == "keep"


def test_a_change_is_seen_in_the_last_mornings_before_it_fills_the_week() -> None:
    answer = answer_of(mornings(last=5, ln_sds=-1.6), TODAY)
    assert answer.what == "easy"
    assert codes(answer) & {"lately_rmssd_below", "week_rmssd_below"}


def test_a_pulse_far_above_for_days_is_no_run_and_sent_to_a_doctor() -> None:
    answer = answer_of(mornings(last=3, pulse_sds=3.5), TODAY)
    assert answer.what == "none"
    assert codes(answer) == {"pulse_high_days"}
    assert "doctor_pulse" in answer.cautions


def test_an_irregular_pulse_gives_no_advice_from_variability() -> None:
    answer = answer_of(mornings(usable=False, pulse_usable=True, irregular=True), TODAY)
    assert answer.what == "cannot_say"
    assert codes(answer) == {"irregular"}
    assert "doctor_rhythm" in answer.cautions
    again = mornings(usable=False, pulse_usable=True, irregular=True)
    again[2] = replace(again[2], usable=False, pulse_usable=True, irregular=True)
    assert codes(answer_of(again, TODAY)) == {"irregular_often"}


def test_one_bad_sign_changes_nothing_and_several_do() -> None:
    given = mornings()
    alone = answer_of(given, TODAY, notes=Context(sleep=6))
    assert alone.what == "keep"
    assert "felt_sleep" in {each.code for each in alone.facts}
    assert answer_of(given, TODAY, notes=Context(sleep=6, fatigue=5)).what == "easy"
    assert answer_of(given, TODAY, notes=Context(sleep=5, fatigue=5)).what == "keep"
    assert answer_of(given, TODAY, notes=Context(sleep=5, fatigue=5, soreness=5)).what == "easy"
    assert answer_of(given, TODAY, notes=Context(sleep=6, hours_slept=4.0)).what == "easy"


def test_what_is_usual_for_one_runner_is_no_sign_for_them() -> None:
    stressed = [replace(each, context=Context(stress=5, sleep=5)) for each in mornings()]
    assert answer_of(stressed, TODAY).what == "keep"


def test_load_speaks_only_beside_how_the_runner_feels() -> None:
    hard = LoadBehind("load", yesterday=300.0, week=900.0, usual_day=100.0, usual_week=400.0)
    given = mornings()
    assert answer_of(given, TODAY, load=hard).what == "keep"
    felt = answer_of(given, TODAY, notes=Context(fatigue=6), load=hard)
    assert felt.what == "easy"
    assert codes(felt) == {"felt_fatigue", "load_yesterday", "load_week"}


def test_too_few_mornings_say_how_many_are_missing() -> None:
    answer = answer_of(mornings(days=16), TODAY)
    assert answer.what == "cannot_say"
    (fact,) = answer.because
    assert (fact.code, fact.values["mornings"], fact.values["needed"]) == ("too_few", 9, 14)


@pytest.mark.parametrize(
    ("today", "code"),
    [({"usable": False}, "not_usable"), ({"duration_s": 30.0}, "short"), ({"comparable": False}, "not_comparable")],
)
def test_a_morning_that_cannot_be_held_against_the_others_gives_no_keep(today: dict[str, Any], code: str) -> None:
    answer = answer_of(mornings(**today), TODAY)
    assert answer.what == "cannot_say"
    assert codes(answer) == {code}


def test_a_day_without_a_reading_gives_no_keep() -> None:
    assert codes(answer_of(mornings()[1:], TODAY)) == {"no_reading"}
    assert answer_of([], TODAY).what == "cannot_say"


def test_a_slip_of_posture_leaves_the_word_to_the_week() -> None:
    answer = answer_of(mornings(posture="sitting", resting_pulse_bpm=65.0), TODAY)
    assert answer.what == "keep"
    assert "other_posture" in {each.code for each in answer.facts}


def test_an_answer_survives_being_stored() -> None:
    answer = answer_of(mornings(last=7, ln_sds=-1.5), TODAY)
    again = from_json(as_json(answer))
    assert again is not None
    assert as_json(again) == as_json(answer)
    assert from_json({"what": "hop"}) is None


some_morning = st.builds(
    Morning,
    date=st.integers(-2, 50).map(lambda back: TODAY - timedelta(days=back)),
    ln_rmssd=st.none() | st.floats(0.5, 6),
    resting_pulse_bpm=st.none() | st.floats(30, 120),
    posture=st.sampled_from(["lying", "sitting", "standing"]),
    hour=st.floats(0, 23.9),
    usable=st.booleans(),
    pulse_usable=st.none() | st.booleans(),
    irregular=st.booleans(),
    ill=st.none() | st.booleans(),
    well_again=st.none() | st.booleans(),
    duration_s=st.none() | st.floats(10, 300),
    ln_rmssd_error=st.none() | st.floats(0, 1),
    origin=st.sampled_from(["camera", "strap"]),
)


@given(st.lists(some_morning, max_size=50, unique_by=lambda each: each.date))
def test_whatever_the_mornings_the_answer_is_whole_and_careful(given: list[Morning]) -> None:
    answer = answer_of(given, TODAY)
    assert (answer.what == "keep") == (not answer.because) or answer.what == "keep"
    assert all(math.isfinite(value) for fact in answer.rests_on for value in fact.values.values())
    today = next((each for each in given if each.date == TODAY), None)
    if answer.what == "keep":
        assert today is not None
        assert not today.ill
        assert not today.irregular


@pytest.fixture(scope="module")
def runners() -> list[Any]:
    rng = np.random.default_rng(2)
    return [runner(rng) for _ in range(60)]


def test_the_error_rates_hold_on_a_few_simulated_runners(runners: list[Any]) -> None:
    """The benchmark has many more; with sixty, the bounds leave room for chance (two standard errors)."""
    day = FIRST + timedelta(days=EVENT)
    assert unchanging(dawnbeat, runners[:12])["keep"] >= 0.82
    kept_feverish = np.mean([dawnbeat(feverish(each).mornings(EVENT, 18), day) == "keep" for each in runners])
    told_odd = np.mean([dawnbeat(odd(each).mornings(EVENT, 18), day) != "keep" for each in runners])
    assert kept_feverish <= 0.08
    assert told_odd <= 0.30
    assert unseen(dawnbeat, runners, -1.5, 0.0) <= 0.36
    ill = [answer_of(each.with_illness(EVENT - 1).mornings(EVENT, 18), day) for each in runners]
    assert all(each.what != "keep" and each.asks for each in ill)
