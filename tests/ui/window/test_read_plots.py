from __future__ import annotations

import numpy as np
import pytest

from dawnbeat.morning.background import LiveFigures
from dawnbeat.morning.flow import LOST, TIME_UP
from dawnbeat.morning.reading_text import ended_sentence, starts_in
from dawnbeat.morning.taking import Ended
from dawnbeat.shared.reading import Intervals
from dawnbeat.ui.window.read.plots import LeftOut, label_levels, left_out_stretches, successive

INTERVALS = Intervals(
    np.array([0.0, 1.0, 2.1, 3.0, 4.2, 9.0, 10.0]),
    np.array([1000.0, 1100.0, 900.0, 1200.0, 1000.0, 1000.0, 1050.0]),
    (None, None, "movement", "movement", None, None, None),
)


def test_neighbours_left_out_for_one_reason_make_one_stretch() -> None:
    assert left_out_stretches(INTERVALS) == [LeftOut(2.1, 4.2, "movement")]


def test_pairs_are_never_formed_across_what_was_left_out_or_is_missing() -> None:
    first, following = successive(INTERVALS)
    assert list(zip(first, following, strict=True)) == [(1000.0, 1100.0), (1000.0, 1050.0)]
    nothing = successive(Intervals(np.zeros(0), np.zeros(0), ()))
    assert nothing[0].size == nothing[1].size == 0


def test_labels_that_lie_close_get_rows_of_their_own() -> None:
    assert label_levels([1.0, 2.0, 20.0, 21.0, 22.0], 10.0) == [0, 1, 0, 1, 2]


def test_how_a_reading_ended_is_one_sentence_and_nothing_when_all_went_well() -> None:
    assert ended_sentence(Ended(TIME_UP, False, 120.0), True) == ""
    assert ended_sentence(Ended(LOST, False, 40.0), True) == (
        "The finger was away too long, so the reading ended after 0:40; what was captured until then is not lost."
    )
    broken = ended_sentence(Ended("camera 0 stopped; what was captured until then is saved in /x", True, 61.0), True)
    assert broken == "The reading ended after 1:01: camera 0 stopped; what was captured until then is not lost."


@pytest.mark.parametrize(
    ("good_for_s", "words"), [(0.0, "Starts by itself after 5 s of good contact"), (4.2, "Starts by itself in 1 s")]
)
def test_the_wait_counts_down(good_for_s: float, words: str) -> None:
    assert starts_in(good_for_s, 5.0) == words


def test_figures_count_frames_drops_and_delays() -> None:
    now_s = [10.0]
    figures = LiveFigures(lambda: now_s[0])
    for number in range(61):
        figures.frame_came(number / 30.0, int(number == 7) * 2)
    for delay_s in (0.010, 0.020, 0.090):
        figures.was_painted(now_s[0] - delay_s)
    assert figures.rate_hz == pytest.approx(30.0)
    assert figures.dropped == 2
    delay = figures.delay
    assert delay is not None
    assert (delay.median_ms, delay.longest_ms) == (pytest.approx(20.0), pytest.approx(90.0))
    figures.reset()
    assert figures.words() == "No live view has run yet."
