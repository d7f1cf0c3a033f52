"""Opens the window on a journal."""

from __future__ import annotations

import signal
import socket
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from PySide6.QtCore import QSocketNotifier
from PySide6.QtWidgets import QApplication, QMessageBox

from dawnbeat.journal.store import Journal
from dawnbeat.morning.choices import ChoiceStore, home_to_open
from dawnbeat.morning.sources import HELP as SOURCES_HELP
from dawnbeat.morning.sources import file_named
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.display import display_problem
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.shell.main_window import HELP, PAGES, MainWindow, icon


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
    known = [key for key, *_ in (*PAGES, HELP)]
    if page is not None and page not in known:
        raise DawnbeatError(f"there is no page {page!r}: say {', '.join(known[:-1])} or {known[-1]}")
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
        window = MainWindow(context, page)
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
    app.setWindowIcon(icon())
    return app
