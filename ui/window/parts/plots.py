"""One kind of plot for window and terminal: axes with units, the theme, keys, values under the pointer, pictures.

pyqtgraph has no types, so its objects are Any here, and nothing of it is subclassed.
"""

from __future__ import annotations

import functools
import math
import weakref
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QEvent, QObject, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QContextMenuEvent,
    QFontMetricsF,
    QKeyEvent,
    QKeySequence,
    QPainter,
    QPen,
    QResizeEvent,
    QWheelEvent,
)
from PySide6.QtWidgets import QApplication, QMenu, QToolButton, QVBoxLayout, QWidget

from dawnbeat.shared.trace import FloatArray
from dawnbeat.shared.wording import DAY_S, Tick
from dawnbeat.ui.window.parts import controls, drawing, saving
from dawnbeat.ui.window.parts.controls import Key
from dawnbeat.ui.window.parts.drawing import NUMBERS, Band, Ink, Level, Numbers, Scale, across, close_up, upwards
from dawnbeat.ui.window.parts.saving import Figure, Part, Says
from dawnbeat.ui.window.parts.theme import FRAME_PX, LIGHT, Theme, Themed

pg.setConfigOptions(antialias=True, useOpenGL=False)

KEYS = (
    Key("Left", "Move along; Up and Down move too where the plot lets them", "a plot"),
    Key("+", "Zoom in, as Ctrl with the wheel does", "a plot"),
    Key("-", "Zoom out", "a plot"),
    Key("Home", "Show all", "a plot"),
    Key("Shift+Right", "Read the next point, Shift+Left the one before", "a plot"),
    Key("P", "Save the picture, Ctrl+C copies it", "a plot"),
)
KEYS_IN_WORDS = (
    "Arrow keys move, + and - zoom, as the wheel does with Ctrl, Home shows all, Shift with an arrow key reads the "
    "points, P saves the picture."
)


_LABEL_HANGS_PX, _LABEL_MARGIN_PX = 5, 4  # pyqtgraph lets the label hang out, and Qt's text has a margin around it
_MARGIN = 0.025  # of the data's length: half a dot in large text on a small screen
_SPARE = 0.06  # how much of the data's length may lie empty at either end
_CLOSEST = 1e-4  # of all data: as far as it can be zoomed in
_CLOSEST_DAYS = 3  # where x are days, so that a point and a date stay in view


class Look(Themed, Says, Protocol):
    """What a plot is dressed by and speaks to: the window's context, or a Still where there is no window."""


class Plot(QWidget):
    """A plot in the program's own dress.

    canvas: pyqtgraph's PlotWidget; item: its PlotItem; for anything beyond the helpers here.
    pointed: x and y under the pointer, or NaN where it left. pressed: x and y of a click.
    stepped: +1 or -1, the next or previous point is wanted by key. viewed: the visible range changed.
    """

    pointed = Signal(float, float)
    pressed = Signal(float, float)
    stepped = Signal(int)
    viewed = Signal()

    def __init__(
        self,
        context: Look,
        name: str,
        x: tuple[str, str],
        y: tuple[str, str],
        dates: bool = False,
        move_y: bool = True,
    ) -> None:
        """name: what it shows, for screen readers and file names. x, y: label and unit of each axis."""
        super().__init__()
        self.context = context
        self.name = name
        self.right: list[Tick] = []  # what is written at the right
        self.legend = ""  # what marks and lines mean, for saved pictures
        self._on_paper: Theme | None = None  # while a picture is drawn
        self._axes = {"bottom": x, "left": y}
        self._named: dict[str, tuple[str, dict[str, str]]] = {}
        self._hidden_x = x
        self._restyle: list[Callable[[], None]] = []
        self._marks: list[Any] = []
        self._move_y = move_y
        self._home: Callable[[], None] | None = None
        self._dates = dates
        # No menu of the library's own: it would be in other words, and takes longer to make than the plot.
        self.canvas: Any = pg.PlotWidget(enableMenu=False)
        self.item: Any = self.canvas.getPlotItem()
        self.box: Any = self.item.getViewBox()
        self.item.hideButtons()
        self.box.setMouseEnabled(x=True, y=move_y)
        for side in ("bottom", "left"):
            # "kbpm" and "mms" help nobody; units stay as they are written.
            self.item.getAxis(side).enableAutoSIPrefix(False)
        # Weak, since an axis that held its plot would outlive it.
        self._theme_now = functools.partial(_theme_of, weakref.ref(self))
        self._numbers: dict[str, Numbers] = {}
        for side, choose in (("bottom", across), ("left", upwards)):
            axis = self.item.getAxis(side)
            axis.setStyle(maxTextLevel=0)
            self._numbers[side] = Numbers(axis, self._theme_now, choose)
        if dates:
            self.number("bottom", drawing.dates)
        # A value at the very edge would be cut in half.
        self.item.getAxis("left").setStyle(hideOverlappingLabels=True)
        self.readout = controls.label("soft", f"{name}: value", " ", wraps=False)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(0)
        layout.addWidget(self.readout)
        layout.addWidget(self.canvas, 1)
        self.canvas.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.canvas.setAccessibleName(name)
        self.canvas.setAccessibleDescription(KEYS_IN_WORDS)
        self.canvas.installEventFilter(self)
        self.canvas.viewport().installEventFilter(self)
        self.item.scene().sigMouseMoved.connect(self._moved)
        self.item.scene().sigMouseClicked.connect(self._clicked)
        self.home_button = QToolButton(self.canvas)
        self.home_button.setText("Show all")
        self.home_button.setToolTip("Back to everything (Home)")
        self.home_button.setAccessibleName(f"{name}: show all")
        self.home_button.clicked.connect(self.show_all)
        self.home_button.hide()
        self.box.sigXRangeChanged.connect(self._range_changed)
        self.box.sigRangeChangedManually.connect(lambda *_: self._strayed())
        self.box.sigResized.connect(lambda *_: self._name_axes())
        controls.register(*KEYS)
        self._restyle.append(self._dress)
        context.theme_changed.connect(self._retheme)
        self._dress()

    @property
    def theme(self) -> Theme:
        """The inks and sizes that everything is drawn with now."""
        return self.context.theme if self._on_paper is None else self._on_paper

    # Drawing

    def line(self, ink: Ink, x: Any = (), y: Any = (), **more: Any) -> Any:
        """A curve that is clipped to the view and thinned where points are denser than pixels.

        Set its data with `setData(x, y)`; NaN breaks it.
        """
        curve = pg.PlotDataItem(connect=more.pop("connect", "finite"), **more)
        curve.setClipToView(True)
        curve.setDownsampling(auto=True, method="peak")
        if ink.alpha == 255 and not ink.dash:
            # Opaque lines drawn piece by piece look the same and pan three times as fast.
            curve.curve.setSegmentedLineMode("on")
        self.item.addItem(curve)
        self._styled(lambda: curve.setPen(self.pen(ink)))
        if len(x):
            curve.setData(_array(x), _array(y))  # only now does the curve know what view to be clipped to
        return curve

    def strokes(self, ink: Ink) -> Any:
        """Separate strokes, two points each, as error bars are. Not clipped: give what is in view."""
        return self._penned(pg.PlotCurveItem(connect="pairs", antialias=False), ink)

    def dots(self, ink: Ink, symbol: str = "o", size: float = 7.0, filled: bool = True, name: str = "") -> Any:
        """Points of one shape; set them with `setData(x, y)`."""
        points = pg.ScatterPlotItem(symbol=symbol, size=self.theme.px(size), pxMode=True, name=name)
        self.item.addItem(points)

        def dress() -> None:
            points.setSize(self.theme.px(size))
            points.setPen(self.pen(ink))
            points.setBrush(pg.mkBrush(self.theme.colour(ink.colour if filled else "sheet", ink.alpha)))

        self._styled(dress)
        return points

    def band(self, ink: Ink) -> Band:
        """A shaded band between two curves; it lies behind everything and does not stretch the view."""
        band = Band()
        self.item.addItem(band, ignoreBounds=True)
        band.setZValue(-20)
        self._styled(lambda: band.setBrush(self.theme.colour(ink.colour, ink.alpha)))
        return band

    def upright(self, ink: Ink, at: float = 0.0, movable: bool = False) -> Any:
        """A line from top to bottom at x."""
        return self._penned(pg.InfiniteLine(pos=at, angle=90, movable=movable), ink)

    def level(self, ink: Ink, at: float = 0.0) -> Any:
        """A line from side to side at y."""
        self._marks.append(self._penned(pg.InfiniteLine(pos=at, angle=0), ink))
        return self._marks[-1]

    def words(self, ink: Ink, text: str = "", anchor: tuple[float, float] = (0.5, 0.5), times: float = 1.0) -> Any:
        """Words inside the plot; place them with `setPos(x, y)`. times: how large, against running text."""
        label = pg.TextItem(text, anchor=anchor)
        label.textItem.document().setDocumentMargin(1.0)
        label.setZValue(20)
        self.item.addItem(label, ignoreBounds=True)

        def dress() -> None:
            label.fill = pg.mkBrush(self.theme.colour("sheet"))  # so that no line crosses them
            label.setColor(self.theme.colour(ink.colour, ink.alpha))
            label.setFont(self.theme.font(times))

        self._styled(dress)
        return label

    def pen(self, ink: Ink) -> QPen:
        """A pen of the present theme; its width stays the same however far the view is zoomed."""
        pen = QPen(self.theme.colour(ink.colour, ink.alpha), ink.width * self.theme.thickness)
        pen.setCosmetic(True)
        if ink.dash:
            pen.setDashPattern([4.0, 3.0])
        return pen

    def _penned(self, drawn: Any, ink: Ink) -> Any:
        """Add what is drawn with a pen and does not stretch the view."""
        self.item.addItem(drawn, ignoreBounds=True)
        self._styled(lambda: drawn.setPen(self.pen(ink)))
        return drawn

    def _styled(self, dress: Callable[[], None]) -> None:
        self._restyle.append(dress)
        dress()

    def _retheme(self, _theme: object) -> None:
        for dress in self._restyle:
            dress()

    def _dress(self) -> None:
        theme = self.theme
        self.canvas.setBackground(theme.colour("sheet"))
        for side in self._axes:
            axis = self.item.getAxis(side)
            axis.setPen(self.pen(Ink("line", width=1.0)))
            axis.setTextPen(theme.colour("soft"))
            axis.setTickFont(theme.font(NUMBERS))
            axis.setStyle(tickLength=-theme.px(4))
        self._name_axes()
        self.item.getAxis("left").setWidth(theme.px(64))
        bottom = self.item.getAxis("bottom")
        high, gap = QFontMetricsF(theme.font(NUMBERS)).height(), theme.px(2)
        numbers_px = bottom.style["tickTextOffset"][1] + high + gap
        named_px = high + gap + _LABEL_MARGIN_PX - _LABEL_HANGS_PX if any(self._axes["bottom"]) else 0
        bottom.setHeight(round(numbers_px + named_px) if bottom.style["showValues"] else 2)
        # pyqtgraph lays out as though the canvas had no frame, which would cover what lies at the right and at the
        # foot; and it lets the label below hang out by five pixels.
        frame = 2 * FRAME_PX
        hangs = _LABEL_HANGS_PX if any(self._axes["bottom"]) else 0
        self.item.layout.setContentsMargins(1, 1, 1 + frame, 1 + hangs + frame)

    def _name_axes(self) -> None:
        """Label and unit of each axis, or the unit alone where there is no room for both."""
        theme = self.theme
        letters = QFontMetricsF(theme.font(NUMBERS))
        for side, along_px in (("bottom", self.box.width()), ("left", self.box.height())):
            label, unit = self._axes[side]
            words = ", ".join(each for each in (label, unit) if each)
            name = unit if unit and letters.horizontalAdvance(words) > along_px else words
            look = {"color": theme.inks.soft, "font-size": f"{theme.pt(NUMBERS)}pt"}
            if self._named.get(side) != (name, look):
                self._named[side] = name, look
                self.item.getAxis(side).setLabel(name, **look)

    def name_axis(self, side: str, label: str, unit: str) -> None:
        """Give the axis at the "bottom" or the "left" another label and unit."""
        self._axes[side] = (label, unit)
        self._dress()

    def number(self, side: str, scale: Scale) -> None:
        """Write other numbers than round values at the "bottom" or the "left"."""
        self._numbers[side].scale = scale
        self.item.getAxis(side).setTicks(None)

    def hide_x_values(self, alone: tuple[str, str] = ("", "")) -> None:
        """Leave the values of x to the plot below that shares them. alone: label and unit in a picture without it."""
        self._hidden_x = alone
        self.item.getAxis("bottom").setStyle(showValues=False)
        self._dress()

    def mark_right(self, ink: Ink, marks: list[Tick]) -> None:
        """Write values at the right, outside of what is drawn, as many as don't touch.

        marks: y and the words beside it, from foot to top; none, no axis.
        """
        axis, self.right = self.item.getAxis("right"), sorted(marks)
        if "right" not in self._numbers:
            axis.setStyle(maxTextLevel=0)
            self._numbers["right"] = Numbers(axis, self._theme_now, close_up)
            self._numbers["right"].scale = lambda _low, _high: iter([Level(self.right, 0.0)])
            self._styled(lambda: self._dress_right(axis, ink))
        self.item.showAxis("right", bool(marks))
        self._dress_right(axis, ink)

    def _dress_right(self, axis: Any, ink: Ink) -> None:
        axis.setPen(self.pen(Ink("line", width=1.0)))
        axis.setTextPen(self.theme.colour(ink.colour, ink.alpha))
        axis.setTickFont(self.theme.font(NUMBERS))
        axis.setStyle(tickLength=0)
        letters = QFontMetricsF(self.theme.font(NUMBERS))
        longest_px = max((letters.horizontalAdvance(words) for _, words in self.right), default=0.0)
        axis.setWidth(longest_px + self.theme.px(10) if self.right else 0)

    def know(self, known: bool) -> None:
        """Whether there is anything to draw: an axis of nothing would only invent numbers."""
        for side in ("bottom", "left"):
            self.item.getAxis(side).setOpacity(1.0 if known else 0.0)
        for mark in self._marks:
            mark.setOpacity(1.0 if known else 0.0)

    # Looking around

    def show_x(self, low: float, high: float) -> None:
        """Show this stretch of x."""
        self.box.setXRange(low, high, padding=0)

    def show_data(self, low: float, high: float) -> None:
        """Show this stretch of x with room for the mark of a point at either end."""
        margin = _MARGIN * max(high - low, 1e-9)
        self.show_x(low - margin, high + margin)

    def bring_into_view(self, at: float) -> None:
        """Move along x, without zooming, where `at` is out of view."""
        low, high = self.visible_x()
        if not low < at < high:
            self.show_x(at - (high - low) / 2, at + (high - low) / 2)

    def when_home(self, home: Callable[[], None]) -> None:
        """What Home does instead of fitting everything."""
        self._home = home

    def show_all(self) -> None:
        """Show everything there is."""
        self.home_button.hide()
        if self._home is not None:
            self._home()
        else:
            self.box.autoRange()

    def follow_x(self, other: Plot) -> None:
        """Share the x axis with another plot."""
        self.item.setXLink(other.item)

    def zoom(self, factor: float, at: float | None = None) -> None:
        """Show `factor` times as much of x, around the middle or around `at`; never more than there is."""
        self.box.scaleBy(x=factor, center=None if at is None else (at, 0.0))
        self._strayed()

    def _strayed(self) -> None:
        """After moving by hand: keep to the data, and show the way back."""
        bounds = self.box.childrenBounds()
        for axis, bound in enumerate(bounds if self._move_y else bounds[:1]):
            if bound is None or not all(math.isfinite(each) for each in bound):
                continue
            low, high = self.box.viewRange()[axis]
            length, centre = bound[1] - bound[0], (bound[0] + bound[1]) / 2
            # One point alone has no length; some room around it stays in view.
            closest = _CLOSEST_DAYS * DAY_S if self._dates and axis == 0 else _CLOSEST * length or 1.0
            whole = max((1 + 2 * _SPARE) * length, closest)
            first, last = centre - whole / 2, centre + whole / 2
            wide = min(max(high - low, closest), whole)
            middle = min(max((low + high) / 2, first + wide / 2), last - wide / 2)
            if abs(low - (middle - wide / 2)) + abs(high - (middle + wide / 2)) > 1e-9 * wide:
                show = self.box.setYRange if axis else self.box.setXRange
                show(middle - wide / 2, middle + wide / 2, padding=0)
        self.home_button.adjustSize()
        self.home_button.move(self.canvas.width() - self.home_button.width() - 4, 2)
        self.home_button.show()

    def visible_x(self) -> tuple[float, float]:
        """The stretch of x in view."""
        low, high = self.box.viewRange()[0]
        return float(low), float(high)

    def _range_changed(self, *_: object) -> None:
        self.viewed.emit()

    def _moved(self, at: QPointF) -> None:
        if self.box.sceneBoundingRect().contains(at):
            point = self.box.mapSceneToView(at)
            self.pointed.emit(point.x(), point.y())
        else:
            self.pointed.emit(float("nan"), float("nan"))

    def _clicked(self, event: Any) -> None:
        if event.button() == Qt.MouseButton.LeftButton and self.box.sceneBoundingRect().contains(event.scenePos()):
            point = self.box.mapSceneToView(event.scenePos())
            self.pressed.emit(point.x(), point.y())

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802  Qt's name
        """Keys, wheel and menu of the canvas. The wheel scrolls the page, and zooms only with Ctrl."""
        if isinstance(event, QWheelEvent):
            if not event.modifiers() & Qt.KeyboardModifier.ControlModifier:
                event.ignore()
                return True
            if watched is self.canvas.viewport():
                at = self.box.mapSceneToView(self.canvas.mapToScene(event.position().toPoint()))
                self.zoom(0.8 ** (event.angleDelta().y() / 120.0), at.x())
            event.accept()
            return True
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress:
            return self._key(event)
        if isinstance(event, QContextMenuEvent):
            menu = QMenu(self)
            menu.addAction("Save picture… (P)", self.save_picture)
            menu.addAction(f"Copy ({controls.shown('Ctrl+C')})", self.copy_picture)
            menu.addAction("Print…", self.print_picture)
            menu.addAction("Show all (Home)", self.show_all)
            menu.popup(event.globalPos())
            return True
        if event.type() == QEvent.Type.Leave:
            self.pointed.emit(float("nan"), float("nan"))
        return False

    def _key(self, event: QKeyEvent) -> bool:
        key = event.key()
        sideways = (key == Qt.Key.Key_Right) - (key == Qt.Key.Key_Left)
        up = (key == Qt.Key.Key_Up) - (key == Qt.Key.Key_Down)
        if sideways and event.modifiers() & Qt.KeyboardModifier.ShiftModifier:
            self.stepped.emit(sideways)
        elif sideways or (up and self._move_y):
            wide, tall = (high - low for low, high in self.box.viewRange())
            # An axis that is not moved goes on fitting itself, so it gets None and not 0.
            self.box.translateBy(x=sideways * wide / 8 if sideways else None, y=up * tall / 8 if up else None)
            self._strayed()
        elif key in (Qt.Key.Key_Plus, Qt.Key.Key_Equal):
            self.zoom(0.8)
        elif key == Qt.Key.Key_Minus:
            self.zoom(1.25)
        elif key == Qt.Key.Key_Home:
            self.show_all()
        elif key == Qt.Key.Key_P and not event.modifiers():
            self.save_picture()
        elif event.matches(QKeySequence.StandardKey.Copy):
            self.copy_picture()
        else:
            return False
        return True

    # Pictures

    def paint_on(self, painter: QPainter, rect: QRectF, scale: float) -> None:
        """Draw the present view on paper. scale: how many times larger than on the screen at 100 %."""
        before = self.canvas.size()
        self._on_paper = Theme(LIGHT, 100, scale)
        self.canvas.setUpdatesEnabled(False)
        quiet = self.blockSignals(True)
        view = self.box.viewRange()
        # Plots that share their x would be moved along, each by as much as its own size asks for.
        leader = self.box.linkedView(self.box.XAxis)
        self.box.setXLink(None)
        try:
            self._retheme(None)
            self._resize_canvas(rect.size().toSize())
            self.box.setRange(xRange=view[0], yRange=view[1], padding=0)
            self._range_changed()
            self.item.layout.activate()
            self._for_export(True)
            self.item.scene().render(painter, rect, QRectF(self.canvas.viewport().rect()))
        finally:
            self._on_paper = None
            self._for_export(False)
            self._retheme(None)
            self._resize_canvas(before)
            self.box.setRange(xRange=view[0], yRange=view[1], padding=0)
            self.box.setXLink(leader)
            self.blockSignals(quiet)
            self._range_changed()
            self.canvas.setUpdatesEnabled(True)

    def _resize_canvas(self, size: QSize) -> None:
        before = self.canvas.size()
        self.canvas.resize(size)
        if not self.canvas.isVisible():
            # Qt lays out only what is shown, unless it is told to.
            for each in (self.canvas, self.canvas.viewport()):
                QApplication.sendEvent(each, QResizeEvent(each.size(), before))

    def _for_export(self, on: bool) -> None:
        """Dots as shapes rather than as pictures of shapes."""
        for item in self.item.scene().items():
            if isinstance(item, pg.ScatterPlotItem):
                item.setExportMode(on, {"antialias": True, "resolutionScale": 1.0})

    @property
    def picture(self) -> Figure:
        """This plot alone, with its name, its legend and the values of x."""
        return Figure(self.name, (Part(_Alone(self), legend=self.legend),))

    def paint_alone(self, painter: QPainter, rect: QRectF, scale: float) -> None:
        """As paint_on, with the values of x, which on the screen the plot below may show."""
        bottom = self.item.getAxis("bottom")
        numbered, named = bottom.style["showValues"], self._axes["bottom"]
        try:
            if not numbered:
                bottom.setStyle(showValues=True)
                self._axes["bottom"] = self._hidden_x
            self.paint_on(painter, rect, scale)
        finally:
            bottom.setStyle(showValues=numbered)
            self._axes["bottom"] = named
            self._dress()

    def save_picture(self) -> None:
        """Ask for a name and save the plot as PNG, SVG or PDF."""
        saving.save_picture(self.context, self, self.picture)

    def copy_picture(self) -> None:
        """Put the plot on the clipboard."""
        saving.copy_picture(self.context, self.picture)

    def print_picture(self) -> None:
        """Print the plot."""
        saving.print_picture(self.context, self, self.picture)


def _theme_of(plot: Callable[[], Plot | None]) -> Theme | None:
    drawn = plot()
    return None if drawn is None else drawn.theme


@dataclass(frozen=True)
class _Alone:
    """A plot that no other stands below."""

    plot: Plot

    def paint_on(self, painter: QPainter, rect: QRectF, scale: float) -> None:
        """Draw it with the values of x."""
        self.plot.paint_alone(painter, rect, scale)


def _array(values: Any) -> FloatArray:
    return np.asarray(values, dtype=np.float64)
