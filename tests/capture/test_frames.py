from __future__ import annotations

import itertools
import time
from collections.abc import Iterator

import pytest

from dawnbeat.capture.frames import SOURCE_ENDED, End, Feed, Frame, Sample
from tests.capture.fakes import VANISHED, FakeSource


def frames(count: int) -> list[Frame]:
    return [Frame(number / 30, 0, None, Sample(number / 30, 50, 40, 30)) for number in range(count)]


def all_of(feed: Feed) -> tuple[list[Frame], End]:
    got = []
    while not isinstance(frame := feed.take(5.0), End):
        assert frame is not None
        got.append(frame)
    return got, frame


def test_what_finds_the_queue_full_is_counted_with_the_next_frame() -> None:
    total = 400

    def then_a_pause() -> Iterator[Frame]:
        yield from frames(total - 1)
        time.sleep(0.2)
        yield frames(total)[-1]

    feed = Feed(FakeSource(then_a_pause(), live=True, width=640, height=480))
    time.sleep(0.1)
    got, end = all_of(feed)
    lost = sum(frame.dropped_before for frame in got) + end.lost
    assert lost > 0
    assert len(got) + lost == total


def test_frames_that_the_source_lost_add_to_those_that_found_no_room() -> None:
    losing = [Frame(frame.time_s, 2, None, frame.sample) for frame in frames(300)]
    feed = Feed(FakeSource(losing, live=True, width=640, height=480))
    time.sleep(0.1)
    got, end = all_of(feed)
    assert len(got) + sum(frame.dropped_before for frame in got) + end.lost == 900


def test_a_source_that_can_wait_loses_nothing() -> None:
    feed = Feed(FakeSource(frames(400), width=640, height=480))
    time.sleep(0.05)
    got, end = all_of(feed)
    assert (len(got), end) == (400, End(SOURCE_ENDED, False))
    assert all(frame.dropped_before == 0 for frame in got)


@pytest.mark.parametrize("fault", [VANISHED, RuntimeError("the driver\nfell over")])
def test_a_fault_of_the_source_is_the_end_in_one_line(fault: Exception) -> None:
    _, end = all_of(Feed(FakeSource(frames(3), fault, live=True)))
    assert end.broken
    assert "\n" not in end.reason
    assert str(fault).split("\n")[0] in end.reason


@pytest.mark.parametrize("live", [False, True])
def test_stopping_ends_even_a_source_without_end(live: bool) -> None:
    def endless() -> Iterator[Frame]:
        for number in itertools.count():
            yield Frame(number / 30, 0, None, Sample(number / 30, 50, 40, 30))

    feed = Feed(FakeSource(endless(), live=live))
    assert feed.take(5.0) is not None
    feed.stop()
    assert not feed._thread.is_alive()
