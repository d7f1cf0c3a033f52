"""What every page is given, and what it owes the window.

Given are the journal, the choices, speech, undo, and work off the window's thread.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject, Signal
from PySide6.QtGui import QGuiApplication, QResizeEvent, QUndoCommand, QUndoStack
from PySide6.QtWidgets import QApplication, QWidget

from dawnbeat.journal.store import Journal
from dawnbeat.morning.choices import ChoiceStore
from dawnbeat.shared.errors import DawnbeatError, plain_errors
from dawnbeat.shared.files import private_folder, write_private
from dawnbeat.shared.settings import Settings, settings_from_toml, settings_to_toml
from dawnbeat.ui.window.parts import theme as themes
from dawnbeat.ui.window.parts.background import Background

if TYPE_CHECKING:
    from dawnbeat.journal.ranges import RangeSettings
    from dawnbeat.morning.background import LiveFigures


class AppContext(QObject):
    """Shared by all pages; lives in the window's thread.

    journal: the open Journal, for the window's thread only; work in the background opens its own on `home`.
    background: `run(function, done, failed, progressed)` off the window's thread. undo: the one undo stack.

    Signals: journal_changed after anything was saved, changed or undone; choices_changed after Settings;
    theme_changed with the new Theme, for what draws itself; said and wanted are for the window.
    """

    journal_changed = Signal()
    choices_changed = Signal()
    detection_changed = Signal()
    theme_changed = Signal(object)
    said = Signal(str)
    wanted = Signal(str, object)

    def __init__(self, journal: Journal, store: ChoiceStore | None = None) -> None:
        super().__init__()
        self.journal = journal
        self.store = ChoiceStore() if store is None else store
        self.choices = self.store.load()
        self.background = Background(self)
        self.undo = QUndoStack(self)
        self.source: str | None = None  # where light comes from this once, instead of what was chosen
        self.live_figures: LiveFigures | None = None  # of the present or last live view, once Read was shown
        self.theme = themes.Theme()
        self.last_said = ""
        self._detection: Settings | None = None
        QGuiApplication.styleHints().colorSchemeChanged.connect(self._system_turned)
        self.retheme()

    @property
    def home(self) -> Path:
        """The journal's folder."""
        return self.journal.home

    # Speaking and going

    def say(self, sentence: str) -> None:
        """Show one sentence on the line at the foot of the window, which screen readers hear too."""
        self.last_said = sentence
        self.said.emit(sentence)

    @contextmanager
    def saying(self, before: str = "") -> Iterator[None]:
        """Say what goes wrong inside the block, with `before` in front of it; the rest of the block is left out."""
        try:
            yield
        except DawnbeatError as error:
            self.say(f"{before}{error}")

    def go(self, page: str, what: Any = None) -> None:
        """Bring a page to the front by its key; `what` is handed to its `shown`."""
        self.wanted.emit(page, what)

    # Choices

    def choose(self, **changes: Any) -> None:
        """Change choices by name, keep them on disk and tell everybody; raises DawnbeatError if refused."""
        chosen = dataclasses.replace(self.choices, **changes)
        if changes.get("journal"):  # begun now, so that its absence later means that its disk is not there
            Journal.open(Path(chosen.journal)).close()
        self.choices = chosen
        self.store.save(self.choices)
        if {"theme", "text_percent"} & set(changes):
            self.retheme()
        self.choices_changed.emit()

    @property
    def ranges(self) -> RangeSettings:
        """The windows of the usual range, as chosen."""
        return self.choices.range_settings

    @property
    def detection(self) -> Settings:
        """The settings that readings are analysed with: those made the default on Bench, else the usual."""
        if self._detection is None:
            self._detection = Settings()
            if self.store.detection_path.exists():
                try:
                    self._detection = settings_from_toml(self.store.detection_path)
                except DawnbeatError as error:
                    self.say(f"The saved detection settings can't be used, so the usual ones are: {error}")
        return self._detection

    def make_detection_default(self, settings: Settings) -> None:
        """Analyse readings with these from now on; raises DawnbeatError when they can't be kept."""
        path = self.store.detection_path
        with plain_errors("save the detection settings", path):
            private_folder(path.parent)
            write_private(path, settings_to_toml(settings).encode("utf-8"))
        self._detection = settings
        self.detection_changed.emit()

    # Theme

    def retheme(self) -> None:
        """Take the theme from the choices and what the system says."""
        chosen = themes.Theme(themes.inks_for(self.choices.theme), self.choices.text_percent)
        if chosen == self.theme and getattr(self, "_themed", False):
            return
        self._themed = True
        self.theme = chosen
        app = QApplication.instance()
        if isinstance(app, QApplication):
            themes.apply(app, chosen)
        self.theme_changed.emit(chosen)

    def _system_turned(self) -> None:
        if self.choices.theme == "system":
            self.retheme()

    # Changing what can be undone

    def do(self, words: str, forth: Callable[[], Any], back: Callable[[], Any], done: str = "") -> bool:
        """Do something that Ctrl+Z undoes; returns whether it was done. `words` name it, as in "bin 3 May".

        `forth` and `back` may raise DawnbeatError: it is said, and nothing goes on the stack. done: said afterwards.
        """
        if not self._attempt(forth):
            return False
        self.undo.push(_Step(self, words, forth, back))
        if done:
            self.say(done)
        return True

    def _attempt(self, change: Callable[[], Any]) -> bool:
        done = False
        with self.saying():
            change()
            done = True
        self.journal_changed.emit()
        return done


class _Step(QUndoCommand):
    def __init__(self, context: AppContext, words: str, forth: Callable[[], Any], back: Callable[[], Any]) -> None:
        super().__init__(words)
        self._context, self._forth, self._back = context, forth, back
        self._done_already = True

    def redo(self) -> None:
        if self._done_already:  # pushing calls redo, and the first time is done before
            self._done_already = False
            return
        self._run(self._forth, f"Done again: {self.text()}.")

    def undo(self) -> None:
        self._run(self._back, f"Undone: {self.text()}.")

    def _run(self, change: Callable[[], Any], words: str) -> None:
        if self._context._attempt(change):
            self._context.say(words)
        else:
            self.setObsolete(True)


class View(QWidget):
    """A part of the window that is arranged anew for another width and for another size of text."""

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        context.theme_changed.connect(self._turned)

    def arrange(self) -> None:
        """Called for another width and another text size: parts beside one another, or one below the other."""

    def _turned(self, _theme: object) -> None:
        self.arrange()

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """Another width."""
        super().resizeEvent(event)
        self.arrange()


class PageWidget(View):
    """A page with nothing to stop and nothing to lose: override what differs.

    A module `NAME/page.py` of the window exports `make_page(context) -> PageWidget`.
    key: its short name, as in `dawnbeat window --page KEY`. title: the word in the navigation.
    """

    key = ""
    title = ""

    def shown(self, what: Any = None) -> None:
        """Called whenever the page comes to the front; `what` is what `context.go` was given."""

    def hidden(self) -> None:
        """Called when another page comes to the front: stop cameras and timers here."""

    def busy(self) -> str | None:
        """What closing the window would break off, and what becomes of it, in one sentence; None where nothing is."""
        return None

    def unsaved(self) -> str | None:
        """What closing the window would forget, in one sentence; None where nothing."""
        return None

    def closing(self) -> None:
        """Called once before the window closes: keep what there is, and let devices go."""


class JournalPage(PageWidget):
    """A page that shows what the journal holds: it is read again once it changed and the page is in front."""

    def __init__(self, context: AppContext) -> None:
        super().__init__(context)
        self._stale = True
        context.journal_changed.connect(self.journal_changed)

    def shown(self, what: Any = None) -> None:
        """Refresh what changed."""
        if self._stale:
            self.refresh()

    def refresh(self) -> None:
        """Read the journal again."""
        self._stale = False

    def journal_changed(self) -> None:
        """Read it again now, or when the page comes to the front."""
        self._stale = True
        if self.isVisible():
            self.refresh()
