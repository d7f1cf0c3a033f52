from __future__ import annotations

import functools
import math
from itertools import pairwise

import pytest
from PySide6.QtGui import QFontMetricsF

from dawnbeat.shared.wording import Units
from dawnbeat.ui.window.parts.drawing import NUMBERS, across, evenly, logarithms, paces, round_step, upwards
from dawnbeat.ui.window.parts.theme import LIGHT, Theme

pytestmark = pytest.mark.usefixtures("qapp")

WAYS = {"across": across, "upwards": upwards}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("times", [1.0, 3.0])
@pytest.mark.parametrize("span", [(995.0, 1140.0), (0.0, 10.0), (-350.0, 180.0), (0.012, 0.019), (22.0, 68.0)])
def test_numbers_of_an_axis_never_touch_and_are_at_least_two(span: tuple[float, float], times: float, way: str) -> None:
    theme, (low, high) = Theme(LIGHT, 200, times), span
    letters = QFontMetricsF(theme.font(NUMBERS))
    for size_px in (70.0 * times, 260.0 * times, 365.0 * times, 2000.0 * times):
        if way == "across" and size_px < 260.0 * times:
            continue
        numbers = WAYS[way](low, high, size_px, theme).numbers
        assert len(numbers) >= 2, size_px
        for (at, words), (further, more) in pairwise(numbers):
            wide = max(letters.horizontalAdvance(each) for each in (words, more))
            apart_px = (further - at) * size_px / (high - low)
            assert apart_px >= (1.15 * wide if way == "across" else 0.88 * letters.height())
        assert all(float(words) == pytest.approx(at) for at, words in numbers), "what is written is where it stands"


def test_few_numbers_are_round_where_there_is_room() -> None:
    numbers = upwards(0.0, 10.0, 400.0, Theme(LIGHT, 100)).numbers
    assert [words for _, words in numbers] == [str(each) for each in range(1, 10)]


def test_a_large_axis_is_not_all_numbers() -> None:
    for choose in (across, upwards):
        assert 7 <= len(choose(90.0, 180.0, 1300.0, Theme(LIGHT, 100)).numbers) <= 15


def test_logarithms_are_written_as_what_they_are_of() -> None:
    low, high = math.log(24.0), math.log(72.0)
    for size_px in (60.0, 120.0, 600.0):
        numbers = upwards(low, high, size_px, Theme(LIGHT, 200), logarithms).numbers
        assert len(numbers) >= 2
        for at, words in numbers:
            assert math.exp(at) == pytest.approx(float(words))
    assert {"30", "50"} <= {words for _, words in upwards(low, high, 300.0, Theme(LIGHT, 100), logarithms).numbers}


@pytest.mark.parametrize(("units", "metres"), [("km", 1000.0), ("miles", 1609.344)])
def test_paces_are_round_in_the_units_that_are_shown(units: Units, metres: float) -> None:
    scale = functools.partial(paces, units=units)
    for size_px in (60.0, 200.0):
        numbers = upwards(331.0, 371.0, size_px, Theme(LIGHT, 100), scale).numbers
        assert len(numbers) >= 2
        for at, words in numbers:
            minutes, seconds = words.split(":")
            assert at * metres / 1000.0 == pytest.approx(60 * int(minutes) + int(seconds))


def test_numbers_carry_a_unit_where_the_axis_has_no_name() -> None:
    for size_px, words in ((400.0, "2 s"), (60.0, " s")):
        numbers = across(0.0, 4.0, size_px, Theme(), functools.partial(evenly, unit=" s")).numbers
        assert any(each.endswith(words) for _, each in numbers)


def test_an_axis_of_nothing_has_no_numbers() -> None:
    for low, high, size_px in ((1.0, 1.0, 100.0), (0.0, math.inf, 100.0), (0.0, 1.0, 0.0)):
        assert upwards(low, high, size_px, Theme()).numbers == []


def test_round_steps_are_1_2_or_5() -> None:
    assert [round_step(least)[0] for least in (0.9, 1.0, 1.1, 2.5, 6.0, 0.03)] == pytest.approx([1, 1, 2, 5, 10, 0.05])
