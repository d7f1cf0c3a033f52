"""What plots are drawn with: inks, bands, and the words of a legend."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QPainterPath, QPen
from PySide6.QtWidgets import QGraphicsPathItem

from dawnbeat.shared.trace import FloatArray
from dawnbeat.ui.window.parts.controls import PARTED

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
