from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnbeat.capture.contact import Contact
from dawnbeat.morning.flow import LOST, SLEPT, TIME_UP, Phase, Plan, ReadFlow

RATE_HZ = 10


def contact(state: str = "covered", good: bool = True) -> Contact:
    return Contact(1.0, 60.0, state, "good: hold still" if good else "cover the whole lens", good)  # type: ignore[arg-type]


GOOD, LIGHTER = contact(), contact(good=False)
PARTLY, AWAY = contact("partly covered", False), contact("uncovered", False)


class Played:
    """A flow with a clock that runs at ten frames a second."""

    def __init__(self) -> None:
        self.flow = ReadFlow(Plan(duration_s=20.0))
        self.time_s = 0.0
        self.kept: list[float] = []

    def play(self, seconds: float, what: Contact) -> Phase:
        for _ in range(round(seconds * RATE_HZ)):
            self.time_s += 1 / RATE_HZ
            if self.flow.see(self.time_s, what):
                self.kept.append(self.time_s)
        return self.flow.phase


def test_it_starts_by_itself_after_five_seconds_of_good_contact() -> None:
    played = Played()
    assert played.play(4.9, GOOD) == "finger"
    assert played.play(0.3, GOOD) == "settling"


def test_one_bad_moment_begins_the_five_seconds_anew() -> None:
    played = Played()
    played.play(4.5, GOOD)
    played.play(0.1, PARTLY)
    assert played.play(4.5, GOOD) == "finger"


def test_the_key_starts_at_once_with_a_half_covered_lens_and_goes_on_with_it() -> None:
    played = Played()
    played.flow.begin_now()
    assert played.play(0.1, PARTLY) == "settling"
    assert played.play(15.2, PARTLY) == "reading"
    assert played.play(10.0, PARTLY) == "reading"


def test_nothing_counts_before_it_has_settled_for_fifteen_seconds() -> None:
    played = Played()
    played.play(19.9, GOOD)
    assert played.kept == []
    assert played.play(0.5, GOOD) == "reading"
    assert played.kept


def test_a_finger_that_leaves_while_settling_is_to_be_placed_anew() -> None:
    played = Played()
    played.play(10.0, GOOD)
    assert played.flow.phase == "settling"
    assert played.play(1.5, AWAY) == "finger"
    assert played.play(4.0, GOOD) == "finger"


def test_the_time_is_up_when_so_much_was_kept() -> None:
    played = Played()
    played.play(60.0, GOOD)
    assert played.flow.ended == TIME_UP
    assert played.kept[-1] - played.kept[0] == pytest.approx(20.0, abs=0.2)


def test_advice_alone_does_not_pause() -> None:
    played = Played()
    played.play(22.0, GOOD)
    assert played.play(5.0, LIGHTER) == "reading"


def test_a_lost_finger_pauses_and_the_clock_stands_still_until_it_is_back() -> None:
    played = Played()
    played.play(25.0, GOOD)
    assert played.play(1.2, AWAY) == "paused"
    left_s, kept = played.flow.remaining_s, len(played.kept)
    played.play(5.0, AWAY)
    assert (played.flow.remaining_s, len(played.kept)) == (left_s, kept)
    assert played.play(1.2, GOOD) == "reading"
    assert played.play(30.0, GOOD) == "over"
    assert played.flow.ended == TIME_UP


def test_pauses_together_may_last_thirty_seconds() -> None:
    played = Played()
    played.play(25.0, GOOD)
    assert played.play(20.0, AWAY) == "paused"
    assert played.play(3.0, GOOD) == "reading"
    assert played.play(15.0, AWAY) == "over"
    assert played.flow.ended == LOST


@pytest.mark.parametrize("by_the_wall_clock", [False, True])
def test_a_sleep_of_the_computer_ends_a_reading(by_the_wall_clock: bool) -> None:
    played = Played()
    played.play(25.0, GOOD)
    later_s = played.time_s + (0.1 if by_the_wall_clock else 60.0)
    assert not played.flow.see(later_s, GOOD, slept=by_the_wall_clock)
    assert played.flow.ended == SLEPT


def test_a_sleep_before_the_reading_begins_it_anew() -> None:
    played = Played()
    played.play(10.0, GOOD)
    played.flow.see(played.time_s + 60.0, GOOD)
    assert played.flow.phase == "finger"
    assert played.flow.ended is None


@given(st.lists(st.tuples(st.floats(0.05, 2.0), st.sampled_from([GOOD, LIGHTER, PARTLY, AWAY])), max_size=150))
def test_whatever_the_finger_does_kept_time_and_pauses_stay_in_their_limits(
    steps: list[tuple[float, Contact]],
) -> None:
    flow, time_s = ReadFlow(Plan(duration_s=20.0)), 0.0
    for step_s, what in steps:
        time_s += step_s
        over_before = flow.phase == "over"
        kept = flow.see(time_s, what)
        assert not (over_before and kept)
        assert 0.0 <= flow.kept_s <= 22.0
        assert 0.0 <= flow.paused_s <= 32.0
        assert (flow.phase == "over") == (flow.ended is not None)
