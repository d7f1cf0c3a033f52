"""A small form in a dialog: rows, a caution that can't be missed, and what is wrong said in place."""

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
    QLabel,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.scrolled import Scrolled


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
    edit = QDateEdit(QDate(day.year, day.month, day.day))
    edit.setDisplayFormat("yyyy-MM-dd")
    edit.setMaximumDate(QDate(today.year, today.month, today.day))
    return edit


def day_in(edit: QDateEdit) -> date:
    """The day in it."""
    chosen = edit.date()
    return date(chosen.year(), chosen.month(), chosen.day())
