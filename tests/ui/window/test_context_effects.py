from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st
from pytestqt.qtbot import QtBot

from dawnbeat.journal.ranges import DEFAULT
from dawnbeat.journal.series import FEWEST, Effect, effects, said_together, slope_95, words_for
from dawnbeat.journal.store import Journal
from dawnbeat.shared.morning import Context
from dawnbeat.ui.window.mornings.looking_back import ContextView
from dawnbeat.ui.window.parts.context import AppContext

CLAIM = ("%", "clear", "bpm")


@given(st.integers(0, FEWEST - 1), st.booleans())
def test_nothing_is_claimed_of_fewer_than_twenty_mornings(n: int, yes_no: bool) -> None:
    x = np.arange(n) % 2.0
    words = words_for(x, 50.0 * x, yes_no, "%")
    assert f"n = {n} " in words
    assert "too few" in words
    assert not any(claim in words for claim in CLAIM)


def test_a_clear_difference_is_said_with_its_interval_and_number() -> None:
    rng = np.random.default_rng(1)
    rating = rng.integers(1, 8, 60).astype(float)
    words = words_for(rating, -3.0 * rating + rng.normal(0, 2, 60), False, "%")
    assert words.startswith("n = 60 mornings: -3.")
    assert "for each step up" in words
    hours = Effect("Hours slept", rating, -3.0 * rating + rng.normal(0, 2, 60), (), "")
    assert said_together([hours], "%")[0].words.endswith("for each hour more")


def test_chance_is_not_called_a_difference() -> None:
    rng = np.random.default_rng(2)
    assert "no clear difference" in words_for(rng.integers(1, 8, 60).astype(float), rng.normal(0, 5, 60), False, "%")


def test_too_few_of_one_kind_are_not_compared() -> None:
    drank = np.array([1.0] * 3 + [0.0] * 40)
    assert "too few of a kind" in words_for(drank, -20.0 * drank, True, "%")


def test_the_slope_agrees_with_scipy() -> None:
    # scipy.stats.linregress: slope and standard error of ordinary least squares.
    rng = np.random.default_rng(3)
    x, y = rng.normal(0, 1, 50), rng.normal(0, 1, 50)
    expected = scipy.stats.linregress(x, y)
    slope, half = slope_95(x, y)
    assert slope == pytest.approx(expected.slope)
    assert half == pytest.approx(1.96 * expected.stderr)


def test_a_night_goes_with_its_own_morning_and_a_day_with_the_next(ninety_days: Journal) -> None:
    found = {each.title.split()[0]: each for each in effects(ninety_days.readings(), "ln_rmssd", DEFAULT)}
    readings = [replace(each, context=Context()) for each in ninety_days.readings()]
    place = next(i for i in range(60, len(readings)) if readings[i].counts and readings[i].posture == "lying")
    readings[place] = replace(readings[place], context=Context(hours_slept=6.0, fatigue=5))
    after = {each.title.split()[0]: each for each in effects(readings, "ln_rmssd", DEFAULT)}
    assert after["Hours"].n == 1
    assert after["Hours"].deviation[0] in found["Hours"].deviation
    assert after["Fatigue"].n <= 1


def test_the_plots_show_n_with_any_number_of_mornings(qtbot: QtBot, context: AppContext, journal: Journal) -> None:
    view = ContextView(context)
    qtbot.addWidget(view)
    view.show()
    view.refresh()
    assert len(view.cells) == 9
    assert all("n = 0 mornings" in cell.words.text() for cell in view.cells)


def test_pulse_is_told_in_bpm_and_rmssd_in_percent(qtbot: QtBot, context: AppContext, ninety_days: Journal) -> None:
    view = ContextView(context)
    qtbot.addWidget(view)
    view.show()
    view.refresh()
    assert any("%" in cell.words.text() for cell in view.cells)
    view.measure.setCurrentIndex(1)
    assert any("bpm" in cell.words.text() for cell in view.cells)
    assert not any("%" in cell.words.text() for cell in view.cells)


def test_chance_alone_is_called_clear_in_few_journals_though_nine_things_are_compared() -> None:
    """Each of 200 journals has nine things of pure chance; without the correction a third of them would show one."""
    rng = np.random.default_rng(4)
    ticks = tuple((float(each), str(each)) for each in range(1, 8))
    told = 0
    for _ in range(200):
        given = [
            Effect(str(n), rng.integers(1, 8, 60).astype(float), rng.normal(0, 5, 60), ticks, "") for n in range(9)
        ]
        told += any("no clear difference" not in each.words for each in said_together(given, "%"))
    assert told / 200 <= 0.09


def test_plots_of_the_context_take_the_room_of_a_large_window(
    qtbot: QtBot, context: AppContext, ninety_days: Journal
) -> None:
    view = ContextView(context)
    qtbot.addWidget(view)
    view.resize(2300, 1350)
    view.refresh()
    view.show()
    qtbot.waitUntil(lambda: min(cell.plot.height() for cell in view.cells) > 300)
    view.resize(700, 500)
    qtbot.waitUntil(lambda: min(cell.plot.height() for cell in view.cells) == context.theme.px(200))


def test_plots_beside_one_another_are_alike_though_a_title_wraps(
    qtbot: QtBot, context: AppContext, ninety_days: Journal
) -> None:
    view = ContextView(context)
    qtbot.addWidget(view)
    view.resize(1150, 640)
    view.refresh()
    view.show()
    first = view.cells[:3]
    qtbot.waitUntil(lambda: len({cell.plot.x() for cell in first}) == 3)
    assert len({cell.title.height() for cell in first}) > 1
    assert len({(cell.plot.y(), cell.plot.height()) for cell in first}) == 1


def test_stress_and_soreness_are_put_to_the_same_morning_as_well() -> None:
    titles = [each.title for each in effects([], "ln_rmssd", DEFAULT)]
    assert sum("same morning" in each for each in titles) == 2
    assert sum("day before" in each for each in titles) == 4
