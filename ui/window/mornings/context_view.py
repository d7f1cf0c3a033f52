"""Small plots of what was noted against the deviation of the morning that followed."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.journal.ranges import Measure
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.window.mornings.context_effects import FEWEST, Effect, effects
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, Key
from dawnbeat.ui.window.parts.layouts import Scrolled
from dawnbeat.ui.window.parts.plots import Ink, Plot

_MEASURES: tuple[tuple[str, Measure, tuple[str, str]], ...] = (
    ("RMSSD", "ln_rmssd", ("from usual", "%")),
    ("Resting pulse", "resting_pulse_bpm", ("from usual", "bpm")),
)


class ContextView(QWidget):
    """left: back to the months is wanted."""

    left = Signal()

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.measure = ComboBox()
        for words, _, _ in _MEASURES:
            self.measure.addItem(words)
        self.measure.setAccessibleName("Which figure of the morning after")
        self.measure.currentIndexChanged.connect(lambda _: self.refresh())
        back = QPushButton("Back")
        controls.give(back, Key("Alt+Left", "Back to the months, as Esc does", "Mornings, context"))
        back.clicked.connect(self.left.emit)
        heading = QLabel("What you noted, and the morning after")
        heading.setProperty("class", "title")
        heading.setWordWrap(True)
        top = QHBoxLayout()
        top.addWidget(back)
        top.addSpacing(10)
        top.addWidget(heading, 1)
        top.addWidget(self.measure)
        self.note = QLabel(
            "Each dot is one morning: how far it lay from the middle of the usual range. Things that happen together "
            f"need not cause one another, and nothing is said of fewer than {FEWEST} mornings. The more "
            "things are compared, the wider their intervals, so that chance alone looks clear in 5 of 100 journals at "
            "most (Holm 1979, Scand J Stat 6:65-70); ◇ is the mean."
        )
        self.note.setWordWrap(True)
        self.note.setProperty("class", "soft")
        self.cells: list[_Cell] = []
        self._grid = QGridLayout()
        self._grid.setSpacing(14)
        inside = QWidget()
        inside.setLayout(self._grid)
        scroll = Scrolled(inside)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(20, 14, 20, 8)
        layout.addLayout(top)
        layout.addWidget(self.note)
        layout.addWidget(scroll, 1)

    def refresh(self) -> None:
        """Draw again from the journal."""
        _, measure, axis = _MEASURES[self.measure.currentIndex()]
        try:
            found = effects(self.context.journal.readings(), measure, self.context.ranges)
        except DawnbeatError as error:
            self.context.say(str(error))
            return
        if not self.cells:
            self.cells = [_Cell(self.context, effect.title) for effect in found]
            self._place()
        for cell, effect in zip(self.cells, found, strict=True):
            cell.show_effect(effect, axis)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """As many columns as there is room for."""
        super().resizeEvent(event)
        self._place()

    def _place(self) -> None:
        columns = max(1, min(3, self.width() // self.context.theme.px(330)))
        for place, cell in enumerate(self.cells):
            self._grid.addWidget(cell, place // columns, place % columns)
        for column in range(3):
            self._grid.setColumnStretch(column, 1 if column < columns else 0)


class _Cell(QWidget):
    """One small plot with its title above and its words below."""

    def __init__(self, context: AppContext, title: str) -> None:
        super().__init__()
        heading = QLabel(title)
        heading.setWordWrap(True)
        self.words = QLabel()
        self.words.setWordWrap(True)
        self.words.setProperty("class", "small")
        self.plot = Plot(context, f"{title} and the morning after", ("", ""), ("from usual", "%"))
        self.plot.readout.hide()
        self._keep_height()
        context.theme_changed.connect(self._keep_height)
        self._level = self.plot.level(Ink("soft", width=1.0, dash=True))
        self._dots = self.plot.dots(Ink("ink", 170), "o", 5)
        self._means = self.plot.dots(Ink("accent", width=2.0), "d", 11, filled=False)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(heading)
        layout.addWidget(self.plot, 1)
        layout.addWidget(self.words)

    def _keep_height(self, _theme: object = None) -> None:
        self.plot.setFixedHeight(self.plot.context.theme.px(200))

    def show_effect(self, effect: Effect, axis: tuple[str, str]) -> None:
        self.words.setText(effect.words)
        self.plot.name_axis("left", *axis)
        # Ratings are whole numbers, so dots are set a little apart, the same way every time.
        apart = np.random.default_rng(1).uniform(-0.16, 0.16, effect.n) if effect.ticks else np.zeros(effect.n)
        self._dots.setData(effect.noted + apart, effect.deviation)
        kinds = np.unique(effect.noted) if effect.ticks and effect.n else np.zeros(0)
        self._means.setData(kinds, np.array([effect.deviation[effect.noted == kind].mean() for kind in kinds]))
        self.plot.item.getAxis("bottom").setTicks([list(effect.ticks)] if effect.ticks else None)
        if effect.ticks:
            self.plot.show_x(effect.ticks[0][0] - 0.6, effect.ticks[-1][0] + 0.6)
        elif effect.n:
            self.plot.show_x(float(effect.noted.min()) - 0.5, float(effect.noted.max()) + 0.5)
        half = 1.15 * float(np.abs(effect.deviation).max()) if effect.n else 10.0
        self.plot.box.setYRange(-half, half, padding=0)
