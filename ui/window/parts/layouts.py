"""Layouts that give way: controls that wrap as words do, and pages that scroll only where they must."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, QPoint, QRect, QSize, Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QLayout, QLayoutItem, QScrollArea, QWidget


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
        return self._arrange(QRect(0, 0, width, 0), move=False)

    def minimumSize(self) -> QSize:  # noqa: N802, D102
        size = QSize(0, 0)
        for item in self._shown():
            size = size.expandedTo(item.minimumSize())
        return size

    def sizeHint(self) -> QSize:  # noqa: N802, D102
        widths = [item.sizeHint().width() + self.spacing() for item in self._shown()]
        return QSize(sum(widths), self.minimumSize().height())

    def setGeometry(self, rect: QRect) -> None:  # noqa: N802, D102
        super().setGeometry(rect)
        self._arrange(rect, move=True)

    def _shown(self) -> list[QLayoutItem]:
        return [item for item in self._items if not item.isEmpty()]

    def _arrange(self, rect: QRect, move: bool) -> int:
        gap, shown = self.spacing(), self._shown()
        spare = rect.width() - sum(item.sizeHint().width() + gap for item in shown) + gap
        pushed = None if self._pushed is None or spare < 0 else self._items[self._pushed]
        x, y, line = rect.x(), rect.y(), 0
        row: list[tuple[QLayoutItem, int, int, int]] = []
        for item in shown:
            hint = item.sizeHint()
            width = min(hint.width(), rect.width())
            if item is pushed:
                x += spare
            if x > rect.x() and x + width > rect.x() + rect.width():
                self._place(row, y, line, move)
                x, y, line, row = rect.x(), y + line + gap, 0, []
            row.append((item, x, width, hint.height()))
            x, line = x + width + gap, max(line, hint.height())
        self._place(row, y, line, move)
        return y + line - rect.y()

    @staticmethod
    def _place(row: list[tuple[QLayoutItem, int, int, int]], y: int, line: int, move: bool) -> None:
        """Set the items of one line, each in the middle of its height."""
        if move:
            for item, x, width, height in row:
                item.setGeometry(QRect(QPoint(x, y + (line - height) // 2), QSize(width, height)))


def flow_of(*widgets: QWidget) -> Flow:
    """A flow of these."""
    flow = Flow()
    for widget in widgets:
        flow.addWidget(widget)
    return flow


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
