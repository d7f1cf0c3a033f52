"""Where a trace is cut, and what the even grid keeps of it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnbeat.signal.conditioning import even_grid, split_at_gaps


@given(
    steps=st.lists(st.floats(0.001, 1.0).filter(lambda step: abs(step - 0.2) > 0.001), min_size=0, max_size=80),
)
def test_the_pieces_are_the_whole_trace_cut_at_each_gap_and_nowhere_else(steps):
    time_s = np.cumsum(np.array([0.0, *steps]))
    pieces = split_at_gaps(time_s, 0.2)
    rows = [row for piece in pieces for row in range(time_s.size)[piece]]
    assert rows == list(range(time_s.size))
    assert len(pieces) == 1 + sum(step > 0.2 for step in steps)
    for piece in pieces:
        assert (np.diff(time_s[piece]) <= 0.2).all()


def test_no_rows_are_no_piece():
    assert split_at_gaps(np.zeros(0), 0.2) == []


@pytest.mark.parametrize("rate_hz", [24.0, 30.0, 60.0, 120.0])
def test_a_wave_that_jitters_comes_back_on_an_even_grid(rate_hz):
    rng = np.random.default_rng(1)
    time_s = 100.0 + np.arange(int(20 * rate_hz)) / rate_hz + rng.uniform(-0.2, 0.2, int(20 * rate_hz)) / rate_hz
    piece = even_grid(time_s, np.sin(2 * np.pi * 1.2 * time_s)[:, None])
    assert piece.rate_hz >= rate_hz * 0.99
    np.testing.assert_allclose(np.diff(piece.time_s), 1.0 / piece.rate_hz, rtol=1e-6)
    assert piece.time_s[0] == time_s[0]
    assert time_s[-1] - 1.0 / piece.rate_hz <= piece.time_s[-1] <= time_s[-1] + 1e-6
    inner = slice(10, -10)
    np.testing.assert_allclose(piece.value[inner, 0], np.sin(2 * np.pi * 1.2 * piece.time_s[inner]), atol=0.003)
    assert piece.frame_rate_hz == pytest.approx(rate_hz, rel=0.05)
