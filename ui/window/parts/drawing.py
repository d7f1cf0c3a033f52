"""What a plot is drawn with: inks, bands, the words of a legend, and the numbers of its axes.

Numbers stand at round values, none touching the next or cut at an end, and at least two wherever two fit. A scale gives
what could be written between two ends, from few numbers to many; an axis writes what it has room for.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QFontMetricsF, QPainterPath, QPen
from PySide6.QtWidgets import QGraphicsPathItem

from dawnbeat.shared.trace import FloatArray
from dawnbeat.shared.wording import M_PER_UNIT, Tick, Units, clock, date_ticks
from dawnbeat.ui.window.parts.controls import PARTED
from dawnbeat.ui.window.parts.theme import Theme

_LONG_PART = 32  # letters of a part of a legend

NUMBERS = 0.8  # the size of an axis's numbers, against running text
# From the middle of a number to that of the next, against their own length along the axis: as far as they stand apart
# where there is room, and as near as they may come where only one would be left.
_APART_ACROSS, _APART_UPWARDS = 1.7, 1.3
_NEAR_ACROSS, _NEAR_UPWARDS = 1.2, 0.9
_LEAST_PX, _LEAST_MINOR_PX = 44, 4
_MOST = 14  # numbers of an axis, or all that is seen of a large one is numbers
_INK_SHARE = 0.84  # how much of a line's height a digit and its margin take
_OVER_THE_FOOT_PX = 14  # a number may begin before its axis does, above which there is room, but not end after it
_FINEST = 200  # parts of the axis; finer numbers than that would not tell more
_MINOR = {1: 5, 2: 4, 5: 5}  # how many parts a step of 1, 2 or 5 times a power of ten falls into
_MANTISSAS = ((1.0,), (1.0, 2.0, 5.0), (1.0, 1.5, 2.0, 3.0, 5.0, 7.0), (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0))
_PACE_STEPS_S = (600, 300, 120, 60, 30, 15, 5, 1)


@dataclass(frozen=True)
class Ink:
    """How something is drawn: a colour of the theme, its opacity 0 to 255, width in pixels, dashes."""

    colour: str = "ink"
    alpha: int = 255
    width: float = 1.5
    dash: bool = False


def legend_of(*parts: str) -> str:
    """What marks and lines mean, in one text. It breaks only between the parts, and in long ones after the mark."""
    return PARTED.join(part.replace(" ", "\u00a0", 1 if len(part) > _LONG_PART else -1) for part in parts)


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


class Level(NamedTuple):
    """Numbers with their places on the axis, and the step of the marks between them, 0 for none."""

    numbers: Sequence[Tick]
    minor: float


Scale = Callable[[float, float], Iterator[Level]]


def round_step(least: float) -> tuple[float, float]:
    """The smallest round step (1, 2 or 5 times a power of ten) of at least this, and that of the marks between."""
    power = 10.0 ** math.floor(math.log10(least))
    times, power = next(
        (each, power * up) for up in (1.0, 10.0) for each in (1, 2, 5) if each * power * up >= least * (1 - 1e-9)
    )
    return times * power, times * power / _MINOR[times]


def evenly(low: float, high: float, unit: str = "") -> Iterator[Level]:
    """Round numbers. unit: written behind each, where the axis has no name that could hold it."""
    if not (high > low and math.isfinite(high - low)):
        return
    step, minor = round_step(high - low)
    while step >= (high - low) / _FINEST:
        decimals = max(0, math.ceil(-math.log10(step) - 1e-9))
        yield Level([(at, f"{at:.{decimals}f}{unit}") for at in _multiples(step, low, high)], minor)
        step, minor = round_step(step / 2.6)


def logarithms(low: float, high: float, base: float = math.e) -> Iterator[Level]:
    """Round numbers on an axis of their logarithms, as of lnRMSSD."""
    if not (high > low and math.isfinite(high - low)):
        return
    first, last = base**low, base**high
    powers = range(math.floor(math.log10(first)), math.ceil(math.log10(last)) + 1)
    for mantissas in _MANTISSAS:
        values = [each * 10.0**power for power in powers for each in mantissas]
        yield Level([(math.log(each, base), f"{each:g}") for each in values if first <= each <= last], 0.0)
    for level in evenly(first, last):
        yield Level([(math.log(at, base), words) for at, words in level.numbers if at > 0.0], 0.0)


def paces(low: float, high: float, units: Units) -> Iterator[Level]:
    """Minutes and seconds of a kilometre or mile on an axis of seconds a kilometre."""
    per_unit = M_PER_UNIT[units] / 1000.0
    for step in _PACE_STEPS_S:
        at = _multiples(float(step), low * per_unit, high * per_unit)
        yield Level([(each / per_unit, clock(each)) for each in at], 0.0)


def dates(low: float, high: float) -> Iterator[Level]:
    """Days, weeks, months or years on an axis of seconds since 1970."""
    for marks in date_ticks(low, high):
        yield Level(marks, 0.0)


def _multiples(step: float, low: float, high: float) -> list[float]:
    return [step * n for n in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]


def across(low: float, high: float, size_px: float, theme: Theme, scale: Scale = evenly) -> Level:
    """The numbers of an axis from left to right."""
    metrics = QFontMetricsF(theme.font(NUMBERS))

    def length_px(words: str) -> float:
        return metrics.horizontalAdvance(words)

    over_px = (_OVER_THE_FOOT_PX, 0.0)
    return _chosen(low, high, size_px, scale, length_px, over_px, (_APART_ACROSS, theme.px(_LEAST_PX), _NEAR_ACROSS))


def close_up(low: float, high: float, size_px: float, theme: Theme, scale: Scale = evenly) -> Level:
    """The numbers of an axis from foot to top, each where there is any room for it."""
    return upwards(low, high, size_px, theme, scale, _NEAR_UPWARDS)


def upwards(
    low: float, high: float, size_px: float, theme: Theme, scale: Scale = evenly, apart: float = _APART_UPWARDS
) -> Level:
    """The numbers of an axis from foot to top. apart: from middle to middle, in lines."""
    line_px = QFontMetricsF(theme.font(NUMBERS)).height()
    over_px = 2 * ((1.0 - _INK_SHARE) / 2 * line_px,)
    return _chosen(low, high, size_px, scale, lambda _: line_px, over_px, (apart, 0.0, _NEAR_UPWARDS))


def _chosen(
    low: float,
    high: float,
    size_px: float,
    scale: Scale,
    length_px: Callable[[str], float],
    over_px: tuple[float, float],
    apart: tuple[float, float, float],
) -> Level:
    """The most numbers that stand well apart; where those are fewer than two, two of a finer scale."""
    if not (high > low and size_px > 0.0 and math.isfinite(high - low)):
        return Level([], 0.0)
    px = size_px / (high - low)
    wide, near, least_px = apart[0], apart[2], max(apart[1], size_px / _MOST)

    def inside(tick: Tick) -> bool:
        half_px = length_px(tick[1]) / 2
        return px * (tick[0] - low) >= half_px - over_px[0] and px * (high - tick[0]) >= half_px - over_px[1]

    def thinned(numbers: Sequence[Tick], times: float, least_px: float) -> list[Tick]:
        kept = [*numbers[:1]]
        for at, words in numbers[1:]:
            between_px = times * max(length_px(words), length_px(kept[-1][1]))
            if px * (at - kept[-1][0]) >= max(between_px, least_px):
                kept.append((at, words))
        return kept

    best = Level([], 0.0)
    for level in scale(low, high):
        numbers = [each for each in level.numbers if inside(each)]
        apart_well = thinned(numbers, wide, least_px)
        if len(apart_well) == len(numbers):
            if len(numbers) >= len(best.numbers):
                best = Level(numbers, level.minor)
            continue
        if len(best.numbers) >= 2:
            break
        for fewer in (apart_well, thinned(numbers, near, 0.0)):
            if len(fewer) >= 2:
                return Level(fewer, 0.0)
    return best


class Numbers:
    """Writes the numbers of one of pyqtgraph's axes. theme: None once the plot is gone, which this doesn't keep."""

    def __init__(self, axis: Any, theme: Callable[[], Theme | None], choose: Callable[..., Level]) -> None:
        """choose: `across` or `upwards`."""
        self.scale: Scale = evenly
        self._theme, self._choose = theme, choose
        self._words: dict[float, str] = {}
        axis.tickValues, axis.tickStrings = self._values, self._strings

    def _values(self, low: float, high: float, size_px: float) -> list[tuple[float, list[float]]]:
        """As pyqtgraph asks for them: numbers first, then the marks between."""
        theme = self._theme()
        low, high = sorted((low, high))
        if theme is None:
            return []
        level = self._choose(low, high, size_px, theme, self.scale)
        self._words = dict(level.numbers)
        found = [(1.0, list(self._words))]
        if level.minor > 0.0 and level.minor * size_px / (high - low) >= theme.px(_LEAST_MINOR_PX):
            between = _multiples(level.minor, low, high)
            found.append((level.minor, between))
        return found

    def _strings(self, values: Sequence[float], _scale: float, _step: float) -> list[str]:
        return [self._words.get(each, "") for each in values]
