"""The window: a table of contents at the side, one page at a time, one line at the foot."""

from __future__ import annotations

import base64
import binascii
import importlib
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from PySide6.QtCore import QByteArray, QTimer
from PySide6.QtGui import QCloseEvent, QIcon, QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QApplication,
    QButtonGroup,
    QHBoxLayout,
    QLabel,
    QMainWindow,
    QMessageBox,
    QPushButton,
    QScrollArea,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext, Page
from dawnbeat.ui.window.parts.controls import Key
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
HELP = ("help", "&Help", "shell.help_page")
HELP_KEY = "F1"
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
    for name in ("scipy.special", "dawnbeat.journal.today"):
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
        self.status = QLabel()
        self.status.setWordWrap(True)
        self.status.setProperty("class", "soft")
        self.status.setAccessibleName("What just happened")
        self._quiet = QTimer(self, singleShot=True, interval=_STATUS_MS)
        self._quiet.timeout.connect(self.status.clear)
        self.setWindowTitle("Dawnbeat")
        self.setWindowIcon(icon())
        self._lay_out()
        self._add_keys()
        context.said.connect(self._say)
        context.wanted.connect(self.go)
        self.setMinimumSize(640, 440)
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
        if page is None:
            try:
                page = self._make(key)
            except DawnbeatError as error:
                self.context.say(str(error))
                return
        if self.current is not None and self.current != key:
            self.pages[self.current].hidden()
        self.current = key
        self.stack.setCurrentWidget(page.widget)
        self._entries[key].setChecked(True)
        page.shown(what)

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
            from dawnbeat.ui.window.shell.first_start import FirstStart

            FirstStart(self.context, self).open()

    def _warm_up(self) -> None:
        """Load beforehand what pages need, so that the first one opened is as quick as the next."""
        if self.isVisible():
            self.context.background.run(_load_libraries, done=lambda _: _load_plots())

    # Layout

    def _lay_out(self) -> None:
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
        right = QVBoxLayout()
        right.setContentsMargins(0, 0, 0, 0)
        right.setSpacing(0)
        right.addWidget(self.stack, 1)
        right.addWidget(foot)
        whole = QWidget()
        row = QHBoxLayout(whole)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(0)
        row.addWidget(contents)
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
        self.status.setText(sentence)
        self.status.setAccessibleDescription(sentence)
        self._quiet.start()

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
        self.resize(1180, 760)

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
        if going_on and not self._really_close(" ".join(going_on)):
            event.ignore()
            return
        for page in self.pages.values():
            page.closing()
        self.context.background.stop()
        try:
            packed = bytes(self.saveGeometry().data())
            self.context.store.save_state({"geometry": base64.b64encode(packed).decode("ascii")})
        except DawnbeatError:
            pass  # a place on the screen is not worth keeping a window open for
        event.accept()

    def _really_close(self, going_on: str) -> bool:
        box = QMessageBox(self)
        box.setWindowTitle("Close Dawnbeat")
        box.setText(going_on)
        box.setInformativeText("What there is so far is kept if you close now.")
        close = box.addButton("Keep and close", QMessageBox.ButtonRole.AcceptRole)
        stay = box.addButton("Go on", QMessageBox.ButtonRole.RejectRole)
        box.setDefaultButton(stay)
        box.exec()
        return box.clickedButton() is close
