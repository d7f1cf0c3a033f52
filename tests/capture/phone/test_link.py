from __future__ import annotations

import json
import random
from pathlib import Path

import numpy as np
import pytest

from dawnbeat.capture.phone.link import QUEUE_FRAMES, ClockCheck, Link
from dawnbeat.capture.phone.messages import RefusedError, message_from

FACTS = {"kind": "facts", "width": 640, "height": 480, "rate": 30, "known": {"camera": "back", "lamp": "on"}}


def row(number: int, time_s: float | None = None) -> list[float]:
    return [5.0 + number / 30 if time_s is None else time_s, number + 1, 200.0, 40.0 + number % 7, 30.0, 1, 0, 0, 0]


def batch(first: int, count: int = 10, waiting: int = 0) -> dict[str, object]:
    rows = [row(number) for number in range(first, first + count)]
    return {"kind": "frames", "first": first, "waiting": waiting, "frames": rows}


class Talk:
    """A link whose clock the test moves."""

    def __init__(self, folder: Path) -> None:
        self.now_s = 1000.0
        self.link = Link(folder, lambda: self.now_s, lambda: self.now_s + 1.7e9)

    def say(self, message: dict[str, object]) -> list[dict[str, object]]:
        return self.link.hear(message_from(json.dumps(message)))

    def begin(self, page: int = 7) -> None:
        self.say({"kind": "hello", "page": page})
        self.say(FACTS)

    def taken(self) -> list[int]:
        numbers = []
        while (frame := self.link.take(0.0)) is not None:
            numbers.append(frame.presented - 1)
        return numbers


@pytest.fixture
def talk(tmp_path: Path) -> Talk:
    return Talk(tmp_path)


def test_frames_come_out_in_order_and_are_acknowledged(talk: Talk) -> None:
    talk.begin()
    assert talk.say(batch(0)) == [{"kind": "got", "next": 10}]
    assert talk.say(batch(10, 5)) == [{"kind": "got", "next": 15}]
    assert talk.taken() == list(range(15))


def test_what_is_sent_again_is_not_doubled(talk: Talk) -> None:
    talk.begin()
    talk.say(batch(0))
    assert talk.say(batch(0)) == [{"kind": "got", "next": 10}]
    assert talk.say(batch(5, 10)) == [{"kind": "got", "next": 15}]
    assert talk.taken() == list(range(15))


def test_what_is_missing_is_asked_for_and_never_made_up(talk: Talk) -> None:
    talk.begin()
    talk.say(batch(0))
    assert talk.say(batch(20)) == [{"kind": "got", "next": 10}]
    assert talk.taken() == list(range(10))


@pytest.mark.parametrize("seed", range(5))
def test_a_line_that_breaks_at_random_loses_and_doubles_nothing(talk: Talk, seed: int) -> None:
    talk.begin()
    chance = random.Random(seed)
    unsent, base, taken = 3000, 0, []
    while base < unsent:
        talk.now_s += 1.0
        reached = chance.random() > 0.3
        answered = reached and chance.random() > 0.3
        first = base if chance.random() < 0.8 else min(unsent - 1, base + chance.randrange(40))
        if reached:
            answers = talk.say(batch(first, min(20, unsent - first)))
            if answered:
                base = max(base, int(str(answers[0]["next"])))
        if chance.random() < 0.1:
            base = max(base, int(str(talk.say({"kind": "hello", "page": 7})[0]["next"])))
        taken += talk.taken()
    assert taken == list(range(3000))


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([row(0), row(1, 4.0)], "went back"),
        ([row(0), row(1, 5.0)], "went back"),
        ([row(0), [6.0, 1, 200, 40, 30, 1, 0, 0, 0]], "backwards"),
        ([row(n, 5 + n / 1000) for n in range(240)], "frames a second"),
    ],
)
def test_times_that_can_not_be_end_it_with_a_line(talk: Talk, rows: list[list[float]], words: str) -> None:
    talk.begin()
    moved = [[each[0] + 0.24, each[1] + 240, *each[2:]] for each in rows]

    def send() -> None:
        for first, part in ((0, rows), (len(rows), moved)):
            talk.say({"kind": "frames", "first": first, "waiting": 0, "frames": part})

    with pytest.raises(RefusedError, match=words):
        send()
    assert words in str(talk.link.ended)
    assert talk.link.broken


def test_frames_that_claim_more_time_than_passed_end_it(talk: Talk) -> None:
    talk.begin()

    def send() -> None:
        for number in range(100):
            talk.now_s += 0.01
            talk.say(batch(number * 30, 30))

    with pytest.raises(RefusedError, match="ahead"):
        send()


def test_what_was_captured_before_the_fault_is_still_handed_on(talk: Talk) -> None:
    talk.begin()
    talk.say(batch(0))
    with pytest.raises(RefusedError):
        talk.say({"kind": "frames", "first": 10, "waiting": 0, "frames": [row(3)]})
    assert talk.taken() == list(range(10))


def test_the_queue_has_an_end(talk: Talk) -> None:
    talk.begin()
    count = 0
    while talk.link.room:
        talk.now_s += 8.0
        talk.say(batch(count, 240))
        count += 240
    assert count < QUEUE_FRAMES + 240


def test_frames_before_the_camera_is_named_are_refused(talk: Talk) -> None:
    with pytest.raises(RefusedError, match="who it is"):
        talk.say(batch(0))
    other = Talk(Path("/nonexistent"))
    other.say({"kind": "hello", "page": 1})
    with pytest.raises(RefusedError, match="before the phone's camera"):
        other.say(batch(0))


def test_another_load_of_the_page_can_not_join_its_frames(talk: Talk) -> None:
    talk.begin()
    talk.begin(page=8)  # nothing was sent yet: no harm
    talk.say(batch(0))
    with pytest.raises(RefusedError, match="loaded again"):
        talk.say({"kind": "hello", "page": 9})


def test_news_tell_where_things_stand(talk: Talk) -> None:
    link = talk.link
    assert link.news.stage == "waiting"
    talk.say({"kind": "hello", "page": 1})
    assert link.news.stage == "opened"
    talk.say({"kind": "state", "hidden": False, "trouble": "permission"})
    assert "allow it" in link.news.trouble
    talk.say(FACTS)
    talk.say({"kind": "state", "hidden": True, "trouble": ""})
    assert (link.news.stage, link.news.hidden, link.news.trouble) == ("camera", True, "")
    talk.now_s += 12.0
    assert link.news.unheard_s == pytest.approx(12.0)
    talk.say({"kind": "stop"})
    assert link.news.stage == "over"
    assert link.ended == "it was stopped on the phone"
    assert not link.broken


def test_the_phone_is_told_how_it_goes_and_that_it_is_over(talk: Talk) -> None:
    talk.begin()
    assert talk.link.say()["lock"] is False
    talk.link.tell({"phase": "reading", "left": 60.0})
    talk.link.lock()
    assert talk.link.say() == {"kind": "status", "lock": True, "phase": "reading", "left": 60.0}
    talk.link.over("You may lift the finger.")
    talk.link.over("something else")
    assert talk.link.say() == {"kind": "over", "words": "You may lift the finger.", "fault": False}


def run(
    seconds: float,
    phone_s=lambda t: t + 500.0,
    late_s=lambda t: 0.0,
    waiting=lambda t: 0,
    wall_s=lambda t: t + 1.7e9,
) -> ClockCheck:
    """A batch every quarter of a second, taken at t, arriving after 20 to 80 ms and `late_s`."""
    check = ClockCheck()
    delays = np.random.default_rng(1).gamma(2.0, 0.02, 10_000)
    for number, t in enumerate(np.arange(0.0, seconds, 0.25)):
        arrived_s = float(t + 0.02 + delays[number] + late_s(t))
        check.see(float(phone_s(t)), arrived_s, float(wall_s(arrived_s)), waiting(t))
    return check


def test_a_steady_clock_on_a_shaky_network_is_good() -> None:
    check = run(300.0)
    assert (check.jumps, check.words, check.slept) == ([], "", False)
    assert check.speed == pytest.approx(1.0, abs=0.001)


def test_a_network_that_is_gone_for_a_minute_is_no_jump() -> None:
    check = run(
        120.0, late_s=lambda t: max(0.0, 90.0 - t) if t > 30 else 0.0, waiting=lambda t: 100 if 30 < t < 89 else 0
    )
    assert check.words == ""


@pytest.mark.parametrize("by_s", [0.5, 3.0, 3600.0])
def test_a_clock_that_goes_forward_is_said(by_s: float) -> None:
    check = run(120.0, phone_s=lambda t: t + 500.0 + (by_s if t >= 60.0 else 0.0))
    assert len(check.jumps) == 1
    assert check.jumps[0].by_s == pytest.approx(by_s, abs=0.1)
    assert check.jumps[0].at_s == pytest.approx(60.0 + by_s, abs=1.0)
    assert f"{by_s:.1f}"[:2] in check.words or "jumped" in check.words


def test_a_clock_that_stood_still_is_said() -> None:
    check = run(120.0, phone_s=lambda t: t + 500.0 - (3.0 if t >= 60.0 else 0.0))
    assert [round(jump.by_s, 1) for jump in check.jumps] == [-3.0]


@pytest.mark.parametrize("speed", [0.97, 1.03])
def test_a_clock_that_runs_at_another_speed_is_said(speed: float) -> None:
    check = run(120.0, phone_s=lambda t: speed * t + 500.0)
    assert "speed" in check.words or check.jumps


def test_a_computer_that_slept_is_no_fault_of_the_phone() -> None:
    # Its monotonic clock stood still for ten minutes, the wall's and the phone's did not.
    check = run(
        120.0,
        phone_s=lambda t: t + 500.0 + (600.0 if t >= 60.0 else 0.0),
        wall_s=lambda a: a + 1.7e9 + (600.0 if a >= 60.0 else 0.0),
    )
    assert check.jumps == []
    assert check.slept
