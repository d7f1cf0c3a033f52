"""The page where a recording is replayed and the detection tuned."""

from __future__ import annotations

import contextlib
import functools
import html
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

from PySide6.QtCore import QSignalBlocker, Qt, QTimer
from PySide6.QtGui import QDragEnterEvent, QDragLeaveEvent, QDropEvent
from PySide6.QtWidgets import (
    QFileDialog,
    QHBoxLayout,
    QMenu,
    QSplitter,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.capture.recording import Recording
from dawnbeat.morning.bench import BenchRun, run_bench
from dawnbeat.morning.bench_text import beats_csv, change_words, intervals_csv, run_words, verdict_words
from dawnbeat.morning.reading_text import verdict_lines
from dawnbeat.morning.sources import FILTER, read_with_reference, recordings_in
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.reading import Analysis
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.wording import capital
from dawnbeat.ui.window.bench.settings import WHERE, SettingsPanel
from dawnbeat.ui.window.bench.views import Views
from dawnbeat.ui.window.parts import controls, saving
from dawnbeat.ui.window.parts.background import Newest, Task
from dawnbeat.ui.window.parts.context import AppContext, PageWidget
from dawnbeat.ui.window.parts.controls import ComboBox, label
from dawnbeat.ui.window.parts.layouts import Scrolled, flow_of

_REMEMBERED = 6
_LIVE_MS = 1000
_RECENT = 8
_RECENT_KEY = "bench_recent"


def make_page(context: AppContext) -> BenchPage:
    """The page for the window."""
    return BenchPage(context)


class BenchPage(PageWidget):
    """Recordings on the left, with plots, comparison and scores; the parameters on the right.

    paths: what is open. run: what is drawn, None before the first.
    """

    key = "bench"
    title = "Bench"

    def __init__(self, context: AppContext) -> None:
        super().__init__(context)
        self.paths: list[Path] = []
        self.run: BenchRun | None = None
        self._before: BenchRun | None = None  # the same recording with the settings that readings use
        self._compared: BenchRun | None = None
        self._recording: Recording | None = None
        self._read = functools.lru_cache(maxsize=_REMEMBERED)(read_with_reference)
        self._finder = Newest(context.background, self._found, self._trouble, self)
        self._reader = Newest(context.background, self._read_it, self._trouble, self)
        self._runner = Newest(context.background, self._ran, self._trouble, self)
        self.panel = SettingsPanel(context)
        self.views = Views(context, self._read, self.panel.settings)
        self.chooser = ComboBox()
        self.verdict = label("", "Verdict")
        self.told = label("small", "")
        self.figures = label("small", "Figures")
        self.live = label("small", "Last live reading")
        self._live_timer = QTimer(self, interval=_LIVE_MS)
        self._live_timer.timeout.connect(self._show_live)
        self._lay_out()
        self._connect()
        self.setAcceptDrops(True)

    def _lay_out(self) -> None:
        give = functools.partial(controls.button, where=WHERE)
        open_files = give("Open…", "Ctrl+O", "Open one or many recordings", self._ask_files)
        open_folder = give("Folder…", "Ctrl+Shift+O", "Open every recording below a folder", self._ask_folder)
        open_folder.setAccessibleName("Open folder…")
        self.recent = give("Recent", "Ctrl+K", "Open what was open lately, or one of the journal", self._ask_recent)
        self.export = give("Export…", "Ctrl+E", "Save the beats or the intervals as CSV", self._ask_export)
        self.chooser.setAccessibleName("Recording on the bench")
        self.chooser.narrow(6)
        step = functools.partial(controls.step_button, where=WHERE)
        self.earlier = step("‹", "PgUp", "Previous recording", pressed=lambda: self.step_recording(-1))
        self.later = step("›", "PgDown", "Next recording", pressed=lambda: self.step_recording(+1))
        chosen = QWidget()
        row = QHBoxLayout(chosen)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.chooser, 1)
        row.addWidget(self.earlier)
        row.addWidget(self.later)
        head = flow_of(open_files, open_folder, self.recent, self.export)
        head.add_last(chosen)
        self.told.setTextFormat(Qt.TextFormat.PlainText)
        self.figures.setTextInteractionFlags(
            Qt.TextInteractionFlag.TextSelectableByMouse | Qt.TextInteractionFlag.TextSelectableByKeyboard
        )
        self.figures.setFocusPolicy(Qt.FocusPolicy.StrongFocus)  # and so the page scrolls to them
        left = QWidget()
        column = self._column = QVBoxLayout(left)
        column.setSpacing(4)
        column.addLayout(head)
        column.addWidget(self.verdict)
        column.addWidget(self.views, 1)
        column.addWidget(self.live)
        self.panel.setContentsMargins(8, 12, 12, 8)
        both = self.both = QSplitter()
        self._left = Scrolled(left)
        both.addWidget(self._left)
        self.aside = Scrolled(self.panel)
        both.addWidget(self.aside)
        both.setStretchFactor(0, 1)
        both.setStretchFactor(1, 0)
        both.setCollapsible(0, False)
        both.setSizes([2000, 1])  # the parameters as narrow as they can be
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(both)
        self._describe()

    def _connect(self) -> None:
        self.panel.changed.connect(self._settings_changed)
        self.context.detection_changed.connect(self._analyse)
        self.panel.wanted_as_default.connect(self.ask_default)
        self.chooser.activated.connect(lambda at: self.put_on(self.paths[at]))
        self.views.opened.connect(self._open_scored)
        self.views.currentChanged.connect(self._view_turned)

    # Page

    @property
    def beside(self) -> bool:
        """Whether the parameters stand beside the plots, rather than in a tab of their own."""
        return self.aside.widget() is not None

    def arrange(self) -> None:
        """Parameters beside the plots, or in a tab of their own where that leaves no room."""
        beside = self.width() >= self.context.theme.px(760)
        if beside and not self.beside:
            self.views.removeTab(self.views.indexOf(self.panel))
            self.panel.setContentsMargins(8, 12, 12, 8)
            self.aside.setWidget(self.panel)
            self.both.setSizes([2000, 1])
        elif not beside and self.beside:
            self.panel.setContentsMargins(0, 8, 8, 8)
            self.views.setTabToolTip(self.views.addTab(self.aside.takeWidget(), "Tune"), "Parameters of the detection")
        self.aside.setVisible(beside)
        self._column.setContentsMargins(16, 12, 8 if beside else 16, 6)
        # Never narrower than the parameters can be read.
        least = self.panel.minimumSizeHint().width() + 2 * self.aside.frameWidth() if beside else 0
        self.aside.setMinimumWidth(least)
        self.panel.spread(not beside)
        self.views.put_plots_first(not beside)
        self._place_words()
        self._describe()

    def _place_words(self) -> None:
        """With little room the plots come first, and what is told of the recording below them.

        Parameters stand below the figures that they change.
        """
        tuning = self.views.currentWidget() is self.panel
        for words_of, first in ((self.figures, self.beside or tuning), (self.told, self.beside)):
            self._column.removeWidget(words_of)
            self._column.insertWidget(self._column.indexOf(self.verdict if first else self.views) + 1, words_of)

    def _view_turned(self) -> None:
        self._place_words()
        self._left.ensureWidgetVisible(self.views.tabBar())

    def shown(self, what: Any = None) -> None:
        """`what`: None, the path of a recording or folder, or several."""
        self._show_live()
        self._live_timer.start()
        self.views.prepare()
        if isinstance(what, str | Path):
            self.open([Path(what)])
        elif isinstance(what, Sequence):
            self.open([Path(each) for each in what])

    def hidden(self) -> None:
        """Scoring goes on; it is off the window's thread."""
        self._live_timer.stop()

    def unsaved(self) -> str | None:
        """Parameters that were tuned and stand nowhere else."""
        return self.panel.unsaved()

    def closing(self) -> None:
        """Let the scoring processes go."""
        self._live_timer.stop()
        for each in (self._finder, self._reader, self._runner):
            each.drop()
        self.views.cancel()

    # Opening

    def open(self, paths: Iterable[Path]) -> None:
        """Open recordings beside those that are open, and put the first of them on the bench."""
        wanted = list(paths)
        self._read.cache_clear()  # opened again means read again
        self._finder.want(lambda _task: (wanted, recordings_in(wanted)))

    def _found(self, what: tuple[list[Path], list[Path]]) -> None:
        wanted, found = what
        if not found:
            self.context.say(f"{wanted[0] if wanted else 'That'} holds no recording: open another folder.")
            return
        self.paths += [path for path in found if path not in self.paths]
        with QSignalBlocker(self.chooser):
            self.chooser.clear()
            self.chooser.addItems([self._name(path) for path in self.paths])
        self.views.set_recordings(self.paths)
        if len(found) > 1:
            self.context.say(f"{len(found)} recordings opened.")
        self._remember(found[:_RECENT])
        self.put_on(found[0])

    def _name(self, path: Path) -> str:
        twins = sum(other.name == path.name for other in self.paths)
        return path.name if twins == 1 else f"{path.parent.name}/{path.name}"

    def put_on(self, path: Path) -> None:
        """Put an open recording on the bench."""
        place = self.paths.index(path)
        self.chooser.setCurrentIndex(place)
        self.earlier.setEnabled(place > 0)
        self.later.setEnabled(place < len(self.paths) - 1)
        self._recording = None
        self.verdict.setText(f"Reading {path.name}…")
        self._reader.want(lambda _task: (path, self._read(path)))

    def step_recording(self, way: int) -> None:
        """Put the next (+1) or previous (-1) recording on the bench."""
        place = self.chooser.currentIndex() + way
        if 0 <= place < len(self.paths):
            self.put_on(self.paths[place])

    def _read_it(self, what: tuple[Path, Recording]) -> None:
        path, recording = what
        if self.paths[self.chooser.currentIndex()] == path:
            self._recording = recording
            self._analyse()

    def _open_scored(self, path: Path) -> None:
        self.views.setCurrentIndex(0)
        self.open([path])

    def _ask_files(self) -> None:
        chosen, _ = QFileDialog.getOpenFileNames(self, "Open recordings", self._folder(), FILTER)
        if chosen:
            self.open([Path(each) for each in chosen])

    def _ask_folder(self) -> None:
        chosen = QFileDialog.getExistingDirectory(self, "Open a folder of recordings", self._folder())
        if chosen:
            self.open([Path(chosen)])

    def _folder(self) -> str:
        return str(self.paths[-1].parent) if self.paths else ""

    def _remember(self, paths: Sequence[Path]) -> None:
        state = self.context.store.load_state()
        before = [each for each in state.get(_RECENT_KEY, []) if isinstance(each, str)]
        opened = [str(path.absolute()) for path in paths]
        with contextlib.suppress(DawnbeatError):  # not worth a word
            recent = [*opened, *(each for each in before if each not in opened)][:_RECENT]
            self.context.store.save_state(state | {_RECENT_KEY: recent})

    def lately(self) -> list[tuple[str, Path]]:
        """What was open lately and is still there, then the newest recordings of the journal; each with its words."""
        state = self.context.store.load_state()
        kept = [Path(each) for each in state.get(_RECENT_KEY, []) if isinstance(each, str)]
        found = [(f"{path.parent.name}/{path.name}", path) for path in kept if path.exists()]
        with self.context.saying():
            readings = [each for each in self.context.journal.readings() if each.recording]
            for reading in reversed(readings[-_RECENT:]):
                path = self.context.home / str(reading.recording)
                found.append((f"the journal's reading of {reading.local_date}, {reading.began:%H:%M}", path))
        return found

    def _ask_recent(self) -> None:
        menu = QMenu(self)
        for words, path in self.lately():
            menu.addAction(words.replace("&", "&&"), functools.partial(self.open, [path]))
        if menu.isEmpty():
            menu.addAction("Nothing yet: open a recording first").setEnabled(False)
        menu.popup(self.recent.mapToGlobal(self.recent.rect().bottomLeft()))

    def _ask_export(self) -> None:
        menu = QMenu(self)
        menu.addAction("Beats…", lambda: self.save_csv("beats", beats_csv))
        menu.addAction("Intervals…", lambda: self.save_csv("intervals", intervals_csv))
        menu.popup(self.export.mapToGlobal(self.export.rect().bottomLeft()))

    def save_csv(self, what: str, text_of: Callable[[Analysis], str]) -> None:
        """Ask for a name and save the beats or the intervals of what is on the bench."""
        run = self.run
        if run is None:
            self.context.say("Open a recording first.")
            return
        content = text_of(run.analysis).encode("utf-8")
        name = f"{run.recording.name}-{what}.csv"
        saving.save(
            self.context, self, f"Save the {what}", name, "CSV (*.csv)",
            lambda path: saving.write_whole(path, content, f"save the {what}"),
        )  # fmt: skip

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:  # noqa: N802  Qt's name
        """Take files and folders."""
        if saving.paths_in(event.mimeData()):
            event.acceptProposedAction()
            self.live.setText("Let go to open.")
            self.live.show()

    def dragLeaveEvent(self, event: QDragLeaveEvent) -> None:  # noqa: N802  Qt's name
        """Not here after all."""
        self._show_live()

    def dropEvent(self, event: QDropEvent) -> None:  # noqa: N802  Qt's name
        """Open what was dropped."""
        event.acceptProposedAction()
        self._show_live()
        self.open(saving.paths_in(event.mimeData()))

    # Analysing

    def _settings_changed(self, settings: Settings) -> None:
        self.views.set_settings(settings)
        self._analyse()

    def _analyse(self) -> None:
        recording, settings = self._recording, self.panel.settings
        if recording is not None:
            usual = self.context.detection
            before = self._before if self._before is not None and self._before.recording is recording else None
            if before is not None and before.settings != usual:
                before = None

            def work(_task: Task) -> tuple[BenchRun, BenchRun | None]:
                run = run_bench(recording, settings)
                if settings == usual:
                    return run, None
                return run, before or run_bench(recording, usual)

            self._runner.want(work)

    def _ran(self, what: tuple[BenchRun, BenchRun | None]) -> None:
        run, before = what
        if run.recording is not self._recording:
            return
        self.run, self._before = run, before if before is not None else self._before
        self._compared = before
        self.views.draw(run, before)
        self._describe()

    def _describe(self) -> None:
        run = self.run
        for words_of in (self.verdict, self.told, self.figures):
            words_of.setVisible(run is not None)
        self.export.setEnabled(run is not None)
        if run is None:
            self.earlier.setEnabled(False)
            self.later.setEnabled(False)
            return
        verdict, words = run.analysis.verdict, verdict_words(run.analysis)
        lines = html.escape("; ".join(verdict_lines(verdict)))
        self.verdict.setText(f"<b>{capital(words)}</b>" + (f": {lines}" if self.beside else ""))
        self.verdict.setAccessibleDescription(f"{words}: {'; '.join(verdict_lines(verdict))}")
        notes = [*run.recording.notes, str(run.recording.about.get("notes") or "")]
        self.told.setText(" · ".join(note for note in notes if note))
        self.told.setVisible(bool(self.told.text()))
        words = run_words(run)
        if self._compared is not None:
            changed = change_words(self._compared.analysis, run.analysis) or "nothing that is shown here"
            words += f"<br>Against the settings that readings use: {html.escape(changed)}"
        self.figures.setText(words if self.beside else f"{capital(lines)}.<br>{words}")

    def _trouble(self, sentence: str) -> None:
        self.context.say(sentence)
        if self._recording is None:
            self.verdict.setText("It can't be read.")
            self.told.setText(sentence)
            for words_of in (self.verdict, self.told):
                words_of.setVisible(True)
            self.figures.clear()
            self.views.empty()

    def _show_live(self) -> None:
        figures = self.context.live_figures
        ran = figures is not None and bool(figures.frames)
        self.live.setText(f"Live view: {figures.words()}" if figures is not None and ran else "")
        self.live.setVisible(ran)  # a line that says nothing takes room from the plots

    # Making the default

    def ask_default(self) -> None:
        """Show what would change if readings used these settings, and do so only when told."""
        from dawnbeat.ui.window.bench.scoring import DefaultDialog

        dialog = DefaultDialog(self, self.context, self.panel.settings, self.paths)
        dialog.accepted.connect(lambda: self._make_default(dialog.then))
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.open()

    def _make_default(self, then: Settings) -> None:
        now = self.context.detection
        done = self.context.do(
            "other settings for readings",
            lambda: self.context.make_detection_default(then),
            lambda: self.context.make_detection_default(now),
        )
        if done:
            self.context.say("Readings use these settings from now on. Ctrl+Z takes it back.")
