"""The window, and how it is opened on a journal: contents at the side, one page at a time, one line at the foot."""

from __future__ import annotations

import importlib
import signal
import socket
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import Any

from PySide6 import QtCore, QtGui, QtWidgets
from PySide6.QtCore import QByteArray, QSize, QSocketNotifier, Qt, QTimer
from PySide6.QtGui import QCloseEvent, QIcon, QKeySequence, QResizeEvent, QShortcut
from PySide6.QtWidgets import (
    QApplication,
    QButtonGroup,
    QMainWindow,
    QMessageBox,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QStackedWidget,
    QWidget,
)

from dawnbeat.journal.store import Journal
from dawnbeat.morning.choices import ChoiceStore, home_to_open
from dawnbeat.morning.sources import HELP as SOURCES_HELP
from dawnbeat.morning.sources import file_named
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.display import display_problem
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.background import Task
from dawnbeat.ui.window.parts.context import AppContext, PageWidget
from dawnbeat.ui.window.parts.controls import Key, label, named
from dawnbeat.ui.window.parts.layouts import Scrolled, column_of, row_of, stack

# The key of each page, its title with the letter for Alt, its module, and what goes to it.
PAGES = (
    ("read", "&Read", "read.page", "1"),
    ("mornings", "&Mornings", "mornings.page", "2"),
    ("zones", "&Zones", "zones.page", "3"),
    ("runs", "R&uns", "runs.page", "4"),
    ("bench", "&Bench", "bench.page", "5"),
    ("settings", "&Settings", "settings.page", "6"),
    ("help", "&Help", "shell.help", "F1"),
)
_TITLES = {key: title for key, title, _, _ in PAGES}
_MODULES = {key: module for key, _, module, _ in PAGES}
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
_NAMES_AT_ONCE = 10


def run_window(
    journal_home: Path | None = None,
    page: str | None = None,
    settings_folder: Path | None = None,
    source: str | None = None,
) -> int:
    """Open the window on a journal (else the chosen or usual one) at a page; returns when it is closed.

    settings_folder: where choices are kept instead of the usual place. source: where light comes from this once, in the
    words of `dawnbeat read`.

    Raises DawnbeatError when there is no such page or file, or the journal can't be opened; where nobody reads a
    terminal, the sentence is also shown on the screen.
    """
    *known, last = _MODULES
    if page is not None and page not in _MODULES:
        raise DawnbeatError(f"there is no page {page!r}: say {', '.join(known)} or {last}")
    if source is not None and (path := file_named(source)) is not None and not path.exists():
        raise DawnbeatError(f"there is no source {source!r}: give {SOURCES_HELP}")
    problem = display_problem()
    if problem is not None:
        raise DawnbeatError(problem)
    app = make_app()
    store = ChoiceStore(settings_folder)
    try:
        opened = Journal.open(home_to_open(store.load(), journal_home))
    except DawnbeatError as error:
        on_screen = app.platformName() not in ("offscreen", "minimal")
        if on_screen and (sys.stderr is None or not sys.stderr.isatty()):
            QMessageBox.warning(None, "Dawnbeat", str(error))
        raise
    with opened:
        context = AppContext(opened, store)
        context.source = source
        window = MainWindow(context, page or "read")
        window.show()
        with interrupts(window.end):
            code = app.exec()
        window.deleteLater()
        context.journal.close()  # another one, where a backup was restored
    return code


@contextmanager
def interrupts(end: Callable[[], object]) -> Iterator[None]:
    """Call `end` in the window's thread at Ctrl+C; a byte on a socket wakes Qt, which would sleep through it."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    heard, told = socket.socketpair()
    told.setblocking(False)
    notifier = QSocketNotifier(heard.fileno(), QSocketNotifier.Type.Read)
    notifier.activated.connect(lambda *_: (heard.recv(64), end()))
    before = signal.signal(signal.SIGINT, lambda *_: None)
    woken = signal.set_wakeup_fd(told.fileno())
    try:
        yield
    finally:
        signal.set_wakeup_fd(woken)
        signal.signal(signal.SIGINT, before)
        notifier.setEnabled(False)
        heard.close()
        told.close()


def make_app() -> QApplication:
    """The one application object of this process."""
    app = QApplication.instance()
    if not isinstance(app, QApplication):
        app = QApplication(["dawnbeat"])
    app.setApplicationName("dawnbeat")
    app.setApplicationDisplayName("Dawnbeat")
    app.setDesktopFileName("dawnbeat")
    app.setStyle("Fusion")
    app.setWindowIcon(QIcon(str(Path(__file__).with_name("icon.svg"))))
    return app


def _load(task: Task, *modules: str) -> None:
    for name in modules:
        if not task.cancelled:
            importlib.import_module(name)


def _load_libraries(task: Task) -> None:
    _load(task, "scipy.special", *NEEDS["mornings"], *NEEDS["bench"])


def _load_plots() -> Iterator[None]:
    """Load the library of the plots in pieces, so that the window goes on between them.

    Only in the window's thread: it walks over all of Qt's names, and making their enumerations in two threads at once
    ends the process now and then (PySide 6.11). Names that were asked for before cost it nothing.
    """
    for module in (QtCore, QtGui, QtWidgets):
        for place, name in enumerate(dir(module)):
            getattr(module, name, None)
            if place % _NAMES_AT_ONCE == 0:
                yield
    importlib.import_module("pyqtgraph")


class MainWindow(QMainWindow):
    """Makes each page when it is first wanted, and asks pages before it closes."""

    def __init__(self, context: AppContext, first: str = "read") -> None:
        super().__init__()
        self.context = context
        self.pages: dict[str, PageWidget] = {}
        self.current: str | None = None
        self._entries: dict[str, QPushButton] = {}
        self.stack = QStackedWidget()
        self._said = ""
        self._opening: str | None = None
        self._asks = True
        self.status = label("soft", "What just happened")
        self.waiting = label("large", "What is being opened")
        self.waiting.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.waiting.setFocusPolicy(Qt.FocusPolicy.NoFocus)  # the whole page would be marked as having it
        self.stack.addWidget(self.waiting)
        self._busy_look = QTimer(self, interval=_LOOK_MS)
        self._busy_look.timeout.connect(self._mark_busy)
        self._pieces = _load_plots()
        self._pieces_timer = QTimer(self, interval=0)
        self._pieces_timer.timeout.connect(self._load_piece)
        self._quiet = QTimer(self, singleShot=True, interval=_STATUS_MS)
        self._quiet.timeout.connect(lambda: self._say(""))
        self.setWindowTitle("Dawnbeat")
        self._lay_out()
        self._add_keys()
        context.said.connect(self._say)
        context.wanted.connect(self.go)
        self.setMinimumSize(_LEAST_SIZE)
        self._restore_place()
        self._say(context.last_said)
        QTimer.singleShot(0, self._greet)
        QTimer.singleShot(_WARM_UP_MS, self._warm_up)
        self.go(first)

    # Pages

    def go(self, key: str, what: Any = None) -> None:
        """Bring a page to the front, making it first where it was never shown."""
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
        self.stack.setCurrentWidget(page)
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
        self.waiting.setText(f"Opening {self._entries[key].accessibleName()}…")
        self.stack.setCurrentWidget(self.waiting)
        self._entries[key].setChecked(True)
        self._entries[key].setFocus()

        def loaded(_nothing: object) -> None:
            if self._opening == key:
                self.go(key, what)

        self.context.background.run(lambda task: _load(task, *NEEDS[key]), loaded, self.waiting.setText)

    def _mark_busy(self) -> None:
        """Say at its entry that a page has something going on, while another is in front."""
        for key, page in self.pages.items():
            busy = page.busy()
            entry = self._entries[key]
            words = _TITLES[key] + ("  ●" if busy and key != self.current else "")
            if entry.text() != words:
                entry.setText(words)
                entry.setAccessibleDescription(busy or "")
        going_on = any(page.busy() for page in self.pages.values())
        (self._busy_look.start if going_on else self._busy_look.stop)()

    def _make(self, key: str) -> PageWidget:
        module = importlib.import_module(f"dawnbeat.ui.window.{_MODULES[key]}")
        page: PageWidget = module.make_page(self.context)
        page.setAccessibleName(page.title)
        self.pages[key] = page
        self.stack.addWidget(page)
        return page

    def _greet(self) -> None:
        """The first words, once the window stands on the screen."""
        if not self.context.choices.met and self.isVisible():
            from dawnbeat.ui.window.shell.help import FirstStart

            FirstStart(self.context, self).open()

    def _warm_up(self) -> None:
        """Load beforehand what pages need, so that the first one opened is as quick as the next."""
        if self.isVisible():
            self.context.background.run(_load_libraries, done=lambda _: self._pieces_timer.start())

    def _load_piece(self) -> None:
        if next(self._pieces, self) is self:
            self._pieces_timer.stop()

    # Layout

    def _lay_out(self) -> None:
        contents = named(QWidget(), "Pages")
        contents.setObjectName("contents")
        group = QButtonGroup(self)
        *upper, lowest = (self._entry(group, key, title, goes) for key, title, _, goes in PAGES)
        stack(contents, *upper, None, lowest, margins=(0, 18, 0, 12), gap=2)
        foot = QWidget()
        foot.setObjectName("status")
        stack(foot, self.status, margins=(16, 6, 16, 6))
        self.context.theme_changed.connect(lambda _: self._fit_foot())
        beside = Scrolled(contents)
        beside.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        beside.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Expanding)
        whole = QWidget()
        stack(whole, row_of(beside, (column_of((self.stack, 1), foot, gap=0), 1), gap=0))
        self.setCentralWidget(whole)

    def _entry(self, group: QButtonGroup, key: str, title: str, digit: str) -> QPushButton:
        plain = title.replace("&", "")
        letter = title[title.index("&") + 1].upper()
        also = "" if key == "help" else f" or {controls.shown(f'Alt+{letter}')}"
        entry = named(QPushButton(title), plain, f"{plain} ({controls.shown(digit)}{also})")
        entry.setCheckable(True)
        entry.setProperty("class", "entry")
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
        for keys, does in (
            ("Ctrl+Q", self.close),  # Windows has no standard key for it
            ("Ctrl++", partial(self._text, +10)),
            ("Ctrl+=", partial(self._text, +10)),
            ("Ctrl+-", partial(self._text, -10)),
        ):
            QShortcut(QKeySequence(keys), self, does)
        controls.register(
            Key(QKeySequence(QKeySequence.StandardKey.Undo).toString(), "Undo the last change"),
            Key(QKeySequence(QKeySequence.StandardKey.Redo).toString(), "Do it again"),
            Key("Tab", "Go to the next control, Shift+Tab to the one before"),
            Key("Ctrl+Q", "Close the window"),
            Key("Ctrl++", "Larger text"),
            Key("Ctrl+-", "Smaller text"),
        )

    def _text(self, step: int) -> None:
        wanted = max(100, min(200, self.context.choices.text_percent + step))
        with self.context.saying():
            self.context.choose(text_percent=wanted)
            self.context.say(f"Text size {wanted} %.")

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
        if not isinstance(text, str) or not self.restoreGeometry(QByteArray.fromBase64(text.encode())):
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
        with suppress(DawnbeatError):  # a place on the screen is not worth keeping a window open for
            place = {"geometry": bytes(self.saveGeometry().toBase64().data()).decode("ascii")}
            self.context.store.save_state(self.context.store.load_state() | place)
        event.accept()

    def _really_close(self, going_on: list[str], unsaved: list[str]) -> bool:
        box = QMessageBox(self)
        box.setWindowTitle("Close Dawnbeat")
        box.setText(" ".join([*going_on, *unsaved]))
        box.setInformativeText("Go back to save them; closing now forgets them." if unsaved else "")
        words = "Close without them" if unsaved else "Close"
        close = box.addButton(words, QMessageBox.ButtonRole.AcceptRole)
        stay = box.addButton("Go back", QMessageBox.ButtonRole.RejectRole)
        box.setDefaultButton(stay)
        box.exec()
        return box.clickedButton() is close
