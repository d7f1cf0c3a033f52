"""The window: a table of contents at the side, one page at a time, one line at the foot."""

from __future__ import annotations

import base64
import binascii
import importlib
import sys
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from PySide6.QtCore import QByteArray, QSize, Qt, QTimer
from PySide6.QtGui import QCloseEvent, QIcon, QKeySequence, QResizeEvent, QShortcut
from PySide6.QtWidgets import (
    QApplication,
    QButtonGroup,
    QHBoxLayout,
    QMainWindow,
    QMessageBox,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext, Page
from dawnbeat.ui.window.parts.controls import Key, label
from dawnbeat.ui.window.parts.layouts import Scrolled
from dawnbeat.ui.window.parts.work import Task

# key, title with the letter for Alt, module. A page whose module isn't there is not listed.
PAGES = (
    ("read", "&Read", "read.page"),
    ("mornings", "&Mornings", "mornings.page"),
    ("zones", "&Zones", "zones.page"),
    ("runs", "R&uns", "runs.page"),
    ("bench", "&Bench", "bench.page"),
    ("settings", "&Settings", "settings.page"),
)
HELP = ("help", "&Help", "shell.help")
HELP_KEY = "F1"
# What pages rest on and takes long to load. None of it touches Qt, so that another thread can load it.
NEEDS = {
    "bench": ("dawnbeat.morning.bench",),
    "mornings": ("dawnbeat.morning.answering",),
}
_FIRST_SIZE = QSize(1180, 760)
_LEAST_SIZE = QSize(480, 300)
_FRAME_PX = 40  # what a window's frame and title may take of a screen
_LOOK_MS = 1000
_STATUS_MS = 20_000
_WARM_UP_MS = 300


def icon() -> QIcon:
    """The program's own icon."""
    return QIcon(str(Path(__file__).with_name("icon.svg")))


def is_there(module: str) -> bool:
    """Whether the module of a page exists; it is not imported."""
    try:
        return find_spec(f"dawnbeat.ui.window.{module}") is not None
    except ModuleNotFoundError:  # not even its folder
        return False


def _load_libraries(task: Task) -> None:
    for name in ("scipy.special", *NEEDS["mornings"], *NEEDS["bench"]):
        if not task.cancelled:
            importlib.import_module(name)


def _load_plots() -> None:
    # Only in the window's thread: it walks over all of Qt's names, and making their enumerations in two threads
    # at once ends the process now and then (PySide 6.11).
    importlib.import_module("pyqtgraph")


class MainWindow(QMainWindow):
    """Makes each page when it is first wanted, and asks pages before it closes."""

    def __init__(self, context: AppContext, first: str | None = None) -> None:
        super().__init__()
        self.context = context
        self.pages: dict[str, Page] = {}
        self.current: str | None = None
        self._modules = {key: module for key, _, module in (*PAGES, HELP) if is_there(module)}
        self._entries: dict[str, QPushButton] = {}
        self.stack = QStackedWidget()
        self._said = ""
        self._opening: str | None = None
        self._asks = True
        self.status = label("soft", "What just happened")
        self.waiting = label("large", "What is being opened")
        self.waiting.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.stack.addWidget(self.waiting)
        self._busy_look = QTimer(self, interval=_LOOK_MS)
        self._busy_look.timeout.connect(self._mark_busy)
        self._quiet = QTimer(self, singleShot=True, interval=_STATUS_MS)
        self._quiet.timeout.connect(lambda: self._say(""))
        self.setWindowTitle("Dawnbeat")
        self.setWindowIcon(icon())
        self._lay_out()
        self._add_keys()
        context.said.connect(self._say)
        context.wanted.connect(self.go)
        self.setMinimumSize(_LEAST_SIZE)
        self._restore_place()
        if context.last_said:
            self._say(context.last_said)
        QTimer.singleShot(0, self._greet)
        QTimer.singleShot(_WARM_UP_MS, self._warm_up)
        start = first if first in self._modules else next(iter(self._modules), None)
        if start is not None:
            self.go(start)

    # Pages

    def go(self, key: str, what: Any = None) -> None:
        """Bring a page to the front, making it first where it was never shown."""
        if key not in self._modules:
            self.context.say(f"There is no page {key!r}.")
            return
        page = self.pages.get(key)
        if page is None and any(name not in sys.modules for name in NEEDS.get(key, ())):
            self._open_later(key, what)
            return
        if page is None:
            with self.context.saying():
                page = self._make(key)
        if page is None:
            return
        self._opening = None
        self._leave(key)
        self.current = key
        self.stack.setCurrentWidget(page.widget)
        self._entries[key].setChecked(True)
        page.shown(what)
        self._mark_busy()

    def _leave(self, key: str) -> None:
        if self.current is not None and self.current != key:
            self.pages[self.current].hidden()
            self.current = None

    def _open_later(self, key: str, what: Any) -> None:
        """Load off this thread what a page rests on; the window stays alive meanwhile."""
        self._leave(key)
        self._opening = key
        title = self._entries[key].accessibleName()
        self.waiting.setText(f"Opening {title}…")
        self.stack.setCurrentWidget(self.waiting)
        self._entries[key].setChecked(True)

        def load(task: Task) -> None:
            for name in NEEDS[key]:
                if not task.cancelled:
                    importlib.import_module(name)

        def loaded(_nothing: object) -> None:
            if self._opening == key:
                self.go(key, what)

        self.context.background.run(load, loaded, self.waiting.setText)

    def _mark_busy(self) -> None:
        """Say at its entry that a page has something going on, while another is in front."""
        for key, page in self.pages.items():
            busy = page.busy()
            entry = self._entries[key]
            words = self._titles[key] + ("  ●" if busy and key != self.current else "")
            if entry.text() != words:
                entry.setText(words)
                entry.setAccessibleDescription(busy or "")
        going_on = any(page.busy() for page in self.pages.values())
        (self._busy_look.start if going_on else self._busy_look.stop)()

    def _make(self, key: str) -> Page:
        module = importlib.import_module(f"dawnbeat.ui.window.{self._modules[key]}")
        page: Page = module.make_page(self.context)
        page.widget.setAccessibleName(page.title)
        self.pages[key] = page
        self.stack.addWidget(page.widget)
        return page

    def _greet(self) -> None:
        """The first words, once the window stands on the screen."""
        if not self.context.choices.met and self.isVisible():
            from dawnbeat.ui.window.shell.help import FirstStart

            FirstStart(self.context, self).open()

    def _warm_up(self) -> None:
        """Load beforehand what pages need, so that the first one opened is as quick as the next."""
        if self.isVisible():
            self.context.background.run(_load_libraries, done=lambda _: _load_plots())

    # Layout

    def _lay_out(self) -> None:
        self._titles: dict[str, str] = {}
        contents = QWidget()
        contents.setObjectName("contents")
        contents.setAccessibleName("Pages")
        column = QVBoxLayout(contents)
        column.setContentsMargins(0, 18, 0, 12)
        column.setSpacing(2)
        group = QButtonGroup(self)
        for number, (key, title, module) in enumerate(PAGES, start=1):
            if module in self._modules.values():
                column.addWidget(self._entry(group, key, title, str(number)))
        column.addStretch(1)
        if HELP[0] in self._modules:
            column.addWidget(self._entry(group, HELP[0], HELP[1], HELP_KEY))
        foot = QWidget()
        foot.setObjectName("status")
        line = QHBoxLayout(foot)
        line.setContentsMargins(16, 6, 16, 6)
        line.addWidget(self.status, 1)
        self.context.theme_changed.connect(lambda _: self._fit_foot())
        right = QVBoxLayout()
        right.setContentsMargins(0, 0, 0, 0)
        right.setSpacing(0)
        right.addWidget(self.stack, 1)
        right.addWidget(foot)
        whole = QWidget()
        row = QHBoxLayout(whole)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(0)
        beside = Scrolled(contents)
        beside.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        beside.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Expanding)
        row.addWidget(beside)
        row.addLayout(right, 1)
        self.setCentralWidget(whole)

    def _entry(self, group: QButtonGroup, key: str, title: str, digit: str) -> QPushButton:
        entry = QPushButton(title)
        entry.setCheckable(True)
        entry.setProperty("class", "entry")
        plain = title.replace("&", "")
        entry.setAccessibleName(plain)
        letter = title[title.index("&") + 1].upper()
        also = "" if key == HELP[0] else f" or {controls.shown(f'Alt+{letter}')}"
        entry.setToolTip(f"{plain} ({controls.shown(digit)}{also})")
        entry.clicked.connect(lambda: self.go(key))
        group.addButton(entry)
        self._entries[key] = entry
        self._titles[key] = title
        QShortcut(QKeySequence(digit), self, lambda: self.go(key))
        controls.register(Key(digit, f"Go to {plain}"))
        return entry

    def _add_keys(self) -> None:
        undo = self.context.undo.createUndoAction(self, "Undo")
        undo.setShortcut(QKeySequence.StandardKey.Undo)
        redo = self.context.undo.createRedoAction(self, "Do again")
        redo.setShortcut(QKeySequence.StandardKey.Redo)
        self.addActions([undo, redo])
        # Windows has no standard key for it.
        QShortcut(QKeySequence("Ctrl+Q"), self, self.close)
        controls.register(
            Key(QKeySequence(QKeySequence.StandardKey.Undo).toString(), "Undo the last change"),
            Key(QKeySequence(QKeySequence.StandardKey.Redo).toString(), "Do it again"),
            Key("Tab", "Go to the next control, Shift+Tab to the one before"),
            Key("Ctrl+Q", "Close the window"),
        )
        QShortcut(QKeySequence("Ctrl++"), self, lambda: self._text(+10))
        QShortcut(QKeySequence("Ctrl+="), self, lambda: self._text(+10))
        QShortcut(QKeySequence("Ctrl+-"), self, lambda: self._text(-10))
        controls.register(Key("Ctrl++", "Larger text"), Key("Ctrl+-", "Smaller text"))

    def _text(self, step: int) -> None:
        wanted = max(100, min(200, self.context.choices.text_percent + step))
        try:
            self.context.choose(text_percent=wanted)
            self.context.say(f"Text size {wanted} %.")
        except DawnbeatError as error:
            self.context.say(str(error))

    def _say(self, sentence: str) -> None:
        self._said = sentence
        self.status.setAccessibleDescription(sentence)
        self.status.setToolTip(sentence)
        self._fit_foot()
        if sentence:
            self._quiet.start()

    def _fit_foot(self) -> None:
        """Two lines whatever is said, so that nothing above moves; the rest of a long sentence is its tooltip."""
        metrics = self.status.fontMetrics()
        self.status.setFixedHeight(2 * metrics.lineSpacing() + 4)
        room = max(2 * self.status.width() - 8 * metrics.averageCharWidth(), 200)
        self.status.setText(metrics.elidedText(self._said, Qt.TextElideMode.ElideRight, room))

    # Place on the screen, and closing

    def _restore_place(self) -> None:
        text = self.context.store.load_state().get("geometry")
        if isinstance(text, str):
            try:
                packed = base64.b64decode(text, validate=True)
            except (binascii.Error, ValueError):
                packed = b""
            if packed and self.restoreGeometry(QByteArray(packed)):
                return
        self.resize(self.first_size(self.screen().availableSize()))

    @staticmethod
    def first_size(available: QSize) -> QSize:
        """The size of a first window on a screen with so much room, its frame included."""
        room = available - QSize(0, _FRAME_PX)
        return _FIRST_SIZE.boundedTo(room).expandedTo(_LEAST_SIZE)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """More room, more words."""
        super().resizeEvent(event)
        self._fit_foot()

    def end(self) -> None:
        """Close without asking, keeping what can be kept: somebody pressed Ctrl+C where the window was started."""
        self._asks = False
        self.close()

    def focusNextPrevChild(self, forth: bool) -> bool:  # noqa: N802  Qt's name
        """Move the focus, and scroll to it also where it comes into a scrolled form from outside."""
        moved = super().focusNextPrevChild(forth)
        focused = QApplication.focusWidget()
        outer = None if focused is None else focused.parentWidget()
        while focused is not None and outer is not None:
            if isinstance(outer, QScrollArea):
                outer.ensureWidgetVisible(focused)
            outer = outer.parentWidget()
        return moved

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802  Qt's name
        """Ask where something is going on, let pages keep what they have, and remember the place."""
        going_on = [words for page in self.pages.values() if (words := page.busy())]
        unsaved = [words for page in self.pages.values() if (words := page.unsaved())]
        if self._asks and (going_on or unsaved) and not self._really_close(going_on, unsaved):
            event.ignore()
            return
        for page in self.pages.values():
            page.closing()
        self.context.background.stop()
        try:
            packed = bytes(self.saveGeometry().data())
            place = {"geometry": base64.b64encode(packed).decode("ascii")}
            self.context.store.save_state(self.context.store.load_state() | place)
        except DawnbeatError:
            pass  # a place on the screen is not worth keeping a window open for
        event.accept()

    def _really_close(self, going_on: list[str], unsaved: list[str]) -> bool:
        box = QMessageBox(self)
        box.setWindowTitle("Close Dawnbeat")
        box.setText(" ".join([*going_on, *unsaved]))
        told = ["What there is so far is kept if you close now."] if going_on else []
        told += ["Go back to keep them; closing now forgets them."] if unsaved else []
        box.setInformativeText(" ".join(told))
        words = "Keep and close" if not unsaved else "Close without them"
        close = box.addButton(words, QMessageBox.ButtonRole.AcceptRole)
        stay = box.addButton("Go back", QMessageBox.ButtonRole.RejectRole)
        box.setDefaultButton(stay)
        box.exec()
        return box.clickedButton() is close
