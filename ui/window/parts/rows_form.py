"""A form of labels and controls, beside one another or, where it is narrow, below one another."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QGridLayout, QGroupBox, QLabel, QLayout, QSizePolicy, QVBoxLayout, QWidget

from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.flow import Flow


class RowsForm(QGroupBox):
    """One group of settings. All forms of one width have their controls in one line."""

    def __init__(self, context: AppContext, title: str) -> None:
        super().__init__(title)
        self.context = context
        self._rows: list[tuple[QLabel, QWidget]] = []
        self._controls: list[QWidget] = []
        self._stacked: bool | None = None
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(0, 6, 0, 0)
        self._grid.setHorizontalSpacing(18)

    def row(self, words: str, control: QWidget, tip: str) -> None:
        """A control with its label, its name for screen readers, and its tooltip."""
        label = QLabel(words)
        label.setWordWrap(True)
        label.setBuddy(control)
        control.setAccessibleName(words)
        control.setToolTip(tip)
        control.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self._rows.append((label, control))
        self._controls.append(control)

    def below(self, what: QWidget | Flow, words: str = "") -> None:
        """Something as wide as there is room, in line with the controls."""
        if isinstance(what, QLayout):
            holder = QWidget()
            inside = QVBoxLayout(holder)
            inside.setContentsMargins(0, 0, 0, 0)
            inside.addLayout(what)
            what = holder
        self._rows.append((QLabel(words), what))

    def fit(self, width: int) -> None:
        """Arrange for this width; call it when the width or the text size changed."""
        px = self.context.theme.px
        stacked = width < px(600)
        for control in self._controls:
            control.setFixedWidth(min(px(320), width))
        for label, _ in self._rows:
            label.setMinimumWidth(0 if stacked else px(210))
            label.setMaximumWidth(width if stacked else px(210))
            label.setVisible(bool(label.text()) or not stacked)
        if stacked == self._stacked:
            return
        self._stacked = stacked
        for place, (label, what) in enumerate(self._rows):
            self._grid.removeWidget(label)
            self._grid.removeWidget(what)
            self._grid.addWidget(label, 2 * place, 0)
            row, column = 2 * place + stacked, 0 if stacked else 1
            if what in self._controls:
                self._grid.addWidget(what, row, column, Qt.AlignmentFlag.AlignLeft)
            else:
                self._grid.addWidget(what, row, column, 1, 3 - column)
        self._grid.setColumnStretch(2, 1)
