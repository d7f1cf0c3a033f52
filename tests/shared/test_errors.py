"""Whatever a library says becomes one printable line."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dawnbeat.shared.errors import one_line


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("two\nlines", "two lines"),
        ("  much \t space \r\n", "much space"),
        ("a\x1b[31mred", "a?[31mred"),
        ("nul\x00", "nul?"),
        ("Straße, 測定", "Straße, 測定"),
        (OSError("no\nway"), "no way"),
        ("", ""),
    ],
)
def test_text_is_folded_into_one_line(text, line):
    assert one_line(text) == line


@given(st.text())
def test_no_text_leaves_a_line_break_or_a_control_character(text):
    line = one_line(text)
    assert line.isprintable()
    assert len(line.splitlines()) <= 1
