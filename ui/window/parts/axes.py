"""Where the numbers of an axis stand: at round steps, and so far apart that none touches the next."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from PySide6.QtGui import QFontMetricsF

from dawnbeat.ui.window.parts.theme import Theme

NUMBERS = 0.8  # the size of an axis's numbers, against running text
_APART_ACROSS, _APART_UPWARDS = 1.7, 1.3  # from number to number, against their own length along the axis
_LEAST_PX, _LEAST_MINOR_PX = 44, 4
_MINOR = {1: 5, 2: 4, 5: 5}  # how many parts a step of 1, 2 or 5 times a power of ten falls into


def round_step(least: float) -> tuple[float, float]:
    """The smallest round step (1, 2 or 5 times a power of ten) of at least this, and that of the marks between."""
    power = 10.0 ** math.floor(math.log10(least))
    times, power = next(
        (each, power * up) for up in (1.0, 10.0) for each in (1, 2, 5) if each * power * up >= least * (1 - 1e-9)
    )
    return times * power, times * power / _MINOR[times]


def in_seconds(values: Sequence[float], scale: float, step: float) -> list[str]:
    """Numbers of an axis with their unit, as pyqtgraph asks for them, where its name would take room from the plot."""
    decimals = max(0, math.ceil(-math.log10(step * scale) - 1e-9))
    return [f"{each * scale:.{decimals}f} s" for each in values]


def steps_across(low: float, high: float, size_px: float, theme: Theme) -> list[tuple[float, float]]:
    """Steps of an axis from left to right, as pyqtgraph asks for them; the first is that of the numbers."""
    metrics = QFontMetricsF(theme.font(NUMBERS))

    def room_px(step: float) -> float:
        decimals = max(0, math.ceil(-math.log10(step) - 1e-9))
        longest = max((f"{end:.{decimals}f}" for end in (low, high)), key=len)
        return max(_APART_ACROSS * metrics.horizontalAdvance(longest), theme.px(_LEAST_PX))

    return _steps(low, high, size_px, theme, room_px)


def steps_upwards(low: float, high: float, size_px: float, theme: Theme) -> list[tuple[float, float]]:
    """Steps of an axis from foot to top, as pyqtgraph asks for them; the first is that of the numbers."""
    line_px = QFontMetricsF(theme.font(NUMBERS)).height()
    return _steps(low, high, size_px, theme, lambda _step: _APART_UPWARDS * line_px)


def _steps(
    low: float, high: float, size_px: float, theme: Theme, room_px: Callable[[float], float]
) -> list[tuple[float, float]]:
    span = abs(high - low)
    if not (span > 0.0 and size_px > 0.0 and math.isfinite(span)):
        return []
    step, minor = round_step(1e-9 * span + span * theme.px(8) / size_px)
    while step < span and step * size_px / span < room_px(step):
        step, minor = round_step(1.01 * step)
    return [(step, 0.0), (minor, 0.0)] if minor * size_px / span >= theme.px(_LEAST_MINOR_PX) else [(step, 0.0)]
