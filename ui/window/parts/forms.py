"""Forms: a label and a control a row, on a page or in a dialog that says in place what is wrong."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from PySide6.QtCore import QDate, Qt
from PySide6.QtWidgets import (
    QComboBox,
    QDateEdit,
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QGridLayout,
    QGroupBox,
    QLabel,
    QLayout,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import DateEdit
from dawnbeat.ui.window.parts.layouts import Flow, Scrolled


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


class FormDialog(QDialog):
    """keep: called on "Keep"; where it raises DawnbeatError the dialog stays open and says it."""

    def __init__(
        self, context: AppContext, title: str, keep: Callable[[], object], parent: QWidget, height: int = 600
    ) -> None:
        """height: in pixels where text has its usual size."""
        super().__init__(parent)
        self.context = context
        self._keep = keep
        self.setWindowTitle(title)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        inside = QWidget()
        column = QVBoxLayout(inside)
        self.rows = QFormLayout()
        self.rows.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        self.rows.setHorizontalSpacing(18)
        self.rows.setVerticalSpacing(8)
        self._words = QVBoxLayout()
        column.addLayout(self.rows)
        column.addLayout(self._words)
        column.addStretch(1)
        self.trouble = QLabel()
        self.trouble.setWordWrap(True)
        self.trouble.setAccessibleName("What is wrong")
        self.trouble.hide()
        buttons = QDialogButtonBox()
        self.keep_button = buttons.addButton("&Keep", QDialogButtonBox.ButtonRole.AcceptRole)
        buttons.addButton("Cancel", QDialogButtonBox.ButtonRole.RejectRole)
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        layout.addWidget(Scrolled(inside), 1)
        layout.addWidget(self.trouble)
        layout.addWidget(buttons)
        px, room = context.theme.px, parent.window().size()
        self.resize(min(px(680), room.width()), min(px(height), room.height()))

    def row(self, words: str, control: QWidget, tip: str) -> None:
        """A control with its label, its name for screen readers, and its tooltip."""
        label = QLabel(words)
        label.setBuddy(control)
        if isinstance(control, QComboBox):
            # Long answers must not make the form wider than the dialog.
            control.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
            control.setMinimumContentsLength(14)
        control.setAccessibleName(words)
        control.setToolTip(tip)
        self.rows.addRow(label, control)
        if self.rows.rowCount() == 1:
            control.setFocus()

    def say(self, text: str, style: str = "small") -> QLabel:
        """Words below the rows."""
        label = QLabel(text)
        label.setWordWrap(True)
        label.setProperty("class", style)
        self._words.addWidget(label)
        return label

    def accept(self) -> None:
        """Keep, or say why not."""
        try:
            self._keep()
        except DawnbeatError as error:
            self.trouble.setText(f"Not kept: {error}")
            self.trouble.show()
            return
        super().accept()


def day_edit(day: date, today: date) -> QDateEdit:
    """A day up to today."""
    edit = DateEdit(QDate(day.year, day.month, day.day))
    edit.setDisplayFormat("yyyy-MM-dd")
    edit.setMaximumDate(QDate(today.year, today.month, today.day))
    return edit


def day_in(edit: QDateEdit) -> date:
    """The day in it."""
    chosen = edit.date()
    return date(chosen.year(), chosen.month(), chosen.day())
