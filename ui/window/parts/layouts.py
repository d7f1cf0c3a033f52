"""How controls are laid out: in a flow that wraps as words do, in what scrolls only where it must, and in forms.

A form has a label and a control a row, on a page or in a dialog that says in place what is wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from typing import TypeVar

from PySide6.QtCore import QDate, QEvent, QObject, QPoint, QRect, QSize, Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QBoxLayout,
    QDateEdit,
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QFrame,
    QGridLayout,
    QGroupBox,
    QHBoxLayout,
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
from dawnbeat.ui.window.parts.controls import ComboBox, DateEdit, buddy_of, label, named

Part = QWidget | QLayout | tuple[QWidget | QLayout | None, int] | None
Margins = tuple[int, int, int, int]  # left, top, right, bottom
PAGE_MARGINS, SHEET_MARGINS = (20, 14, 20, 8), (18, 12, 18, 12)
DIALOG_MARGINS, INSIDE_MARGINS = (11, 11, 11, 11), (9, 9, 9, 9)
_Box = TypeVar("_Box", bound=QBoxLayout)


class Flow(QLayout):
    """Left to right, then down. `push()` sends what follows to the right end of the line while there is room.

    Where there is none, it begins a line of its own if that costs none.

    `add_last` adds what takes all that is left of its line.
    """

    def __init__(self, gap: int = 6) -> None:
        super().__init__()
        self._items: list[QLayoutItem] = []
        self._pushed: int | None = None
        self._last: QWidget | None = None
        self.setContentsMargins(0, 0, 0, 0)
        self.setSpacing(gap)

    def push(self) -> None:
        """What is added from here on stands at the right where all fits in one line."""
        self._pushed = len(self._items)

    def add_last(self, widget: QWidget) -> None:
        """Add the last widget, which is as wide as its line leaves room."""
        self.addWidget(widget)
        self._last = widget

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
        return self._arrange(inside, self._parted(inside), move=False) + margins.top() + margins.bottom()

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
        inside = rect.marginsRemoved(self.contentsMargins())
        self._arrange(inside, self._parted(inside), move=True)

    def _shown(self) -> list[QLayoutItem]:
        return [item for item in self._items if not item.isEmpty()]

    def _parted(self, rect: QRect) -> bool:
        """Whether what is pushed begins a line of its own."""
        return self._pushed is not None and self._arrange(rect, True, move=False) <= self._arrange(rect, False, False)

    def _arrange(self, rect: QRect, parted: bool, move: bool) -> int:
        gap, shown = self.spacing(), self._shown()
        spare = rect.width() - sum(_one_line(item).width() + gap for item in shown) + gap
        pushed = None if self._pushed is None else next((e for e in self._items[self._pushed :] if e in shown), None)
        x, y, line = rect.x(), rect.y(), 0
        row: list[tuple[QLayoutItem, int, int, int]] = []
        for item in shown:
            hint = _one_line(item)
            width = min(hint.width(), rect.width())
            height = item.heightForWidth(width) if item.hasHeightForWidth() else hint.height()
            if item is pushed:
                x += max(spare, 0)
            begins = parted and spare < 0 and item is pushed
            if x > rect.x() and (begins or x + width > rect.x() + rect.width()):
                self._place(row, y, line, move)
                x, y, line, row = rect.x(), y + line + gap, 0, []
            if item.widget() is not None and item.widget() is self._last:
                width = rect.x() + rect.width() - x
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


def flow_of(*widgets: QWidget, after: Sequence[QWidget] = (), gap: int = 6) -> Flow:
    """A flow of these. after: what stands at the right end of the line while there is room."""
    flow = Flow(gap)
    for widget in widgets:
        flow.addWidget(widget)
    if after:
        flow.push()
    for widget in after:
        flow.addWidget(widget)
    return flow


def labelled(words: str, control: QWidget) -> QWidget:
    """A control with its words before it, for a row of several; below them where both find no room in a line."""
    pair = QWidget()
    flow = flow_of(buddy_of(control, words), control)
    pair.setLayout(flow)
    return pair


def row_of(*parts: Part, gap: int | None = None) -> QHBoxLayout:
    """Parts beside one another. With a number: its share of the spare room; None: empty room."""
    return _filled(QHBoxLayout(), parts, (0, 0, 0, 0), gap)


def column_of(*parts: Part, gap: int | None = None) -> QVBoxLayout:
    """Parts below one another, as `row_of` has them."""
    return _filled(QVBoxLayout(), parts, (0, 0, 0, 0), gap)


def stack(holder: QWidget, *parts: Part, margins: Margins = (0, 0, 0, 0), gap: int | None = None) -> QVBoxLayout:
    """Lay parts out in a widget, below one another, as `row_of` has them."""
    return _filled(QVBoxLayout(holder), parts, margins, gap)


def _filled(box: _Box, parts: Sequence[Part], margins: Margins, gap: int | None) -> _Box:
    box.setContentsMargins(*margins)
    if gap is not None:
        box.setSpacing(gap)
    for each in parts:
        part, share = each if isinstance(each, tuple) else (each, 0)
        if part is None:
            box.addStretch(share or 1)
        elif isinstance(part, QWidget):
            box.addWidget(part, share)
        else:
            box.addLayout(part, share)
    return box


def turn(box: QBoxLayout, beside: bool) -> None:
    """Let parts stand beside one another, or below one another."""
    box.setDirection(QBoxLayout.Direction.LeftToRight if beside else QBoxLayout.Direction.TopToBottom)


def let_shrink(*widgets: QWidget) -> None:
    """Make them as high as there is room: a wish for height would make the page scroll where they could shrink."""
    for each in widgets:
        each.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)


def scrolled(*parts: Part, margins: Margins = PAGE_MARGINS, gap: int | None = None) -> Scrolled:
    """Parts below one another, as `row_of` has them, that scroll where they find no room."""
    inside = QWidget()
    stack(inside, *parts, margins=margins, gap=gap)
    return Scrolled(inside)


class Sheet(QFrame):
    """What lies on the ground of a page, with an outline."""

    def __init__(self, *parts: Part, margins: Margins = SHEET_MARGINS, gap: int | None = None) -> None:
        super().__init__()
        self.setProperty("class", "sheet")
        if parts:
            stack(self, *parts, margins=margins, gap=gap)


class Scrolled(QScrollArea):
    """Holds one widget with a layout.

    Qt asks wrapped labels for their height at their narrowest, and a page would scroll although all fits.
    measured: what is inside needs another height, `needed_height`.
    """

    measured = Signal()

    def __init__(self, inside: QWidget) -> None:
        super().__init__()
        self.inside = inside
        self.setWidgetResizable(True)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setWidget(inside)
        inside.installEventFilter(self)

    def takeWidget(self) -> QWidget:  # noqa: N802  Qt's name
        """What it held, without the height that it had to have in here."""
        taken = super().takeWidget()
        taken.setMinimumHeight(0)
        return taken

    def minimumSizeHint(self) -> QSize:  # noqa: N802
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
        if self.widget() is self.inside and self.needed_height != self.inside.minimumHeight():
            self.inside.setMinimumHeight(self.needed_height)
            self.measured.emit()

    @property
    def needed_height(self) -> int:
        """How high its widget has to be at this width, in pixels."""
        layout = self.inside.layout()
        if layout is None:
            return 0
        if not layout.hasHeightForWidth():
            return layout.minimumSize().height()
        return layout.totalMinimumHeightForWidth(max(self.viewport().width(), layout.minimumSize().width()))


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
        before = buddy_of(named(control, words, tip), words)
        before.setWordWrap(True)
        control.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self._rows.append((before, control))
        self._controls.append(control)

    def below(self, what: QWidget | Flow, words: str = "") -> None:
        """Something as wide as there is room, in line with the controls."""
        if isinstance(what, QLayout):
            holder = QWidget()
            stack(holder, what)
            what = holder
        self._rows.append((QLabel(words), what))

    def fit(self, width: int) -> None:
        """Arrange for this width; call it when the width or the text size changed."""
        px = self.context.theme.px
        stacked = width < px(600)
        beside = px(280 if width >= px(760) else 210)
        for control in self._controls:
            control.setFixedWidth(min(px(320), width))
        for place, (before, _) in enumerate(self._rows):
            # Words above a control stand nearer to it than to the control before.
            before.setContentsMargins(0, px(8) if stacked and place else 0, 0, 0)
            before.setMinimumWidth(0 if stacked else beside)
            before.setMaximumWidth(width if stacked else beside)
            # No words before something: their line would hold room open where that something is hidden.
            before.setVisible(bool(before.text()))
        self._grid.setColumnMinimumWidth(0, 0 if stacked else beside)
        self._grid.setVerticalSpacing(px(3 if stacked else 9))
        if stacked == self._stacked:
            return
        self._stacked = stacked
        for place, (before, what) in enumerate(self._rows):
            self._grid.removeWidget(before)
            self._grid.removeWidget(what)
            self._grid.addWidget(before, 2 * place, 0, 1, 3 if stacked else 1)
            row, column = 2 * place + stacked, 0 if stacked else 1
            if what in self._controls:
                self._grid.addWidget(what, row, column, Qt.AlignmentFlag.AlignLeft)
            else:
                self._grid.addWidget(what, row, column, 1, 3 - column)
        self._grid.setColumnStretch(2, 1)


class FormDialog(QDialog):
    """keep: called on "Save"; where it raises DawnbeatError the dialog stays open and says it."""

    def __init__(
        self, context: AppContext, title: str, keep: Callable[[], object], parent: QWidget, height: int = 600
    ) -> None:
        """height: in pixels where text has its usual size."""
        super().__init__(parent)
        self.context = context
        self._keep = keep
        self.setWindowTitle(title)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.rows = QFormLayout()
        self.rows.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        self.rows.setHorizontalSpacing(18)
        self.rows.setVerticalSpacing(8)
        self._words = QVBoxLayout()
        self.trouble = label("", "What is wrong")
        self.trouble.hide()
        buttons = QDialogButtonBox()
        self.keep_button = buttons.addButton("&Save", QDialogButtonBox.ButtonRole.AcceptRole)
        buttons.addButton("Cancel", QDialogButtonBox.ButtonRole.RejectRole)
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        inside = scrolled(self.rows, self._words, None, margins=INSIDE_MARGINS)
        stack(self, (inside, 1), self.trouble, buttons, margins=DIALOG_MARGINS)
        fit_dialog(self, context, parent, 680, height)

    def row(self, words: str, control: QWidget, tip: str) -> None:
        """A control with its label, its name for screen readers, and its tooltip."""
        if isinstance(control, ComboBox):
            control.narrow(14)  # long answers must not make the form wider than the dialog
        self.rows.addRow(buddy_of(named(control, words, tip), words), control)
        if self.rows.rowCount() == 1:
            control.setFocus()

    def say(self, text: str, style: str = "small") -> QLabel:
        """Words below the rows."""
        said = label(style, "", text)
        self._words.addWidget(said)
        return said

    def accept(self) -> None:
        """Save, or say why not."""
        try:
            self._keep()
        except DawnbeatError as error:
            self.trouble.setText(f"Not saved: {error}")
            self.trouble.show()
            return
        super().accept()


def fit_dialog(dialog: QDialog, context: AppContext, parent: QWidget, width: int, height: int) -> None:
    """Make a dialog as large as its words want at their size, and no larger than the window below it."""
    px, room = context.theme.px, parent.window().size()
    dialog.resize(min(px(width), room.width()), min(px(height), room.height()))


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
