"""The run on the bench held against something else: which figures, and Bland and Altman's plot."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PySide6.QtCore import QSignalBlocker
from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import (
    QComboBox,
    QFileDialog,
    QFormLayout,
    QFrame,
    QHBoxLayout,
    QLabel,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.capture.recording import Recording
from dawnbeat.capture.trace_csv import read_times_csv
from dawnbeat.morning.bench import MOST_LAG_S, BenchRun, run_bench, second_opinion
from dawnbeat.morning.bench_text import comparison_rows
from dawnbeat.morning.sources import read_with_reference
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import FloatArray
from dawnbeat.signal.compare import Comparison, Series, compare
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, DoubleSpinBox
from dawnbeat.ui.window.parts.plots import Ink, Plot
from dawnbeat.ui.window.parts.work import Newest, Task

REFERENCE, OPINION = "reference", "opinion"
NO_REFERENCE = "This recording has no reference beats: a beats.csv with the column time_s beside it, or load one."
# A reference is on the recording's own clock; its marks may be another part of the beat.
_REFERENCE_LAG_S = 0.6
_LARGE_TEXT_PERCENT = 130
_OPINION_NOTE = (
    "Crests where one moving average stands above another (Elgendi et al. 2013, PLoS ONE 8:e76585), as the library "
    "neurokit2 has it. They lie at whole samples, so that its intervals scatter more than ours do; what tells is "
    "whether it finds the same beats."
)


@dataclass(frozen=True, eq=False)
class _Answer:
    """To which question, and the comparison or one sentence that says why there is none."""

    recording: Recording
    what: str | Path
    found: Comparison | str


class CompareView(QWidget):
    """Compares as soon as somebody looks, and again with every run."""

    def __init__(self, context: AppContext, read: Callable[[Path], Recording] = read_with_reference) -> None:
        super().__init__()
        self.context = context
        self.run: BenchRun | None = None
        self.found: Comparison | None = None
        self._loaded: tuple[str, FloatArray] | None = None
        self._choices: list[str | Path] = [REFERENCE, OPINION]
        self._stale = False
        self._what: object = None
        self._newest = Newest(context.background, self._arrived, self._failed, self)
        self._read_other = read
        self.other = ComboBox()
        self.other.setAccessibleName("Compare with")
        self.other.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.other.setMinimumContentsLength(5)
        self.lag = DoubleSpinBox()
        self.lag.setRange(0.0, 600.0)
        self.lag.setDecimals(1)
        self.lag.setSingleStep(5.0)
        self.lag.setSuffix(" s")
        self.lag.setValue(60.0)
        self.lag.setKeyboardTracking(False)
        self.lag.setAccessibleName("Greatest lag between the clocks of two recordings")
        self.lag.setToolTip("How far the clocks of two recordings may lie apart, 0 to 600 s")
        self._lag_words = QLabel("lag up to")
        self._lag_words.setBuddy(self.lag)
        tip = "Load reference beats for this recording from a CSV file"
        self.load = controls.button("Load…", "Ctrl+I", tip, self._ask_reference, "Bench")
        self.load.setAccessibleName("Load reference…")
        self.plot = Plot(
            context, "Differences of intervals", ("Mean of both intervals", "ms"), ("This less the other", "ms")
        )
        self.plot.canvas.setAcceptDrops(False)
        self.plot.readout.hide()
        self.plot.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Ignored)
        self.plot.setMinimumSize(context.theme.px(160), context.theme.px(260))
        self._dots = self.plot.dots(Ink("ink", 160), "o", 5)
        self._lines = [self.plot.level(Ink("accent", width=width, dash=dash)) for width, dash in _LINES]
        self._line_words = [self.plot.words(Ink("accent"), "", (1.0, 1.0)) for _ in _LINES]
        self.plot.viewed.connect(self._place_words)
        self.told = QLabel("Open a recording first.")
        self.told.setWordWrap(True)
        self.sheet = QFrame()
        self.rows = QFormLayout()
        self.values: list[QLabel] = []
        self._lay_out()
        self.other.currentIndexChanged.connect(self.again)
        self.lag.valueChanged.connect(self.again)
        self.set_recordings([])
        self._show_rows([])
        for item in (*self._lines, *self._line_words):
            item.setVisible(False)

    def _lay_out(self) -> None:
        top = QHBoxLayout()
        top.addWidget(self.other, 1)
        top.addWidget(self._lag_words)
        top.addWidget(self.lag)
        top.addWidget(self.load)
        self.sheet.setProperty("class", "sheet")
        self.sheet.setLayout(self.rows)
        self.rows.setContentsMargins(12, 10, 12, 10)
        self.rows.setHorizontalSpacing(14)
        self._fit_text()
        self.context.theme_changed.connect(self._fit_text)
        left = QVBoxLayout()
        left.addWidget(self.sheet)
        left.addStretch(1)
        middle = QHBoxLayout()
        middle.addWidget(self.plot, 1)
        middle.addLayout(left)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 4, 0, 0)
        layout.addLayout(top)
        layout.addWidget(self.told)
        layout.addLayout(middle, 1)

    def _fit_text(self, _theme: object = None) -> None:
        """Large text leaves no room for names beside their values."""
        large = self.context.theme.text_percent >= _LARGE_TEXT_PERCENT
        policy = QFormLayout.RowWrapPolicy
        self.rows.setRowWrapPolicy(policy.WrapAllRows if large else policy.DontWrapRows)

    # What there is to compare with

    def set_recordings(self, paths: Sequence[Path]) -> None:
        """The recordings that are open; each can be compared with."""
        chosen = self.chosen
        self._choices = [REFERENCE, OPINION, *paths]
        with QSignalBlocker(self.other):
            self.other.clear()
            self.other.addItems(["with reference beats", "with crests by two moving averages (Elgendi et al. 2013)"])
            self.other.addItems([f"with {path.name}" for path in paths])
        self.compare_with(chosen if chosen in self._choices else REFERENCE)

    @property
    def chosen(self) -> str | Path:
        """REFERENCE, OPINION or the path of an open recording."""
        return self._choices[max(0, self.other.currentIndex())]

    def compare_with(self, what: str | Path) -> None:
        """Choose REFERENCE, OPINION or the path of an open recording."""
        self.other.setCurrentIndex(self._choices.index(what))

    def load_reference(self, path: Path) -> None:
        """Take reference beats for the present recording from a file; what is wrong with it is said."""
        if self.run is None:
            self.context.say("Open a recording first, then its reference.")
            return
        with self.context.saying():
            self._loaded = (str(self.run.recording.path), read_times_csv(path))
            self.compare_with(REFERENCE)
            self.again()

    def _ask_reference(self) -> None:
        chosen, _ = QFileDialog.getOpenFileName(self, "Load reference beats", "", "Beats (*.csv);;All files (*)")
        if chosen:
            self.load_reference(Path(chosen))

    # Comparing

    def draw(self, run: BenchRun) -> None:
        """Take another run."""
        self.run = run
        self.again()

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802  Qt's name
        """Work out what was put off while nobody looked."""
        super().showEvent(event)
        if self._stale:
            self.again()

    def again(self) -> None:
        """Compare, or put it off until somebody looks."""
        run, what = self.run, self.chosen
        for widget in (self.lag, self._lag_words):
            widget.setVisible(isinstance(what, Path))
        self.load.setVisible(what == REFERENCE)
        self._stale = not self.isVisible()
        if run is None or self._stale:
            return
        make = self._maker(run, what)
        if what != self._what:
            self._failed("Comparing…")
            self._what = what
        if make is None:
            self._newest.drop()
            self._failed(NO_REFERENCE)
            return
        max_lag_s = self.lag.value() if isinstance(what, Path) else _REFERENCE_LAG_S
        if what == OPINION:
            max_lag_s = MOST_LAG_S

        def work(_task: Task) -> _Answer:
            try:
                return _Answer(run.recording, what, compare(run.series, make(), max_lag_s))
            except DawnbeatError as error:
                return _Answer(run.recording, what, str(error))

        self._newest.want(work)

    def _maker(self, run: BenchRun, what: str | Path) -> Callable[[], Series] | None:
        """Makes the other series, off the window's thread; None where there is no reference."""
        if what == OPINION:
            return lambda: second_opinion(run)
        if isinstance(what, Path):
            return lambda: run_bench(self._read_other(what), run.settings).series
        beats_s = run.recording.beats_s
        if self._loaded is not None and self._loaded[0] == str(run.recording.path):
            beats_s = self._loaded[1]
        return None if beats_s is None else functools.partial(Series.of_beats, beats_s)

    def _arrived(self, answer: _Answer) -> None:
        asked = answer.what == self.chosen
        if self.run is None or answer.recording is not self.run.recording or not asked:
            return  # the question has changed since, and its own answer is on the way
        if isinstance(answer.found, str):
            self._failed(answer.found)
            return
        self.found, note = answer.found, _note(answer.what)
        self._show_rows(comparison_rows(self.found))
        difference_ms = self.found.difference_ms
        self.told.setText(note if difference_ms.size else f"No interval is kept by both. {note}")
        self._dots.setData((self.found.interval_a_ms + self.found.interval_b_ms) / 2.0, difference_ms)
        limits = self.found.limits_of_agreement_ms
        for line, words, name, at in zip(self._lines, self._line_words, _NAMES, limits or (0.0,) * 3, strict=True):
            line.setVisible(limits is not None)
            words.setVisible(limits is not None)
            line.setValue(at)
            words.setText(f"{name} {at:+.1f} ms")
        if limits is not None:
            low, high = np.percentile(difference_ms, (0.5, 99.5))
            low, high = min(float(low), limits[1]), max(float(high), limits[2])
            room = 0.18 * max(high - low, 1.0)
            self.plot.box.setYRange(low - room, high + room, padding=0)
            self.plot.box.enableAutoRange(axis="x")
        self._place_words()

    def _failed(self, sentence: str) -> None:
        self.found = None
        self._show_rows([])
        self._dots.setData([], [])
        for item in (*self._lines, *self._line_words):
            item.setVisible(False)
        self.told.setText(sentence[:1].upper() + sentence[1:])

    def _show_rows(self, rows: list[tuple[str, str]]) -> None:
        if len(rows) != len(self.values):
            while self.rows.rowCount():
                self.rows.removeRow(0)
            self.values = [QLabel() for _ in rows]
            for (name, _), value in zip(rows, self.values, strict=True):
                title = QLabel(name)
                title.setProperty("class", "small")
                self.rows.addRow(title, value)
        for (name, text), value in zip(rows, self.values, strict=True):
            value.setText(text)
            value.setAccessibleName(f"{name}: {text}")
        self.sheet.setVisible(bool(rows))

    def _place_words(self) -> None:
        right = self.plot.visible_x()[1]
        for line, words in zip(self._lines, self._line_words, strict=True):
            words.setPos(right, line.value())


_LINES = ((2.0, False), (1.2, True), (1.2, True))
_NAMES = ("bias", "lower limit", "upper limit")


def _note(what: str | Path) -> str:
    if what == OPINION:
        return _OPINION_NOTE
    if isinstance(what, Path):
        return f"Beats of {what.name}, analysed with the same settings."
    return "The reference’s intervals all count; its marks may lie at another part of the beat, which shows as lag."
