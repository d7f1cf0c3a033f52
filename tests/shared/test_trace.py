"""A trace takes good frames as they are and says in one line what is wrong with bad ones."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import Trace


def grey(time_s) -> Trace:
    return Trace(np.array(time_s, dtype=float), np.full((len(time_s), 3), 100.0))


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_a_number_that_is_not_finite_is_refused_in_time_and_in_colour(bad):
    with pytest.raises(DawnbeatError, match="not finite"):
        grey([0.0, bad, 0.2])
    colour = np.full((3, 3), 100.0)
    colour[1, 2] = bad
    with pytest.raises(DawnbeatError, match="not finite"):
        Trace(np.array([0.0, 0.1, 0.2]), colour)


@pytest.mark.parametrize(("times", "row"), [([0.0, 0.1, 0.1, 0.2], 3), ([0.0, 0.2, 0.1], 3), ([5.0, -1.0], 2)])
def test_time_that_does_not_increase_is_refused_with_the_first_row_that_is_wrong(times, row):
    with pytest.raises(DawnbeatError, match=f"row {row} ") as caught:
        grey(times)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("shape", [(4, 3), (3, 2), (3,), (3, 3, 1)])
def test_colours_that_do_not_fit_the_times_are_refused(shape):
    with pytest.raises(DawnbeatError, match="shape"):
        Trace(np.array([0.0, 0.1, 0.2]), np.full(shape, 100.0))


@pytest.mark.parametrize("name", ["covered", "clipped"])
def test_a_gauge_of_another_length_is_refused_by_its_name(name):
    with pytest.raises(DawnbeatError, match=name):
        Trace(np.array([0.0, 0.1]), np.full((2, 3), 100.0), **{name: np.ones(3)})


def test_lists_and_whole_numbers_become_arrays_of_floats():
    trace = Trace([0, 1, 2], [[1, 2, 3]] * 3, covered=[1, 1, 0])
    assert trace.time_s.dtype == trace.colour.dtype == trace.covered.dtype == np.float64
    assert len(trace) == 3


def test_length_and_rate_of_short_traces_are_plain():
    assert grey([]).duration_s == 0.0
    assert grey([]).frame_rate_hz is None
    assert grey([7.0]).duration_s == 0.0
    assert grey([7.0]).frame_rate_hz is None
    assert grey([1.0, 1.5]).duration_s == 0.5
    assert grey([1.0, 1.5]).frame_rate_hz == 2.0


def test_the_frame_rate_is_that_of_the_frames_and_not_of_the_holes():
    time_s = np.arange(300) / 30.0
    time_s[150:] += 20.0
    assert grey(time_s).frame_rate_hz == pytest.approx(30.0)


@given(
    steps=st.lists(st.floats(0.001, 2.0), min_size=0, max_size=60),
    from_s=st.none() | st.floats(-5, 100),
    to_s=st.none() | st.floats(-5, 100),
)
def test_a_cut_keeps_the_rows_of_its_stretch_with_everything_known_of_them(steps, from_s, to_s):
    time_s = np.cumsum(np.array(steps, dtype=float))
    row = np.arange(time_s.size, dtype=float)
    trace = Trace(time_s, np.column_stack([row, row, row]), covered=row, clipped=row)
    cut = trace.between(from_s, to_s)
    low = -np.inf if from_s is None else from_s
    high = np.inf if to_s is None else to_s
    wanted = (time_s >= low) & (time_s < high)
    np.testing.assert_array_equal(cut.time_s, time_s[wanted])
    for values in (cut.colour[:, 0], cut.covered, cut.clipped):
        np.testing.assert_array_equal(values, row[wanted])
