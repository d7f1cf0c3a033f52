"""How controls are laid out: in a flow that wraps as words do, in what scrolls only where it must, and in forms.

A form has a label and a control a row, on a page or in a dialog that says in place what is wrong.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from PySide6.QtCore import QDate, QEvent, QObject, QPoint, QRect, QSize, Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QDateEdit,
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QGridLayout,
    QGroupBox,
    QLabel,
    QLayout,
    QLayoutItem,
    QScrollArea,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, DateEdit

_Piece = QWidget | QLayout
PAGE_MARGINS = (20, 14, 20, 8)


class Flow(QLayout):
    """Left to right, then down. `push()` sends what follows to the right end of the line while there is room."""

    def __init__(self, gap: int = 6) -> None:
        super().__init__()
        self._items: list[QLayoutItem] = []
        self._pushed: int | None = None
        self.setContentsMargins(0, 0, 0, 0)
        self.setSpacing(gap)

    def push(self) -> None:
        """What is added from here on stands at the right where all fits in one line."""
        self._pushed = len(self._items)

    def addItem(self, item: QLayoutItem) -> None:  # noqa: N802, D102  Qt's names
        self._items.append(item)

    def count(self) -> int:  # noqa: D102
        return len(self._items)

    def itemAt(self, index: int) -> QLayoutItem | None:  # noqa: N802, D102
        return self._items[index] if 0 <= index < len(self._items) else None

    def takeAt(self, index: int) -> QLayoutItem | None:  # noqa: N802, D102
        return self._items.pop(index) if 0 <= index < len(self._items) else None

    def expandingDirections(self) -> Qt.Orientation:  # noqa: N802, D102
        return Qt.Orientation(0)

    def hasHeightForWidth(self) -> bool:  # noqa: N802, D102
        return True

    def heightForWidth(self, width: int) -> int:  # noqa: N802, D102
        margins = self.contentsMargins()
        inside = QRect(0, 0, width - margins.left() - margins.right(), 0)
        return self._arrange(inside, move=False) + margins.top() + margins.bottom()

    def minimumSize(self) -> QSize:  # noqa: N802, D102
        size = QSize(0, 0)
        for item in self._shown():
            size = size.expandedTo(item.minimumSize())
        return size.grownBy(self.contentsMargins())

    def sizeHint(self) -> QSize:  # noqa: N802, D102
        widths = [_one_line(item).width() + self.spacing() for item in self._shown()]
        margins = self.contentsMargins()
        return QSize(sum(widths) + margins.left() + margins.right(), self.minimumSize().height())

    def setGeometry(self, rect: QRect) -> None:  # noqa: N802, D102
        super().setGeometry(rect)
        self._arrange(rect.marginsRemoved(self.contentsMargins()), move=True)

    def _shown(self) -> list[QLayoutItem]:
        return [item for item in self._items if not item.isEmpty()]

    def _arrange(self, rect: QRect, move: bool) -> int:
        gap, shown = self.spacing(), self._shown()
        spare = rect.width() - sum(_one_line(item).width() + gap for item in shown) + gap
        pushed = None if self._pushed is None or spare < 0 else self._items[self._pushed]
        x, y, line = rect.x(), rect.y(), 0
        row: list[tuple[QLayoutItem, int, int, int]] = []
        for item in shown:
            hint = _one_line(item)
            width = min(hint.width(), rect.width())
            height = item.heightForWidth(width) if item.hasHeightForWidth() else hint.height()
            if item is pushed:
                x += spare
            if x > rect.x() and x + width > rect.x() + rect.width():
                self._place(row, y, line, move)
                x, y, line, row = rect.x(), y + line + gap, 0, []
            row.append((item, x, width, height))
            x, line = x + width + gap, max(line, height)
        self._place(row, y, line, move)
        return y + line - rect.y()

    @staticmethod
    def _place(row: list[tuple[QLayoutItem, int, int, int]], y: int, line: int, move: bool) -> None:
        """Set the items of one line, each in the middle of its height."""
        if move:
            for item, x, width, height in row:
                item.setGeometry(QRect(QPoint(x, y + (line - height) // 2), QSize(width, height)))


def _one_line(item: QLayoutItem) -> QSize:
    """What an item would like to have; words that may wrap would rather stand in one line."""
    hint, widget = item.sizeHint(), item.widget()
    if isinstance(widget, QLabel) and widget.wordWrap():
        margins = widget.contentsMargins()
        words = widget.fontMetrics().size(0, widget.text()).width() + margins.left() + margins.right()
        return QSize(words + 2 * widget.margin() + 1, hint.height())
    return hint


def flow_of(*widgets: QWidget) -> Flow:
    """A flow of these."""
    flow = Flow()
    for widget in widgets:
        flow.addWidget(widget)
    return flow


def stack(
    holder: QWidget,
    *parts: _Piece | tuple[_Piece, int] | None,
    margins: tuple[int, int, int, int] = (0, 0, 0, 0),
    gap: int | None = None,
) -> QVBoxLayout:
    """Lay parts out in a widget, one below the other. With a number: its share of the spare room; None: empty room."""
    column = QVBoxLayout(holder)
    column.setContentsMargins(*margins)
    if gap is not None:
        column.setSpacing(gap)
    for each in parts:
        part, share = each if isinstance(each, tuple) else (each, 0)
        if part is None:
            column.addStretch(1)
        elif isinstance(part, QWidget):
            column.addWidget(part, share)
        else:
            column.addLayout(part, share)
    return column


def scrolled(*parts: _Piece | tuple[_Piece, int] | None, margins: tuple[int, int, int, int] = PAGE_MARGINS) -> Scrolled:
    """Parts one below the other, as `stack` has them, that scroll where they find no room."""
    inside = QWidget()
    stack(inside, *parts, margins=margins)
    return Scrolled(inside)


def headed(back: QWidget, heading: QLabel, *after: QWidget) -> Flow:
    """The line at the head of a view: the way back, what it is, and what stands at its right end."""
    line = Flow(gap=10)
    line.addWidget(back)
    line.addWidget(heading)
    line.push()
    for each in after:
        line.addWidget(each)
    return line


class Scrolled(QScrollArea):
    """Holds one widget with a layout.

    Qt asks wrapped labels for their height at their narrowest, and a page would scroll although all fits.
    """

    def __init__(self, inside: QWidget) -> None:
        super().__init__()
        self.setWidgetResizable(True)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAsNeeded)
        self.setWidget(inside)
        inside.installEventFilter(self)

    def minimumSizeHint(self) -> QSize:  # noqa: N802  Qt's name
        """Small: scrolling is what it is for."""
        return QSize(160, 120)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802, D102
        super().resizeEvent(event)
        self._fit()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        """Measure again when words inside changed."""
        if event.type() == QEvent.Type.LayoutRequest:
            self._fit()
        return super().eventFilter(watched, event)

    def _fit(self) -> None:
        inside = self.widget()
        layout = None if inside is None else inside.layout()
        if inside is None or layout is None:
            return
        needed = layout.minimumSize().height()
        if layout.hasHeightForWidth():
            width = max(self.viewport().width(), layout.minimumSize().width())
            needed = layout.totalMinimumHeightForWidth(width)
        if needed != inside.minimumHeight():
            inside.setMinimumHeight(needed)


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
        if isinstance(control, ComboBox):
            control.narrow(14)  # long answers must not make the form wider than the dialog
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
