"""A page that scrolls only where its wrapped words really need more room than there is."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, QSize, Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QScrollArea, QWidget


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
