"""Intervals know what counts, where they lie, and how long they are."""

from __future__ import annotations

import numpy as np

from dawnbeat.shared.reading import REASONS, Beats, Intervals


def test_only_intervals_without_a_reason_are_kept():
    intervals = Intervals(np.array([0.0, 1.0, 1.8]), np.array([1000.0, 800.0, 900.0]), (None, "gap", None))
    assert intervals.kept.tolist() == [True, False, True]
    assert intervals.kept_ms.tolist() == [1000.0, 900.0]
    np.testing.assert_allclose(intervals.end_s, [1.0, 1.8, 2.7])
    assert len(intervals) == 3


def test_no_intervals_are_an_empty_list_and_no_error():
    none = Intervals(np.zeros(0), np.zeros(0), ())
    assert len(none) == 0
    assert none.kept.dtype == np.bool_
    assert none.kept_ms.size == 0
    assert len(Beats(np.zeros(0), np.zeros(0), np.zeros(0))) == 0


def test_the_reasons_are_those_that_are_promised():
    assert set(REASONS) == {"movement", "missed beat", "extra beat", "irregular beat", "gap", "weak pulse"}
