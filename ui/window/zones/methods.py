"""The methods side by side: one picture, one table, and how far they differ."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, QSizeF, Qt
from PySide6.QtGui import QFont, QFontMetricsF, QHelpEvent, QKeyEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QToolTip, QWidget

from dawnbeat.training.zones import METHODS, SAME_EFFORT, TALK_TEST, Compared, Zone, apart_words
from dawnbeat.ui.window.parts import controls, saving
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import Key, label
from dawnbeat.ui.window.parts.layouts import stack
from dawnbeat.ui.window.parts.saving import PART_HEIGHT, Figure, Part
from dawnbeat.ui.window.parts.tables import plain_table, write_rows
from dawnbeat.ui.window.parts.theme import LIGHT, Painted, Theme, arrow_head, paint_label, paint_zone

_PITCH = 2.5  # lines of text from one method to the next
_PICTURE = Key("P", "Save the picture of the methods, when it has the focus", "Zones")


class ZonesPicture(Painted):
    """Rows of zones on one axis. Nothing is told by colour."""

    context: AppContext

    def __init__(self, context: AppContext) -> None:
        super().__init__(context, "The methods side by side on one pulse axis")
        self.compared: Sequence[Compared] = ()
        self._on_paper: Theme | None = None
        self._places: list[tuple[QRectF, str]] = []
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        controls.register(_PICTURE)

    def show_methods(self, compared: Sequence[Compared]) -> None:
        """Draw these."""
        self.compared = compared
        self.setAccessibleDescription(f"{self.words()} P saves the picture.")
        self.updateGeometry()
        self.update()

    def words(self) -> str:
        """What the picture shows, in words."""
        found = [each for each in self.compared if each.zones is not None]
        if not found:
            return "Nothing to draw yet."
        rows = (f"{each.method}: easy up to {each.zones.top_of_easy_bpm} bpm" for each in found if each.zones)
        return f"{'; '.join(rows)}. {apart_words(self.compared)}"

    def sizeHint(self) -> QSize:  # noqa: N802, D102  Qt's name
        line = QFontMetricsF(self._font()).height()
        return QSize(round(30 * line), round((4.1 + _PITCH * max(len(self.compared), 1)) * line))

    def minimumSizeHint(self) -> QSize:  # noqa: N802, D102
        return QSize(round(14 * QFontMetricsF(self._font()).height()), self.sizeHint().height())

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802, D102
        if event.key() == Qt.Key.Key_P and not event.modifiers():
            self.save_picture()
        else:
            super().keyPressEvent(event)

    @property
    def theme(self) -> Theme:
        """The inks and sizes that it is drawn with now."""
        return self.context.theme if self._on_paper is None else self._on_paper

    @property
    def picture(self) -> Figure:
        """This picture with its legend, for print."""
        height = self.sizeHint().height() / PART_HEIGHT * 100 / self.context.theme.text_percent
        return Figure("zones", (Part(self, height, legend=_LEGEND),), self.words())

    def paint_on(self, painter: QPainter, rect: QRectF, scale: float) -> None:
        """Draw it on paper."""
        self._on_paper = Theme(LIGHT, 100, scale)
        painter.translate(rect.topLeft())
        try:
            self._paint(painter, rect.size())
        finally:
            self._on_paper = None

    def save_picture(self) -> None:
        """Ask for a name and save the picture as PNG, SVG or PDF."""
        saving.save_picture(self.context, self, self.picture)

    def event(self, event: QEvent) -> bool:
        """Name the zone under the pointer."""
        if isinstance(event, QHelpEvent) and event.type() == QEvent.Type.ToolTip:
            said = next((words for rect, words in self._places if rect.contains(QPointF(event.pos()))), "")
            QToolTip.showText(event.globalPos(), said, self)
            return True
        return super().event(event)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, D102
        painter = QPainter(self)
        theme = self.theme
        painter.fillRect(self.rect(), theme.colour("sheet"))
        painter.setPen(QPen(theme.colour("accent" if self.hasFocus() else "line"), 2 if self.hasFocus() else 1))
        painter.drawRect(QRectF(self.rect()).adjusted(1, 1, -1, -1))
        self._paint(painter, QSizeF(self.size()))

    def _paint(self, painter: QPainter, size: QSizeF) -> None:
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setFont(self._font())
        theme, metrics = self.theme, QFontMetricsF(painter.font())
        line, width = metrics.height(), size.width()
        found = [each for each in self.compared if each.zones is not None]
        self._places = []
        if not found:
            painter.setPen(theme.colour("soft"))
            painter.drawText(QRectF(QPointF(0, 0), size), Qt.AlignmentFlag.AlignCenter, self.words())
            return
        names = max(metrics.horizontalAdvance(each.method) for each in self.compared) + 1.2 * line
        beside = width > names + 20 * line
        left, right = (names if beside else 0.6 * line), width - 0.8 * line
        low, high = _span(found)

        def at(bpm: float) -> float:
            return left + (bpm - low) / (high - low) * (right - left)

        # The top of easy of the first method goes down through all rows, so that the others stand against it.
        first = next(each.zones.top_of_easy_bpm for each in found if each.zones is not None)
        top = 1.5 * line
        foot = top + _PITCH * line * len(self.compared)
        painter.setPen(QPen(theme.colour("accent"), 1.2 * theme.thickness, Qt.PenStyle.DashLine))
        painter.drawLine(QPointF(at(first + 0.5), 0.4 * line), QPointF(at(first + 0.5), foot))
        for row, each in enumerate(self.compared):
            self._row(painter, each, top + _PITCH * line * row, line, left if beside else None, at, (low, high))
        self._axis(painter, foot, line, at, (low, high), width)

    def _row(
        self,
        painter: QPainter,
        each: Compared,
        y: float,
        line: float,
        names: float | None,
        at: Callable[[float], float],
        ends: tuple[float, float],
    ) -> None:
        theme = self.theme
        painter.setPen(theme.colour("ink"))
        bar = QRectF(at(ends[0]), y, at(ends[1]) - at(ends[0]), 1.25 * line)
        if names is not None:
            place = QRectF(0.6 * line, y, names - line, bar.height())
            painter.drawText(place, Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, each.method)
        if each.zones is None:
            painter.setPen(theme.colour("soft"))
            said = f"needs {each.missing}" if names is not None else f"{each.method} needs {each.missing}"
            painter.drawText(bar, Qt.AlignmentFlag.AlignVCenter, said)
            return
        table, scheme = each.zones.table(), each.zones.scheme
        for zone in table:
            rect = _rect_of(zone, bar, at, ends)
            paint_zone(painter, rect, theme, zone.number, scheme.easy_top, each.zones.count)
            paint_label(painter, rect, theme, str(zone.number))
            said = f"{each.method}, {zone.name}: {zone.span_words} bpm; {zone.says}"
            self._places.append((rect, said))
        edge = at(each.zones.top_of_easy_bpm + 0.5)
        painter.setPen(QPen(theme.colour("accent"), 3 * theme.thickness))
        painter.drawLine(QPointF(edge, bar.top() - 0.15 * line), QPointF(edge, bar.bottom() + 0.15 * line))
        painter.setBrush(theme.colour("accent"))
        painter.drawPolygon(arrow_head(edge, bar.top() - 0.12 * line, 0.25 * line, -0.4 * line))
        words = f"{each.zones.top_of_easy_bpm}"
        if each.difference_bpm:
            words += f" ({each.difference_bpm:+d})"
        painter.setPen(theme.colour("ink"))
        place = QRectF(edge + 0.4 * line, bar.top() - 1.02 * line, 9 * line, line)
        painter.drawText(place, Qt.AlignmentFlag.AlignVCenter, words)
        if names is None:
            place = QRectF(bar.left(), bar.top() - 1.02 * line, edge - bar.left() - 0.5 * line, line)
            painter.drawText(place, Qt.AlignmentFlag.AlignVCenter, each.method)

    def _axis(
        self,
        painter: QPainter,
        y: float,
        line: float,
        at: Callable[[float], float],
        ends: tuple[float, float],
        width: float,
    ) -> None:
        theme = self.theme
        painter.setPen(QPen(theme.colour("line"), 1))
        painter.drawLine(QPointF(at(ends[0]), y), QPointF(at(ends[1]), y))
        step = 10 if at(10) - at(0) > 2.6 * line else 20
        bpm = math.ceil(ends[0] / step) * step
        while bpm <= ends[1]:
            painter.setPen(QPen(theme.colour("soft"), 1))
            painter.drawLine(QPointF(at(bpm), y), QPointF(at(bpm), y + 4))
            place = QRectF(at(bpm) - 2 * line, y + 4, 4 * line, line)
            if place.right() - line <= width:
                # The first may stand too near to the edge for half of its words.
                least = 0.5 * QFontMetricsF(painter.font()).horizontalAdvance(str(bpm)) + 0.15 * line
                place.moveCenter(QPointF(max(at(bpm), least), place.center().y()))
                painter.drawText(place, Qt.AlignmentFlag.AlignHCenter, str(bpm))
            bpm += step
        place = QRectF(at(ends[0]), y + 4 + 1.05 * line, at(ends[1]) - at(ends[0]), line)
        painter.drawText(place, Qt.AlignmentFlag.AlignRight, "Pulse, bpm")

    def _font(self) -> QFont:
        return self.theme.font(0.85)


def _rect_of(zone: Zone, bar: QRectF, at: Callable[[float], float], ends: tuple[float, float]) -> QRectF:
    low = ends[0] if zone.low_bpm is None else zone.low_bpm - 0.5
    high = ends[1] if zone.high_bpm is None else zone.high_bpm + 0.5
    return QRectF(at(low), bar.top(), max(at(high) - at(low), 0.0), bar.height())


def _span(found: Sequence[Compared]) -> tuple[float, float]:
    """The lowest and the highest pulse drawn: some way below the lowest boundary, up to the maximum."""
    tops = [top for each in found if each.zones is not None for top in each.zones.tops_bpm]
    maximum = next((each.zones.anchors.maximum_bpm for each in found if each.zones is not None), None)
    return 10 * math.floor((min(tops) - 15) / 10), max(maximum or 0, max(tops) + 10)


_HEADINGS = ("Method", "Top of easy", "Difference", "Boundaries, bpm", "Boundaries, %")
_LEGEND = (
    "Each row is a method; the numbers are the zones. The harder a zone, the denser its ink, and above the top of easy "
    "it is hatched. ▾ marks the top of easy, and the broken line is that of the first row."
)


class MethodsView(QWidget):
    """Shows what `compare` found."""

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.apart = label("", "How far the methods lie apart")
        self.picture = ZonesPicture(context)
        self.table = plain_table(_HEADINGS, "Methods side by side", most=len(METHODS))
        self.legend = label("small", "How to read the picture", _LEGEND)
        talk = label("small", "Talk test, and how the methods compare", f"{TALK_TEST} {SAME_EFFORT}")
        stack(self, self.apart, self.picture, self.legend, self.table, talk)

    def show_methods(self, compared: Sequence[Compared]) -> None:
        """Draw and list these."""
        known = any(row.zones is not None for row in compared)
        count = "With one method known" if known else "With no method known"
        self.apart.setText(apart_words(compared) or f"{count} there is nothing to compare yet.")
        self.picture.show_methods(compared)
        for widget in (self.picture, self.legend):
            widget.setVisible(known)
        rows = []
        for each in compared:
            if each.zones is None:
                rows.append((each.method, f"needs {each.missing}", "", "", ""))
                continue
            rows.append(
                (
                    each.method,
                    f"{each.zones.top_of_easy_bpm} bpm",
                    "" if not each.difference_bpm else f"{each.difference_bpm:+d} bpm",
                    " / ".join(str(top) for top in each.zones.tops_bpm),
                    " / ".join(f"{bound:g}" for bound in each.zones.scheme.boundaries_pct),
                )
            )
        write_rows(self.table, rows)
