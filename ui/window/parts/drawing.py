"""What plots are drawn with: inks, bands, the words of a legend, and the steps of axes.

Numbers of an axis stand at round steps, and so far apart that none touches the next.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QFontMetricsF, QPainterPath, QPen
from PySide6.QtWidgets import QGraphicsPathItem

from dawnbeat.shared.trace import FloatArray
from dawnbeat.shared.wording import Tick
from dawnbeat.ui.window.parts.theme import Theme

NUMBERS = 0.8  # the size of an axis's numbers, against running text
_APART_ACROSS, _APART_UPWARDS = 1.7, 1.3  # from number to number, against their own length along the axis
_LEAST_PX, _LEAST_MINOR_PX = 44, 4
_MINOR = {1: 5, 2: 4, 5: 5}  # how many parts a step of 1, 2 or 5 times a power of ten falls into
_LONG_PART = 32  # letters of a part of a legend


@dataclass(frozen=True)
class Ink:
    """How something is drawn: a colour of the theme, its opacity 0 to 255, width in pixels, dashes."""

    colour: str = "ink"
    alpha: int = 255
    width: float = 1.5
    dash: bool = False


def legend_of(*parts: str) -> str:
    """What marks and lines mean, in one text. It breaks only between the parts, and in long ones after the mark."""
    return "    ".join(part.replace(" ", "\u00a0", 1 if len(part) > _LONG_PART else -1) for part in parts)


def rmssd_ticks(low: float, high: float) -> list[Tick]:
    """Marks in ms on an axis of lnRMSSD, strictly between two values of it."""
    marks = (5, 7, 10, 15, 20, 30, 40, 50, 60, 80, 100, 150, 200, 300)
    return [(math.log(ms), str(ms)) for ms in marks if low < math.log(ms) < high]


class Band(QGraphicsPathItem):
    """A shaded band; one closed shape for each unbroken stretch."""

    def __init__(self) -> None:
        super().__init__()
        self.setPen(QPen(Qt.PenStyle.NoPen))

    def set_data(self, x: FloatArray, low: FloatArray, high: FloatArray) -> None:
        """x, low, high: (n,); NaN in low or high breaks the band."""
        path = QPainterPath()
        there = np.isfinite(low) & np.isfinite(high)
        edges = np.flatnonzero(np.diff(np.concatenate(([False], there, [False])).astype(np.int8)))
        for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            path.addPath(
                pg.arrayToQPath(
                    np.concatenate((x[first:last], x[first:last][::-1])),
                    np.concatenate((high[first:last], low[first:last][::-1])),
                )
            )
        self.setPath(path)

    def set_stretches(self, stretches: Iterable[tuple[float, float]], low: float, high: float) -> None:
        """A band from `low` to `high` over each stretch of x."""
        path = QPainterPath()
        for first, last in stretches:
            path.addRect(QRectF(first, low, last - first, high - low))
        self.setPath(path)


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
