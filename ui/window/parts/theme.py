"""The colours of the program (ink, paper, the blue-violet of the hour before sunrise), and them as a theme of Qt: style
sheet, fonts and lengths at any text size, and what is drawn by hand.

The window, saved pictures, reports and the icon take them from here. No state is told by a colour alone.

No zone has a colour of its own. Each is told by its place, its number and its density: the harder, the denser the ink;
what lies above the top of easy is hatched as well.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from PySide6.QtCore import QLineF, QObject, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QGuiApplication, QPainter, QPalette, QPen, QPolygonF
from PySide6.QtWidgets import QApplication, QWidget

from dawnbeat.shared.wording import unbroken

BASE_PT = 13.0
FRAME_PX = 2  # around a plot, seen while it has the focus
_WIDEST_GAP, _NARROWEST_GAP, _CLOSER = 11.0, 4.0, 0.68
_FAINTEST, _DENSEST = 20, 110


@dataclass(frozen=True)
class Inks:
    """The colours of one theme, as #rrggbb.

    paper: the ground. sheet: what lies on it. ink: words and lines. soft: words of less weight. line: what only
    separates. edge: the outline of what can be pressed, moved or typed into. wash: what is chosen.
    """

    paper: str
    sheet: str
    ink: str
    soft: str
    line: str
    edge: str
    accent: str
    on_accent: str
    wash: str
    dark: bool


LIGHT = Inks(
    paper="#f3f4f8",
    sheet="#fcfcfe",
    ink="#1d2030",
    soft="#535871",
    line="#cdd0de",
    edge="#7f849c",
    accent="#4b44ad",
    on_accent="#fbfbff",
    wash="#dfdff4",
    dark=False,
)
DARK = Inks(
    paper="#12141d",
    sheet="#1a1d29",
    ink="#e5e7f0",
    soft="#a4a9c0",
    line="#3b4056",
    edge="#747a98",
    accent="#a9a4f6",
    on_accent="#14132c",
    wash="#33335f",
    dark=True,
)


@dataclass(frozen=True)
class Theme:
    """Colours with a text size. text_percent: 100 to 200. thickness: of lines, and of all else, for print."""

    inks: Inks = LIGHT
    text_percent: int = 100
    thickness: float = 1.0

    def pt(self, times: float = 1.0) -> float:
        """A type size in points: 1 for running text, 3 for a figure to read at arm's length."""
        return BASE_PT * times * self.thickness * self.text_percent / 100

    def font(self, times: float = 1.0) -> QFont:
        """The program's letters at a size."""
        font = QFont(QGuiApplication.font())
        font.setPointSizeF(self.pt(times))
        return font

    def px(self, at_100: float) -> int:
        """A length in pixels that grows with the text."""
        return round(at_100 * self.thickness * self.text_percent / 100)

    def colour(self, name: str, alpha: int = 255) -> QColor:
        """One of the inks as a QColor, 0 to 255 opaque."""
        colour = QColor(getattr(self.inks, name))
        colour.setAlpha(alpha)
        return colour


class Themed(Protocol):
    """What something is dressed by: the window's context, or what stands for it where there is no window."""

    @property
    def theme(self) -> Theme:
        """Inks and text size."""
        ...

    @property
    def theme_changed(self) -> Any:
        """The signal that `theme` is another."""
        ...


class Still(QObject):
    """The look of pictures that are made without a window: ink on paper."""

    theme_changed = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self.theme = Theme(LIGHT)

    def say(self, sentence: str) -> None:
        """Nobody is there to read it."""


class Painted(QWidget):
    """A widget that draws itself in the theme's inks."""

    def __init__(self, context: Themed, name: str) -> None:
        """name: what it shows, for screen readers."""
        super().__init__()
        self.context = context
        self.setAccessibleName(name)
        context.theme_changed.connect(self._retheme)

    def painter(self) -> QPainter:
        """A painter whose edges are smooth; for paintEvent."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        return painter

    def sheet(self, painter: QPainter, room: QRectF | None = None) -> QRectF:
        """Draw the ground of a picture, all there is or this room of it, and return the room on it."""
        theme, room = self.context.theme, room or QRectF(self.rect()).adjusted(1, 1, -1, -1)
        painter.setPen(QPen(theme.colour("line"), 1))
        painter.setBrush(theme.colour("sheet"))
        painter.drawRoundedRect(room, 6, 6)
        return room

    def words_in(self, painter: QPainter, room: QRectF, words: str) -> None:
        """Words in the middle, where there is nothing to draw."""
        painter.setPen(self.context.theme.colour("soft"))
        painter.setFont(self.larger_font())
        painter.drawText(room, Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap, unbroken(words))

    def larger_font(self) -> QFont:
        """For words that are read from a little further away."""
        return self.context.theme.font(1.15)

    def _retheme(self, _theme: object) -> None:
        self.updateGeometry()
        self.update()


def inks_for(choice: str) -> Inks:
    """The inks of "light", "dark", or of what the system says now, which may turn with the sun itself."""
    if choice == "system":
        return DARK if QGuiApplication.styleHints().colorScheme() == Qt.ColorScheme.Dark else LIGHT
    return DARK if choice == "dark" else LIGHT


def apply(app: QApplication, theme: Theme) -> None:
    """Give the whole program this theme."""
    app.setFont(theme.font())
    app.setPalette(_palette(theme))
    app.setStyleSheet(style_sheet(theme))


def _palette(theme: Theme) -> QPalette:
    palette, role = QPalette(), QPalette.ColorRole
    for name, roles in {
        "paper": (role.Window, role.ToolTipBase),
        "sheet": (role.Base, role.Button),
        "ink": (role.WindowText, role.Text, role.ButtonText, role.ToolTipText),
        "soft": (role.PlaceholderText,),
        "wash": (role.Highlight, role.AlternateBase),
        "accent": (role.Link, role.LinkVisited, role.Accent),
        "line": (role.Mid, role.Dark, role.Midlight, role.Light),
    }.items():
        for each in roles:
            palette.setColor(each, theme.colour(name))
    palette.setColor(role.HighlightedText, theme.colour("ink"))
    for each in (role.WindowText, role.Text, role.ButtonText):
        palette.setColor(QPalette.ColorGroup.Disabled, each, theme.colour("soft"))
    return palette


def style_sheet(theme: Theme) -> str:
    """The style sheet of the whole program. Focus is a thick accent frame on everything that takes keys.

    Object names and properties that pages may use: class=title, figure, soft, quiet, main, sheet.
    """
    inks, px, pt = theme.inks, theme.px, theme.pt
    name = "dark" if inks.dark else "light"

    def line_between(way: str) -> str:
        # A handle has no margin in style sheets: a gradient leaves the paper free beside its line.
        stops = ((0.0, inks.paper), (0.39, inks.paper), (0.4, inks.edge), (0.6, inks.edge), (0.61, inks.paper))
        said = ", ".join(f"stop: {place} {ink}" for place, ink in stops)
        return f"qlineargradient(x1: 0, y1: 0, {way}, {said})"

    up, down = (Path(__file__).with_name(f"{way}-{name}.svg").as_posix() for way in ("up", "down"))
    return f"""
QWidget {{ color: {inks.ink}; }}
QMainWindow, QDialog, QMessageBox {{ background: {inks.paper}; }}
QToolTip {{ background: {inks.sheet}; color: {inks.ink}; border: 1px solid {inks.line}; padding: {px(4)}px; }}
QLabel:focus {{ background: {inks.wash}; }}
QLabel[class="title"] {{ font-size: {pt(1.7):.1f}pt; }}
QLabel[class="heading"] {{ font-size: {pt(1.2):.1f}pt; font-weight: 600; }}
QLabel[class="figure"] {{ font-size: {pt(3.2):.1f}pt; }}
QLabel[class="large"] {{ font-size: {pt(1.5):.1f}pt; }}
QLabel[class="said"] {{ font-size: {pt(0.92):.1f}pt; }}
QLabel[class="soft"] {{ color: {inks.soft}; }}
QLabel[class="small"] {{ color: {inks.soft}; font-size: {pt(0.85):.1f}pt; }}
QFrame[class="sheet"] {{ background: {inks.sheet}; border: 1px solid {inks.line}; border-radius: {px(6)}px; }}
QPushButton, QToolButton {{
  background: {inks.sheet}; border: 1px solid {inks.edge}; border-radius: {px(5)}px;
  padding: {px(6)}px {px(14)}px; min-height: {px(22)}px; }}
QToolButton {{ padding: {px(6)}px {px(10)}px; }}
QPushButton:hover, QToolButton:hover {{ border-color: {inks.soft}; }}
QPushButton:pressed, QToolButton:pressed {{ background: {inks.wash}; }}
QPushButton:checked, QToolButton:checked {{ background: {inks.wash}; border-color: {inks.accent}; }}
QPushButton:disabled, QToolButton:disabled {{ color: {inks.soft}; border-style: dashed; }}
QPushButton[class="main"] {{
  background: {inks.accent}; color: {inks.on_accent}; border-color: {inks.accent};
  font-size: {pt(1.25):.1f}pt; padding: {px(10)}px {px(24)}px; min-height: {px(28)}px; }}
QPushButton[class="main"]:disabled {{ background: {inks.sheet}; color: {inks.soft}; }}
QPushButton:focus {{ border: 2px solid {inks.accent}; padding: {px(6) - 1}px {px(14) - 1}px; }}
QToolButton:focus {{ border: 2px solid {inks.accent}; padding: {px(6) - 1}px {px(10) - 1}px; }}
QPushButton[class="main"]:focus {{
  border: 3px solid {inks.ink}; padding: {px(10) - 2}px {px(24) - 2}px; }}
QToolButton::menu-indicator {{ image: none; }}
QPushButton::menu-indicator {{ image: none; }}
QPushButton[class="entry"] {{
  text-align: left; background: transparent; border: none; border-left: {px(4)}px solid transparent;
  border-radius: 0; padding: {px(9)}px {px(16)}px; color: {inks.soft}; font-size: {pt(1.15):.1f}pt; }}
QPushButton[class="entry"]:hover {{ color: {inks.ink}; }}
QPushButton[class="entry"]:checked {{ color: {inks.ink}; border-left-color: {inks.accent}; }}
QPushButton[class="entry"]:focus {{
  border: 2px solid {inks.accent}; border-left-width: {px(4)}px; }}
QWidget#contents {{ background: {inks.paper}; border-right: 1px solid {inks.line}; }}
QWidget#status {{ border-top: 1px solid {inks.line}; }}
QLineEdit, QPlainTextEdit, QTextEdit, QTextBrowser, QSpinBox, QDoubleSpinBox, QComboBox, QDateTimeEdit {{
  background: {inks.sheet}; color: {inks.ink}; border: 1px solid {inks.edge}; border-radius: {px(4)}px;
  padding: {px(5)}px {px(8)}px; selection-background-color: {inks.wash}; selection-color: {inks.ink};
  placeholder-text-color: {inks.soft}; }}
QLineEdit:focus, QPlainTextEdit:focus, QTextEdit:focus, QTextBrowser:focus, QSpinBox:focus,
QDoubleSpinBox:focus, QComboBox:focus, QDateTimeEdit:focus {{ border: 2px solid {inks.accent}; }}
QLineEdit:disabled, QSpinBox:disabled, QDoubleSpinBox:disabled, QComboBox:disabled {{ color: {inks.soft}; }}
QComboBox QAbstractItemView {{
  background: {inks.sheet}; color: {inks.ink}; selection-background-color: {inks.wash};
  selection-color: {inks.ink}; border: 1px solid {inks.line}; }}
QComboBox::drop-down {{ border: none; width: {px(24)}px; }}
QComboBox::down-arrow {{ image: url("{down}"); width: {px(12)}px; height: {px(12)}px; }}
QAbstractSpinBox {{ padding-right: {px(26)}px; min-height: {px(22)}px; }}
QAbstractSpinBox QLineEdit, QAbstractSpinBox QLineEdit:focus {{
  border: none; background: transparent; padding: 0; margin: 0 0 0 {px(6)}px; }}
QAbstractSpinBox::up-button, QAbstractSpinBox::down-button {{
  subcontrol-origin: border; border: none; width: {px(24)}px; }}
QAbstractSpinBox::up-button {{ subcontrol-position: top right; }}
QAbstractSpinBox::down-button {{ subcontrol-position: bottom right; }}
QAbstractSpinBox::up-arrow {{ image: url("{up}"); width: {px(11)}px; height: {px(11)}px; }}
QAbstractSpinBox::down-arrow {{ image: url("{down}"); width: {px(11)}px; height: {px(11)}px; }}
QAbstractScrollArea::corner {{ background: transparent; border: none; }}
QTableView::item {{ padding: 0 {px(6)}px; }}
QCheckBox, QRadioButton {{ spacing: {px(9)}px; padding: {px(4)}px; border: 2px solid transparent;
  border-radius: {px(4)}px; }}
QCheckBox:disabled, QRadioButton:disabled {{ color: {inks.soft}; }}
QCheckBox:focus, QRadioButton:focus {{ border: 2px solid {inks.accent}; }}
QCheckBox::indicator, QRadioButton::indicator {{
  width: {px(10)}px; height: {px(10)}px; padding: {px(2)}px; border: {px(2)}px solid {inks.soft};
  background: transparent; background-clip: content; }}
QRadioButton::indicator {{ border-radius: {px(9)}px; }}
QCheckBox::indicator:checked {{ background: {inks.accent}; border-color: {inks.ink}; }}
QRadioButton::indicator:checked {{
  border-color: {inks.ink}; background-clip: border; background: qradialgradient(cx:0.5, cy:0.5, radius:0.5,
  fx:0.5, fy:0.5, stop:0 {inks.accent}, stop:0.58 {inks.accent}, stop:0.66 {inks.sheet}, stop:1 {inks.sheet}); }}
QCheckBox::indicator:disabled, QRadioButton::indicator:disabled {{ border-color: {inks.line}; }}
QAbstractItemView {{
  background: {inks.sheet}; alternate-background-color: {inks.paper}; border: 1px solid {inks.line}; padding: 1px;
  gridline-color: {inks.line}; selection-background-color: {inks.wash}; selection-color: {inks.ink};
  outline: none; }}
QAbstractItemView:focus {{ border: 2px solid {inks.accent}; padding: 0; }}
QTableView::item:focus {{ border: 1px solid {inks.accent}; }}
QHeaderView, QHeaderView:focus {{ background: {inks.paper}; border: none; padding: 0; }}
QHeaderView::section {{
  background: {inks.paper}; color: {inks.soft}; border: none; border-bottom: 1px solid {inks.line};
  padding: {px(5)}px {px(8)}px; }}
QHeaderView::up-arrow {{ image: url("{up}"); }}
QHeaderView::down-arrow {{ image: url("{down}"); }}
QHeaderView::up-arrow, QHeaderView::down-arrow {{ width: {px(11)}px; height: {px(11)}px; }}
QTableCornerButton::section {{ background: {inks.paper}; border: none; }}
QMenu {{ background: {inks.sheet}; border: 1px solid {inks.line}; padding: {px(4)}px; }}
QMenu::item {{ padding: {px(6)}px {px(22)}px; }}
QMenu::item:selected {{ background: {inks.wash}; }}
QMenu::item:disabled {{ color: {inks.soft}; }}
QGraphicsView {{ border: {FRAME_PX}px solid transparent; }}
QGraphicsView:focus {{ border: {FRAME_PX}px solid {inks.accent}; }}
QSplitter::handle {{ background: {inks.paper}; }}
QSplitter::handle:horizontal {{ width: {px(10)}px; background: {line_between("x2: 1, y2: 0")}; }}
QSplitter::handle:vertical {{ height: {px(10)}px; background: {line_between("x2: 0, y2: 1")}; }}
QSplitter::handle:hover {{ background: {inks.accent}; }}
QSlider {{ background: transparent; min-height: {px(22)}px; }}
QSlider::groove:horizontal {{ height: {px(4)}px; background: {inks.line}; border-radius: {px(2)}px; }}
QSlider::sub-page:horizontal, QSlider::add-page:horizontal {{ background: transparent; }}
QSlider::handle:horizontal {{ background: {inks.soft}; width: {px(14)}px; margin: -{px(6)}px 0;
  border: 2px solid {inks.sheet}; border-radius: {px(7)}px; }}
QSlider::handle:horizontal:focus {{ background: {inks.accent}; }}

QScrollArea {{ border: none; background: transparent; }}
QScrollArea > QWidget > QWidget {{ background: transparent; }}
QProgressBar {{
  background: {inks.sheet}; border: 1px solid {inks.edge}; border-radius: {px(4)}px; text-align: center;
  padding-bottom: {px(5)}px; min-height: {px(24)}px; }}
QProgressBar::chunk {{ background: {inks.wash}; border-bottom: {px(5)}px solid {inks.accent}; }}
QGroupBox {{ border: none; border-top: 1px solid {inks.line}; margin-top: {px(14)}px; padding-top: {px(12)}px; }}
QGroupBox::title {{ subcontrol-origin: margin; left: -{px(2)}px; color: {inks.soft}; padding-right: {px(8)}px; }}
QTabBar::tab {{ padding: {px(7)}px 10px; color: {inks.soft}; background: transparent;
  border: 2px solid transparent; border-bottom: 2px solid {inks.line}; }}
QTabBar::tab:selected {{ color: {inks.ink}; border-bottom-color: {inks.accent}; }}
QTabBar::tab:focus {{ border: 2px solid {inks.accent}; }}
QTabBar::scroller {{ width: {px(64)}px; }}
QTabWidget::pane {{ border: none; }}
QScrollBar {{ background: transparent; }}
QScrollBar:vertical {{ width: {px(12)}px; }}
QScrollBar:horizontal {{ height: {px(12)}px; }}
QScrollBar::handle {{ background: {inks.edge}; border-radius: {px(4)}px; margin: 2px; }}
QScrollBar::handle:vertical {{ min-height: {px(30)}px; }}
QScrollBar::handle:horizontal {{ min-width: {px(30)}px; }}
QScrollBar::add-line, QScrollBar::sub-line {{ width: 0; height: 0; }}
QScrollBar::add-page, QScrollBar::sub-page {{ background: transparent; }}
"""


def density(number: int, count: int) -> int:
    """Opacity of a zone's ink, 0 to 255; number: 1 for the easiest of `count`."""
    share = (number - 1) / max(count - 1, 1)
    return round(_FAINTEST + share * (_DENSEST - _FAINTEST))


def hatch_gap(number: int, easy_top: int) -> float | None:
    """Pixels between the lines of a zone's hatching; None for an easy zone, which has none."""
    above = number - easy_top
    return None if above <= 0 else max(_NARROWEST_GAP, _WIDEST_GAP * _CLOSER ** (above - 1))


def paint_zone(painter: QPainter, rect: QRectF, theme: Theme, number: int, easy_top: int, count: int) -> None:
    """Fill a rectangle, in device pixels, as zone `number` of `count`."""
    painter.fillRect(rect, theme.colour("ink", density(number, count)))
    gap = hatch_gap(number, easy_top)
    if gap is not None and rect.width() >= 3 and rect.height() >= 2:
        painter.save()
        painter.setClipRect(rect, Qt.ClipOperation.IntersectClip)
        painter.setPen(QPen(theme.colour("ink", 150), theme.thickness))
        painter.drawLines(_hatching(rect, gap * theme.thickness))
        painter.restore()
    painter.setPen(QPen(theme.colour("ink", 190), theme.thickness))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawRect(rect)


def paint_label(painter: QPainter, rect: QRectF, theme: Theme, text: str) -> None:
    """Words in the middle of a zone, on a spot of paper so that the ink below doesn't cross them."""
    metrics = QFontMetricsF(painter.font())
    width = metrics.horizontalAdvance(text) + 0.5 * metrics.height()
    if width > rect.width() - 2:
        return
    spot = QRectF(0, 0, width, 1.1 * metrics.height())
    spot.moveCenter(rect.center())
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(theme.colour("sheet", 225))
    painter.drawRoundedRect(spot, 4, 4)
    painter.setPen(theme.colour("ink"))
    painter.drawText(spot, Qt.AlignmentFlag.AlignCenter, text)


def arrow_head(x: float, tip: float, half: float, height: float) -> QPolygonF:
    """A triangle with its tip at (x, tip) and a base of 2 `half` so much below it, or above it where negative."""
    return QPolygonF([QPointF(x, tip), QPointF(x - half, tip + height), QPointF(x + half, tip + height)])


def _hatching(rect: QRectF, gap: float) -> list[QLineF]:
    # Counted from the origin, so that the lines of one zone meet across bars.
    step, height = gap * math.sqrt(2), rect.height()
    place = math.floor((rect.left() + rect.top()) / step) * step
    lines = []
    while place <= rect.right() + rect.bottom():
        lines.append(QLineF(place - rect.top(), rect.top(), place - rect.top() - height, rect.bottom()))
        place += step
    return lines
