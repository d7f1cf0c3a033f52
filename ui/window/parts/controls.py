"""Buttons, labels and lists with their keys, so that tooltips, the overview and the actions agree."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from PySide6.QtCore import QEvent, QMargins, QObject, QSize, Qt, QTimer
from PySide6.QtGui import QFontMetrics, QKeyEvent, QKeySequence, QResizeEvent, QShortcut, QWheelEvent
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractSpinBox,
    QApplication,
    QButtonGroup,
    QComboBox,
    QDateEdit,
    QDateTimeEdit,
    QDoubleSpinBox,
    QLabel,
    QLineEdit,
    QMessageBox,
    QPlainTextEdit,
    QPushButton,
    QSizePolicy,
    QSlider,
    QSpinBox,
    QStyle,
    QStyleOptionFrame,
    QTabBar,
    QToolButton,
    QWidget,
)

from dawnbeat.shared.wording import unbroken


@dataclass(frozen=True)
class Key:
    """One key. keys: in Qt's portable words. does: what it does. where: the page, or "everywhere"."""

    keys: str
    does: str
    where: str = "everywhere"


def shown(keys: str) -> str:
    """A key as this system writes it."""
    return QKeySequence(keys).toString(QKeySequence.SequenceFormat.NativeText)


_Control = TypeVar("_Control", bound=QWidget)
ARMED_MS = 4000
_TEXT_MARGIN_PX = 6
PROSE_LETTERS = 90  # in a line; more are hard to follow from one to the next
_PANGRAM = "the quick brown fox jumps over the lazy dog "
PARTED = "    "  # between the parts of a legend
_known: dict[tuple[str, str], Key] = {}


def register(*keys: Key) -> None:
    """Add keys to the overview; pages call this when they are made. Adding one twice does no harm."""
    for key in keys:
        _known[key.where, key.keys] = key


def overview(kept: Iterable[Key] = ()) -> dict[str, list[Key]]:
    """All keys by where they work, "everywhere" first. kept: those of pages that may not be made yet."""
    found: dict[str, list[Key]] = {"everywhere": []}
    for key in ({(each.where, each.keys): each for each in kept} | _known).values():
        found.setdefault(key.where, []).append(key)
    return found


def give(button: QAbstractButton, key: Key) -> None:
    """Give a button its key, a tooltip that names it, an accessible name, and a place in the overview."""
    # A button's own shortcut waits a tenth of a second before it acts.
    QShortcut(QKeySequence(key.keys), button, button.click)
    reword(button, button.text(), key.keys, key.does)
    register(key)


def reword(button: QAbstractButton, words: str, keys: str, does: str) -> None:
    """Have a button say something else, in its tooltip and to screen readers too; the overview of the keys stays."""
    if button.text() != words:
        button.setText(words)
    named(button, words, f"{does} ({shown(keys)})")
    button.setAccessibleDescription(button.toolTip())


def button(
    words: str, keys: str, tip: str, does: Callable[[], object] | None, where: str = "", main: bool = False
) -> QPushButton:
    """A button with its key; without keys it has a tooltip only. does: what a press does. main: the one to press."""
    made = QPushButton(words)
    if main:
        made.setProperty("class", "main")
    if keys:
        give(made, Key(keys, tip, where))
    else:
        named(made, words, tip)
    if does is not None:
        made.clicked.connect(lambda: does())
    return made


def step_button(text: str, keys: str, does: str, where: str, pressed: Callable[[], object]) -> QToolButton:
    """A small button that goes to what comes next or before."""
    made = QToolButton()
    made.setText(text)
    give(made, Key(keys, does, where))
    made.setAccessibleName(does)
    made.clicked.connect(lambda: pressed())
    return made


def buttons(where: str, *wanted: tuple[str, str, str, Callable[[], object] | None]) -> list[QPushButton]:
    """Several buttons of one place. wanted: words, keys, tip and what a press does, of each."""
    return [button(words, keys, tip, does, where) for words, keys, tip, does in wanted]


def choices(
    group: QButtonGroup, answers: Sequence[tuple[str, str, str, Callable[[], object] | None]], chosen: int, where: str
) -> list[QPushButton]:
    """Buttons of which one stays pressed. answers: words, key, tip and what a press does; chosen: the first's place."""
    made = buttons(where, *answers)
    for place, one in enumerate(made):
        one.setCheckable(True)
        one.setChecked(place == chosen)
        group.addButton(one)
    return made


class Armed(QObject):
    """Makes a button do what can't be undone only at a second press: `sure` while it waits for that.

    It is disarmed when the focus goes elsewhere, and after a few seconds.
    """

    def __init__(self, button: QAbstractButton, words: str, sure_words: str, does: Callable[[], object]) -> None:
        """words, sure_words: on the button before and after the first press."""
        super().__init__(button)
        self.sure = False
        self._button, self._words, self._sure_words, self._does = button, words, sure_words, does
        self._timer = QTimer(self, singleShot=True, interval=ARMED_MS)
        self._timer.timeout.connect(self.disarm)
        button.clicked.connect(self._pressed)
        button.installEventFilter(self)

    def disarm(self) -> None:
        """As if it had never been pressed."""
        self.sure = False
        self._timer.stop()
        self._name(self._words)

    def _pressed(self) -> None:
        if self.sure:
            self.disarm()
            self._does()
            return
        self.sure = True
        self._name(self._sure_words)
        self._timer.start()

    def _name(self, words: str) -> None:
        if self._button.text() != words:
            keys = self._button.shortcut()
            self._button.setText(words)  # takes a shortcut of the button's own away
            self._button.setShortcut(keys)
            self._button.setAccessibleName(words)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802  Qt's name
        """Whoever goes elsewhere has thought better of it."""
        if event.type() == QEvent.Type.FocusOut and self.sure:
            self.disarm()
        return super().eventFilter(watched, event)


def on_key(widget: QWidget, keys: str, does: Callable[[], object]) -> None:
    """Do something at a key while this widget has the focus, and only then.

    PySide ignores the context that QShortcut's constructor is given together with a function.
    """
    shortcut = QShortcut(QKeySequence(keys), widget)
    shortcut.setContext(Qt.ShortcutContext.WidgetShortcut)
    shortcut.activated.connect(does)


def prose_px(metrics: QFontMetrics) -> int:
    """How wide lines of prose may be, in pixels."""
    return round(PROSE_LETTERS * metrics.horizontalAdvance(_PANGRAM) / len(_PANGRAM))


class Words(QLabel):
    """Words that wrap, but never between a number and its unit. `text` tells them as they were given.

    On a wide screen lines of prose are no longer than the eye follows; the rest of the label stays empty.
    """

    def __init__(self, text: str = "") -> None:
        super().__init__()
        self._empty_px = 0
        self.setText(text)

    def setText(self, text: str) -> None:  # noqa: N802  Qt's name
        """Show other words."""
        self._said = text
        super().setText(unbroken(text))
        self._leave_empty()

    def text(self) -> str:
        """The words as they were given."""
        return self._said

    def contentsMargins(self) -> QMargins:  # noqa: N802
        """Those that were set, without what is left empty."""
        return super().contentsMargins() - QMargins(0, 0, self._empty_px, 0)

    def sizeHint(self) -> QSize:  # noqa: N802, D102
        return super().sizeHint() - QSize(self._empty_px, 0)

    def minimumSizeHint(self) -> QSize:  # noqa: N802, D102
        return super().minimumSizeHint() - QSize(self._empty_px, 0)

    def heightForWidth(self, width: int) -> int:  # noqa: N802, D102
        return super().heightForWidth(min(width, self._widest_px(width)) + self._empty_px)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        """Another width."""
        super().resizeEvent(event)
        self._leave_empty()

    def _widest_px(self, width: int) -> int:
        # A legend's parts stand beside one another as far as there is room.
        prose = self.wordWrap() and self.alignment() & Qt.AlignmentFlag.AlignLeft and PARTED not in self._said
        if not prose or len(self._said) <= PROSE_LETTERS:
            return width
        # All prose of a page ends at one line, and keeps to it only on wide screens: on others height is scarce.
        column_px = max(prose_px(self.fontMetrics()), prose_px(QFontMetrics(QApplication.font())))
        margins = self.contentsMargins()
        return width if width < 2 * column_px else column_px + margins.left() + margins.right()

    def _leave_empty(self) -> None:
        empty_px = max(self.width() - self._widest_px(self.width()), 0)
        if empty_px != self._empty_px:
            margins = self.contentsMargins()
            self._empty_px = empty_px
            self.setContentsMargins(margins + QMargins(0, 0, empty_px, 0))


def label(style: str, name: str, text: str = "", wraps: bool | None = None) -> QLabel:
    """Words. style: "title", "large", "soft", "small" or "" for running text. wraps: unless told, all but titles."""
    made = Words(text)
    made.setWordWrap(style != "title" if wraps is None else wraps)
    made.setProperty("class", style)
    made.setAccessibleName(name)
    return made


def in_place_of_all(text: str = "") -> QLabel:
    """Words at the top of an otherwise empty page, which take the room of what will stand there."""
    made = label("", "What will stand here", text)
    made.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
    made.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Expanding)
    return made


def to_copy(style: str, name: str, text: str = "") -> QLabel:
    """Words that can be selected and copied, and that wrap whatever their style."""
    made = label(style, name, text, wraps=True)
    made.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    made.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
    return made


def say_in(made: QLabel, text: str) -> None:
    """Change a label's text where it differs, so that nothing is laid out anew for nothing."""
    if made.text() != text:
        made.setText(text)


def say_or_hide(made: QLabel, text: str) -> None:
    """Change a label's text; with nothing to say it takes no room."""
    say_in(made, text)
    made.setVisible(bool(text))


def restyle(style: str, *widgets: QWidget) -> None:
    """Give widgets another class of the style sheet, and have it looked at anew."""
    for each in widgets:
        if each.property("class") != style:
            each.setProperty("class", style)
            each.style().unpolish(each)
            each.style().polish(each)


def named(control: _Control, name: str, tip: str = "") -> _Control:
    """The control itself, with its name for screen readers and its tooltip."""
    control.setAccessibleName(name)
    control.setToolTip(tip)
    return control


def buddy_of(control: QWidget, words: str) -> QLabel:
    """The words before a control."""
    before = Words(words)
    before.setBuddy(control)
    return before


def read_only(name: str) -> QPlainTextEdit:
    """Lines to read and to copy, which Tab passes by."""
    made = named(QPlainTextEdit(), name)
    made.setReadOnly(True)
    made.setTabChangesFocus(True)
    return made


def sure(parent: QWidget, title: str, asked: str) -> bool:
    """Ask before something that can't be undone; nothing is done unless it is wanted."""
    yes, cancel = QMessageBox.StandardButton.Yes, QMessageBox.StandardButton.Cancel
    return bool(QMessageBox.question(parent, title, asked, yes | cancel, cancel) == yes)


class _Calm:
    """Turns with the wheel only while it has the focus, and never takes the focus by the wheel: the page scrolls."""

    def __init__(self, *given: Any, **more: Any) -> None:
        super().__init__(*given, **more)
        assert isinstance(self, QWidget)
        if self.focusPolicy() == Qt.FocusPolicy.WheelFocus:
            self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        if isinstance(self, QAbstractSpinBox):
            self.lineEdit().setTextMargins(_TEXT_MARGIN_PX, 0, 0, 0)  # the style sheet's padding doesn't reach it

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802  Qt's name
        if self.hasFocus():  # type: ignore[attr-defined]
            super().wheelEvent(event)  # type: ignore[misc]
        else:
            event.ignore()


class LineEdit(QLineEdit):
    """A line to type in. While it is empty it says what may stand there, as fully as it has room for."""

    def __init__(self, *hints: str) -> None:
        """hints: what may stand there, the longest words first."""
        super().__init__()
        self._hints = hints

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """Another width, other words."""
        super().resizeEvent(event)
        self._say_what_fits()

    def changeEvent(self, event: QEvent) -> None:  # noqa: N802
        """Larger letters, fewer words."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.FontChange:
            self._say_what_fits()

    def _say_what_fits(self) -> None:
        option = QStyleOptionFrame()
        self.initStyleOption(option)
        inside = self.style().subElementRect(QStyle.SubElement.SE_LineEditContents, option, self)
        room, metrics = inside.width() - _TEXT_MARGIN_PX, self.fontMetrics()
        fitting = (each for each in self._hints if metrics.horizontalAdvance(each) <= room)
        self.setPlaceholderText(next(fitting, self._hints[-1]))


class ComboBox(_Calm, QComboBox):
    """A list to choose from. Letters and digits look for an answer in it, whatever else they do on the page."""

    def event(self, event: QEvent) -> bool:
        """Keep what is typed from the keys of the page."""
        if event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent):
            bare = event.modifiers() in (Qt.KeyboardModifier.NoModifier, Qt.KeyboardModifier.ShiftModifier)
            if bare and event.text().isprintable() and event.text():
                event.accept()
                return True
        return super().event(event)

    def sizeHint(self) -> QSize:  # noqa: N802  Qt's name
        """Room for the longest answer: Qt forgets a part of the frame that a style sheet gives."""
        return super().sizeHint() + QSize(_TEXT_MARGIN_PX, 0)

    def offer(self, answers: Iterable[tuple[str, Any]]) -> None:
        """In place of what there was: answers, each with the value that it stands for."""
        self.clear()
        for words, value in answers:
            self.addItem(words, value)

    def narrow(self, letters: int) -> None:
        """No wider than its place, and at least so many letters, however long the answers are."""
        self.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.setMinimumContentsLength(letters)


class SpinBox(_Calm, QSpinBox):
    """A whole number."""


class DoubleSpinBox(_Calm, QDoubleSpinBox):
    """A number."""


class DateEdit(_Calm, QDateEdit):
    """A day."""


class DateTimeEdit(_Calm, QDateTimeEdit):
    """A moment."""


class Slider(_Calm, QSlider):
    """A slider that lies down."""

    def __init__(self) -> None:
        super().__init__(Qt.Orientation.Horizontal)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)


class TabBar(_Calm, QTabBar):
    """What a tabbed page is leafed through with."""
