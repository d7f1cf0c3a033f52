"""Resting pulse for training, labelled with what it rests on."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import Morning, Posture
from dawnbeat.training.resting import (
    HandCount,
    add_hand_count,
    from_hand_counts,
    from_mornings,
    hand_counts,
    resting_pulse,
)

TODAY = date(2025, 3, 31)


def morning(back: int, pulse: float, posture: Posture = "lying", usable: bool = True) -> Morning:
    return Morning(TODAY - timedelta(days=back), 4.0, pulse, posture, 6.5, usable)


def test_the_mornings_of_the_last_week_are_averaged() -> None:
    found = from_mornings([morning(back, 50 + back) for back in range(10)], TODAY)
    assert found is not None
    assert found.bpm == 53.0
    assert found.label == "53 bpm, mean of 7 mornings lying, 25 March to 31 March 2025"


def test_a_thin_week_reaches_back_to_the_last_three_mornings() -> None:
    found = from_mornings([morning(1, 50), morning(20, 52), morning(30, 54), morning(40, 90)], TODAY)
    assert found is not None
    assert found.bpm == 52.0
    assert from_mornings([morning(1, 50), morning(2, 52), morning(90, 54)], TODAY) is None


def test_mornings_that_are_not_usable_or_in_another_posture_do_not_enter() -> None:
    lying = [morning(back, 50) for back in range(4)]
    found = from_mornings([*lying, morning(4, 90, usable=False), morning(5, 70, "standing")], TODAY)
    assert found is not None
    assert (found.bpm, found.posture) == (50.0, "lying")


def test_a_count_by_hand_is_doubled_and_averaged_over_three_mornings() -> None:
    counts = [HandCount(TODAY - timedelta(days=back), beats) for back, beats in ((3, 40), (2, 24), (1, 25), (0, 99))]
    counts.append(HandCount(TODAY, 26))  # the last count of a day holds
    found = from_hand_counts(counts, TODAY)
    assert found is not None
    assert found.bpm == 50.0
    assert found.label == "50 bpm, mean of 3 counts by hand, 29 March to 31 March 2025"
    assert from_hand_counts(counts[:2], TODAY) is None


@pytest.mark.parametrize("beats", [0, 9, 121, 25.5, True])
def test_a_count_that_can_not_be_right_is_refused(journal: Journal, beats: Any) -> None:
    with pytest.raises(DawnbeatError, match="beats in 30 seconds"):
        add_hand_count(journal, TODAY, beats)
    assert hand_counts(journal) == []


def test_the_newer_of_the_two_is_used(journal: Journal, taken: Any, analysed: Any) -> None:
    assert resting_pulse(journal, TODAY) is None
    for day in (1, 2, 3):
        journal.save(taken(f"2025-03-0{day}T06:30:00"), analysed(4.0, 48.0))
    found = resting_pulse(journal, TODAY)
    assert found is not None
    assert found.source == "mornings"
    for day in (5, 6, 7):
        add_hand_count(journal, date(2025, 3, day), 26)
    found = resting_pulse(journal, TODAY)
    assert found is not None
    assert (found.source, found.bpm) == ("hand count", 52.0)
    journal.save(taken("2025-03-09T06:30:00"), analysed(4.0, 48.0))
    found = resting_pulse(journal, TODAY)
    assert found is not None
    assert found.source == "mornings"
