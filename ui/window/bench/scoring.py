"""What settings do to many recordings: a folder scored with them, and what is open before readings use them."""

from __future__ import annotations

import csv
import dataclasses
import functools
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PySide6.QtCore import QModelIndex, Qt, Signal
from PySide6.QtGui import QFont
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QFileDialog,
    QProgressBar,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.morning.bench import Score, scoring
from dawnbeat.morning.bench_text import share_words, verdict_words
from dawnbeat.morning.sources import read_with_reference, recordings_in
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.files import guard
from dawnbeat.shared.processes import Processes
from dawnbeat.shared.reading import Analysis
from dawnbeat.shared.settings import Settings
from dawnbeat.shared.wording import count_of, signed
from dawnbeat.signal.analysis import analyse
from dawnbeat.ui.window.bench.settings import plain_name, shown_value
from dawnbeat.ui.window.parts import controls, saving
from dawnbeat.ui.window.parts.background import Task, Work
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import label
from dawnbeat.ui.window.parts.layouts import flow_of, stack
from dawnbeat.ui.window.parts.rows import Column, RowsModel, RowsView, columns_button
from dawnbeat.ui.window.parts.tables import plain_table, write_rows

MOST_RECORDINGS = 40


def _right(title: str, tip: str, name: str, show: Callable[[Any], str]) -> Column[Score]:
    """A figure, sorted by how far it is from nothing; none comes first."""

    def text(score: Score) -> str:
        value = getattr(score, name)
        return "" if value is None else show(value)

    def key(score: Score) -> float:
        value = getattr(score, name)
        return -1.0 if value is None else abs(float(value))

    return Column(title, tip, text, key, right=True)


def _verdict(score: Score) -> str:
    if score.trouble is not None:
        return "unreadable"
    words = "usable" if score.usable else "not usable"
    if score.expected is not None and score.expected != score.usable:
        return f"wrongly {words}"
    return f"{words}, far off" if score.wrong else words


def _path(score: Score) -> str:
    return str(score.path)


COLUMNS: tuple[Column[Score], ...] = (
    Column("Verdict", "And whether it is the expected one", _verdict, lambda s: s.badness),
    Column(
        "Recording",
        "Its folder or file",
        lambda s: s.path.name,
        lambda s: s.path.name.casefold(),
        stays=True,
        hint=_path,
    ),
    _right("Agreement", "Beats that met their reference, or were met, the smaller share", "agreement", share_words),
    _right("Kept", "Share of the time that was kept", "kept_share", share_words),
    _right("Timing, ms", "Timing error of one beat", "timing_error_ms", "{:.1f}".format),
    _right("Interval off, ms", "Mean absolute difference to the reference", "difference_ms", "{:.1f}".format),
    _right(
        "RMSSD off, ms",
        "RMSSD less the reference's over the same intervals",
        "rmssd_off_ms",
        functools.partial(signed, decimals=1),
    ),
    _right("Pulse, bpm", "Mean pulse", "pulse_bpm", "{:.1f}".format),
    _right("RMSSD, ms", "Over the kept intervals", "rmssd_ms", "{:.1f}".format),
    Column("Why", "First reason of the verdict", lambda s: s.trouble or s.reason, lambda s: s.trouble or s.reason),
)


def _look(score: Score, column: Column[Score]) -> QFont | None:
    if column is not COLUMNS[0] or not (score.wrong or score.trouble):
        return None
    font = QFont()
    font.setBold(True)
    return font


def scores_csv(scores: Sequence[Score]) -> str:
    """The table as CSV, with whole paths."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([column.title for column in COLUMNS])
    for score in scores:
        texts = [_path(score) if column.title == "Recording" else column.text(score) for column in COLUMNS]
        writer.writerow([guard(text) for text in texts])
    return out.getvalue()


_LEGEND = (
    "Worst first: what can't be read; a verdict that isn't the expected one, or a usable reading whose RMSSD is more "
    "than 10 % off its reference; what isn't usable; then by agreement, kept share and timing error; last what is "
    "rightly not usable. Enter opens a row."
)


class ScoringView(QWidget):
    """opened: the path of a row that somebody wants on the bench."""

    opened = Signal(object)
    _came = Signal(object)

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.settings = context.detection
        self.folder: Path | None = None
        self.model = RowsModel(COLUMNS, lambda each: each.path, look=_look)
        self._work: Work | None = None
        self._pool: Processes[Path, Score] | None = None
        self._number = 0
        self._scored_with: Settings | None = None
        self._came.connect(self._add, Qt.ConnectionType.QueuedConnection)
        give = functools.partial(controls.button, where="Bench")
        self.choose = give("Score a folder…", "Ctrl+G", "Score every recording below a folder", self._ask)
        self.again = give("Again", "F5", "Score the same folder again, with these settings", self._score_again)
        self.stop = give("Stop", "Ctrl+.", "Stop scoring; what is scored stays", self.cancel)
        self.save = give("Save…", "Ctrl+Shift+E", "Save the scores as CSV", self._save)
        self.bar = QProgressBar()
        self.bar.setAccessibleName("Recordings scored")
        self.bar.setFormat("%v of %m")
        self.told = label(
            "",
            "Scoring",
            "Press “Score a folder…”: every recording below it will stand here, read with the parameters of this page.",
        )
        self.table = RowsView(context, self.model, "Scores", several=False, sorted_by=0)
        self.wide_button = columns_button(self.table, "Bench")
        self._lay_out()
        self.table.horizontalHeader().sortIndicatorChanged.connect(self.model.sort)
        self.table.activated.connect(self._open)
        self._show_state()

    def _lay_out(self) -> None:
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 4, 0, 0)
        layout.addLayout(flow_of(self.choose, self.again, self.stop, self.save))
        layout.addWidget(self.bar)
        layout.addWidget(self.told)
        self.table.setMinimumHeight(self.context.theme.px(160))
        self.listed = QWidget()
        sorting = label("small", "How the scores are sorted", _LEGEND)
        stack(self.listed, (self.table, 1), flow_of(self.wide_button), sorting)
        layout.addWidget(self.listed, 1)
        layout.addStretch(0)

    @property
    def running(self) -> bool:
        """Whether recordings are being scored."""
        return self._work is not None

    def set_settings(self, settings: Settings) -> None:
        """The settings that the next scoring uses; what is running goes on with its own."""
        self.settings = settings
        self._tell()

    def score(self, paths: Sequence[Path]) -> None:
        """Score every recording below these paths, beginning anew."""
        self.cancel()
        self.folder = paths[0]
        self.model.set_rows([])
        self._number += 1
        number, pool = self._number, scoring(self.settings)
        self._scored_with = self.settings

        def work(task: Task) -> int:
            found = recordings_in(paths)
            if not found:
                raise DawnbeatError(f"{paths[0]} holds no recording: choose another folder")
            task.progress(0, len(found))
            done = 0
            for each in pool.as_ready(found):
                if task.cancelled:
                    break
                if each is not None:
                    done += 1
                    self._came.emit((number, each))
                    task.progress(done, len(found))
            return len(found)

        self._pool = pool
        self.bar.setRange(0, 0)
        self._work = self.context.background.run(
            work, failed=self.told.setText, progressed=self._progress, ended=lambda: self._ended(number)
        )
        self._show_state()

    def cancel(self) -> None:
        """Stop scoring and let the processes go; the rows that came stay."""
        if self._pool is not None:
            self._pool.stop()
            self._pool = None
        if self._work is not None:
            self._work.cancel()
            self._work = None
        self._show_state()

    def _score_again(self) -> None:
        if self.folder is not None:
            self.score([self.folder])

    def _save(self) -> None:
        def write(path: Path) -> str:
            saving.write_whole(path, scores_csv(self.model.rows).encode("utf-8"), "save the scores")
            return count_of(len(self.model.rows), "score")

        saving.save(self.context, self, "Save the scores", "dawnbeat-scores.csv", "CSV (*.csv)", write)

    def _ask(self) -> None:
        chosen = QFileDialog.getExistingDirectory(self, "Score a folder", str(self.folder or ""))
        if chosen:
            self.score([Path(chosen)])

    def _progress(self, done: int, of: int) -> None:
        self.bar.setRange(0, of)
        self.bar.setValue(done)

    def _add(self, came: tuple[int, Score]) -> None:
        number, score = came
        if number == self._number:
            self.model.add(score)
            if len(self.model.rows) <= 20:
                self.table.fit()
            self._tell()

    def _ended(self, number: int) -> None:
        if number == self._number:
            self._work = self._pool = None
            self.table.fit()
            self._show_state()

    def _show_state(self) -> None:
        self.stop.setEnabled(self.running)
        self.again.setEnabled(self.folder is not None and not self.running)
        self.save.setEnabled(bool(self.model.rows))
        self.bar.setVisible(self.running)
        self.listed.setVisible(self.running or bool(self.model.rows))  # an empty table looks broken
        self._tell()

    def _tell(self) -> None:
        scores = self.model.rows
        if not scores:
            if self.running:
                self.told.setText(f"Looking for recordings below {self.folder}")
            return
        wrong = sum(each.wrong for each in scores)
        bad = sum(each.trouble is not None for each in scores)
        usable = sum(bool(each.usable) for each in scores)
        old = "" if self._scored_with == self.settings else " The settings have changed since: score again."
        self.told.setText(
            f"{len(scores)} scored: {usable} usable, {len(scores) - usable - bad} not usable, {bad} unreadable; "
            f"{wrong} of them wrong.{'' if self.running else ' Done.'}{old}"
        )

    def _open(self, index: QModelIndex) -> None:
        if 0 <= index.row() < len(self.model.rows):
            self.opened.emit(self.model.rows[index.row()].path)


@dataclass(frozen=True)
class Effect:
    """What other settings do to one recording: its analysis now and then, or why it can't be told."""

    path: Path
    now: Analysis | None = None
    then: Analysis | None = None
    trouble: str = ""


def differences(now: Settings, then: Settings) -> list[tuple[str, str, str, str]]:
    """Name, meaning, present and future value of each setting that differs."""
    found = []
    for parameter in dataclasses.fields(Settings):
        old, new = getattr(now, parameter.name), getattr(then, parameter.name)
        if old != new:
            about = parameter.metadata
            values = shown_value(old, about["unit"]), shown_value(new, about["unit"])
            found.append((plain_name(parameter.name), about["meaning"], *values))
    return found


def effect_on(path: Path, now: Settings, then: Settings) -> Effect:
    """Analyse one recording with both."""
    try:
        trace = read_with_reference(path).trace
        return Effect(path, analyse(trace, now), analyse(trace, then))
    except DawnbeatError as error:
        return Effect(path, trouble=str(error))


def effect_row(effect: Effect) -> tuple[str, str, str, str]:
    """Recording, pulse, RMSSD and verdict, each as "now, then" where it changes."""
    if effect.now is None or effect.then is None:
        return effect.path.name, "", "", effect.trouble
    return (
        effect.path.name,
        _change(effect.now, effect.then, "mean_hr_bpm", "bpm"),
        _change(effect.now, effect.then, "rmssd_ms", "ms"),
        _turn(verdict_words(effect.now), verdict_words(effect.then)),
    )


def _change(now: Analysis, then: Analysis, name: str, unit: str) -> str:
    old, new = getattr(now.metrics, name), getattr(then.metrics, name)
    if old is None or new is None:
        return _turn("none" if old is None else f"{old:.1f} {unit}", "none" if new is None else f"{new:.1f} {unit}")
    before, after = round(old, 1), round(new, 1)
    if before == after:
        return f"{after:.1f} {unit}, as now"
    return f"{before:.1f} → {after:.1f} {unit} ({signed(after - before, 1)} {unit})"


def _turn(old: str, new: str) -> str:
    return f"{new}, as now" if old == new else f"{old} → {new}"


class DefaultDialog(QDialog):
    """Accepted only by its own button, which waits until what would change has been worked out."""

    def __init__(self, parent: QWidget | None, context: AppContext, then: Settings, paths: Sequence[Path]) -> None:
        super().__init__(parent)
        self.context, self.then, self.now = context, then, context.detection
        self.effects: list[Effect] = []
        shown = list(paths)[:MOST_RECORDINGS]
        self.setWindowTitle("Use for readings")
        self.settings_table = plain_table(
            ("Setting", "Meaning", "Readings use", "They would use"), "Settings that differ", stretch=1
        )
        rows = differences(self.now, then)
        write_rows(self.settings_table, rows)
        self.effect_table = plain_table(
            ("Recording", "Pulse", "RMSSD", "Verdict"), "What it does to recordings", stretch=3
        )
        self.told = label("", "")
        buttons = QDialogButtonBox()
        self.yes = buttons.addButton("Use for readings from now on", QDialogButtonBox.ButtonRole.AcceptRole)
        self.no = buttons.addButton("Keep as it is", QDialogButtonBox.ButtonRole.RejectRole)
        self.no.setDefault(True)
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        foot = "Mornings that are saved already stay as they are. Ctrl+Z takes it back."
        layout = QVBoxLayout(self)
        layout.addWidget(label("heading", "", f"{count_of(len(rows), 'setting')} would change"))
        layout.addWidget(self.settings_table, 2)
        layout.addWidget(label("heading", "", "What that does to the recordings that are open"))
        layout.addWidget(self.told)
        layout.addWidget(self.effect_table, 3)
        layout.addWidget(label("small", "", foot))
        layout.addWidget(buttons)
        self.no.setFocus()
        self.resize(context.theme.px(860), context.theme.px(600))
        self.effect_table.setVisible(bool(shown))
        if not shown:
            self.told.setText("No recording is open, so nothing can be said of it. Better open some mornings first.")
            return
        self.yes.setEnabled(False)
        self.told.setText("Working it out…")
        self._left_aside = len(paths) - len(shown)

        def work(task: Task) -> list[Effect]:
            effects = []
            for number, path in enumerate(shown, start=1):
                effects.append(effect_on(path, self.now, then))
                task.progress(number, len(shown))
            return effects

        self._work = context.background.run(work, self._worked_out, self.told.setText, self._progress)
        self.finished.connect(self._work.cancel)

    def _progress(self, done: int, of: int) -> None:
        self.told.setText(f"Working it out: {done} of {of} recordings.")

    def _worked_out(self, effects: list[Effect]) -> None:
        self.effects = effects
        write_rows(self.effect_table, [effect_row(each) for each in effects])
        pairs = [(each.now, each.then) for each in effects if each.now is not None and each.then is not None]
        turned = sum(now.verdict.usable != then.verdict.usable for now, then in pairs)
        moved = sum(effect_row(each)[2].count("→") for each in effects)
        words = f"Of {len(effects)} recordings the verdict changes in {turned} and RMSSD in {moved}."
        if self._left_aside:
            words += f" {self._left_aside} more are open and were left aside: score their folder instead."
        self.told.setText(words)
        self.yes.setEnabled(True)
