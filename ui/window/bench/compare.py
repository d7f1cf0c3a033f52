"""The run on the bench held against its own median beat and its filter, and against something else.

The shape: edges of the beats over their median, and the spectrum. The comparison: which figures, and Bland and Altman's
plot.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PySide6.QtCore import QSignalBlocker, Qt, QTimer
from PySide6.QtGui import QFontMetricsF, QResizeEvent, QShowEvent
from PySide6.QtWidgets import (
    QBoxLayout,
    QFileDialog,
    QFormLayout,
    QFrame,
    QLabel,
    QSizePolicy,
    QSplitter,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.capture.recording import Recording
from dawnbeat.capture.trace_csv import read_times_csv
from dawnbeat.morning.bench import (
    MOST_LAG_S,
    BenchRun,
    Edges,
    Spectrum,
    edges_between,
    run_bench,
    second_opinion,
    spectrum_between,
)
from dawnbeat.morning.bench_text import comparison_rows
from dawnbeat.morning.sources import read_with_reference
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.trace import FloatArray
from dawnbeat.shared.wording import capital, signed
from dawnbeat.signal.compare import Comparison, Series, compare
from dawnbeat.ui.window.bench.traces import embedded
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.background import Newest, Task
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, DoubleSpinBox, label
from dawnbeat.ui.window.parts.drawing import NUMBERS, Ink
from dawnbeat.ui.window.parts.layouts import flow_of, stack
from dawnbeat.ui.window.parts.plots import Plot

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
_EDGE_LEGEND = (
    "Of the beats in view: thin, each edge; thick, the median edge; dashed, the chosen beat. Between the upright lines "
    "edges are compared."
)
_SPECTRUM_LEGEND = (
    "Spectrum: faint before the filter, strong after it; dashed upright lines, the filter's limits; 1, 2, 3, the pulse "
    "and its harmonics."
)
_LIMITS_LEGEND = "━ bias    ┅ limits of agreement (Bland and Altman 1986, Lancet 1:307-310)"
_LEAST_WIDE_PX = 240  # of a plot that stands beside another
_SETTLE_MS = 30
_MOST_HZ = 15.0
_APART = 3.0  # from number to number, against their width
_LEAST_AMPLITUDE = 1e-3


class ShapeView(QWidget):
    """Follows the stretch of time that the traces show. Worked out only while somebody looks."""

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.run: BenchRun | None = None
        self.seconds = (0.0, 0.0)
        self.beat: int | None = None
        self.edges: Edges | None = None
        self.spectrum: Spectrum | None = None
        self._newest = Newest(context.background, self._arrived, context.say, self)
        self._settle = QTimer(self, singleShot=True, interval=_SETTLE_MS)
        self._settle.timeout.connect(self._work_out)
        edge = Plot(context, "Edges of the beats", ("Time from the beat", "ms"), ("Pulse wave", "‰"))
        amplitude = Plot(context, "Spectrum", ("Frequency", "Hz"), ("Amplitude", "‰"), move_y=False)
        self.edge, self.amplitude = embedded(edge, 150, 220), embedded(amplitude, 150, 220)
        self._each = self.edge.line(Ink("soft", 70, 1.0))
        self._median = self.edge.line(Ink("accent", width=3.0))
        self._one = self.edge.line(Ink("ink", width=2.0, dash=True))
        self._window = [self.edge.upright(Ink("soft", 200, 1.0)) for _ in range(2)]
        self._before = self.amplitude.line(Ink("soft", 150, 1.2))
        self._after = self.amplitude.line(Ink("ink", width=1.8))
        self._limits = [self.amplitude.upright(Ink("accent", 200, 1.2, dash=True)) for _ in range(2)]
        # Small, and each on its own peak: side by side they would read as one number.
        self._harmonics = [self.amplitude.words(Ink("accent"), str(each), (0.5, 1.0), NUMBERS) for each in (1, 2, 3)]
        self.edge.legend, self.amplitude.legend = _EDGE_LEGEND, _SPECTRUM_LEGEND
        for item in (*self._window, *self._limits, *self._harmonics):
            item.setVisible(False)
        for plot in (self.edge, self.amplitude):
            plot.know(False)
        self.amplitude.when_home(self._whole_spectrum)
        self.amplitude.viewed.connect(self._place_harmonics)
        self.amplitude.box.sigResized.connect(lambda *_: self._place_harmonics())
        self.told = label("small", "", "Open a recording first.")
        both = self._both = QSplitter()
        both.addWidget(self.edge)
        both.addWidget(self.amplitude)
        both.setChildrenCollapsible(False)
        both.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 4, 0, 0)
        layout.addWidget(both, 1)
        layout.addWidget(self.told)
        layout.addWidget(label("small", "", f"{_EDGE_LEGEND} {_SPECTRUM_LEGEND}"))

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """The spectrum beside the edges, or below them where that leaves no room."""
        super().resizeEvent(event)
        beside = self.width() >= 2 * self.edge.context.theme.px(_LEAST_WIDE_PX)
        self._both.setOrientation(Qt.Orientation.Horizontal if beside else Qt.Orientation.Vertical)

    def draw(self, run: BenchRun) -> None:
        """Take another run."""
        self.run = run
        self._settle.start()

    def look_at(self, from_s: float, to_s: float) -> None:
        """Take another stretch of time."""
        if (from_s, to_s) != self.seconds:
            self.seconds = (from_s, to_s)
            self._settle.start()

    def choose(self, beat: int | None) -> None:
        """Draw one beat's edge over the others."""
        self.beat = beat
        self._draw_chosen()

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802  Qt's name
        """Work out what was put off while nobody looked."""
        super().showEvent(event)
        self._settle.start()

    def _work_out(self) -> None:
        run, (low, high) = self.run, self.seconds
        if run is None or not self.isVisible():
            return

        def work(_task: Task) -> tuple[BenchRun, Edges | None, Spectrum | None]:
            return run, edges_between(run, low, high), spectrum_between(run, low, high)

        self._newest.want(work)

    def _arrived(self, what: tuple[BenchRun, Edges | None, Spectrum | None]) -> None:
        run, self.edges, self.spectrum = what
        self._draw_edges()
        self._draw_chosen()
        self._draw_spectrum(run)

    def _draw_edges(self) -> None:
        edges = self.edges
        self.edge.know(edges is not None)
        for mark in self._window:
            mark.setVisible(edges is not None)
        if edges is None:
            self._each.setData([], [])
            self._median.setData([], [])
            self.told.setText("No beat in view.")
            return
        count = edges.rows.shape[0]
        broken = np.full((count, 1), np.nan)
        offset_ms = 1000.0 * edges.offset_s
        x = np.hstack((np.broadcast_to(offset_ms, edges.rows.shape), broken))
        self._each.setData(x.ravel(), np.hstack((edges.rows, broken)).ravel())
        self._median.setData(offset_ms, edges.median)
        for mark, at_s in zip(self._window, (-edges.before_s, edges.after_s), strict=True):
            mark.setValue(1000.0 * at_s)
        usual = np.nanpercentile(edges.rows, (2, 98))
        room = max(float(np.ptp(usual)), 1e-3) * 0.25
        self.edge.box.setYRange(float(usual[0]) - room, float(usual[1]) + room, padding=0)
        self.edge.show_x(float(offset_ms[0]), float(offset_ms[-1]))

    def _draw_chosen(self) -> None:
        run, edges, beat = self.run, self.edges, self.beat
        at_s = None
        if run is not None and beat is not None and beat < len(run.analysis.beats):
            at_s = float(run.analysis.beats.time_s[beat])
        alone = None if run is None or at_s is None else edges_between(run, at_s - 1e-6, at_s + 1e-6)
        if alone is None:
            self._one.setData([], [])
        else:
            self._one.setData(1000.0 * alone.offset_s, alone.rows[0])
        if edges is not None:
            chosen = "no beat is chosen" if alone is None or beat is None else f"beat {beat + 1} is chosen"
            self.told.setText(f"{edges.rows.shape[0]} edges are drawn; {chosen}.{self._pulse_words()}")

    def _pulse_words(self) -> str:
        hz = None if self.spectrum is None else self.spectrum.pulse_hz
        return "" if hz is None else f" Pulse of the beats in view: {hz:.2f}\u00a0Hz, {60 * hz:.1f}\u00a0bpm."

    def _draw_spectrum(self, run: BenchRun) -> None:
        spectrum = self.spectrum
        self.amplitude.know(spectrum is not None)
        for words in self._harmonics:
            words.setVisible(spectrum is not None and spectrum.pulse_hz is not None)
        if spectrum is None:
            self._before.setData([], [])
            self._after.setData([], [])
            self.told.setText("Less than two seconds without a gap are in view, too few for a spectrum.")
            return
        shown = (spectrum.frequency_hz > 0.0) & (spectrum.frequency_hz <= _MOST_HZ)
        frequency_hz = spectrum.frequency_hz[shown]
        for curve, amplitude in ((self._before, spectrum.before), (self._after, spectrum.after)):
            curve.setData(frequency_hz, amplitude[shown])
        for mark, at_hz in zip(self._limits, (run.settings.highpass_hz, run.settings.lowpass_hz), strict=True):
            mark.setValue(at_hz)
            mark.setVisible(True)
        # What drifts more slowly than any pulse would flatten all the rest.
        tallest = max(float(spectrum.after[shown].max(initial=0.0)), _LEAST_AMPLITUDE)
        self.amplitude.box.setYRange(0.0, 1.25 * tallest, padding=0)
        self._whole_spectrum()
        self._place_harmonics()

    def _place_harmonics(self) -> None:
        """Each number on its own peak, every other a line higher where the peaks lie so close that two read as one."""
        spectrum = self.spectrum
        if spectrum is None:
            return
        pulse_hz, (low_hz, high_hz) = spectrum.pulse_hz or 0.0, self.amplitude.visible_x()
        letters = QFontMetricsF(self.amplitude.theme.font(NUMBERS))
        apart_px = pulse_hz * self.amplitude.box.width() / (high_hz - low_hz)
        close = apart_px < _APART * letters.horizontalAdvance("2")
        shown = (spectrum.frequency_hz > 0.0) & (spectrum.frequency_hz <= _MOST_HZ)
        for times, words in enumerate(self._harmonics, start=1):
            near = shown & (np.abs(spectrum.frequency_hz - times * pulse_hz) <= pulse_hz / 3)
            words.setAnchor((0.5, 2.0 if close and times == 2 else 1.0))
            words.setPos(times * pulse_hz, float(spectrum.after[near].max(initial=0.0)))

    def _whole_spectrum(self) -> None:
        self.amplitude.show_x(0.0, _MOST_HZ)


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
        self.other.narrow(16)
        self.lag = DoubleSpinBox(decimals=1, minimum=0.0, maximum=600.0, singleStep=5.0, suffix=" s", value=60.0)
        self.lag.setKeyboardTracking(False)
        self.lag.setAccessibleName("Greatest lag between the clocks of two recordings")
        self.lag.setToolTip("How far the clocks of two recordings may lie apart, 0 to 600 s")
        self._lag_words = QLabel("lag up to")
        self._lag_words.setBuddy(self.lag)
        tip = "Load reference beats for this recording from a CSV file"
        self.load = controls.button("Load…", "Ctrl+I", tip, self._ask_reference, "Bench")
        self.load.setAccessibleName("Load reference…")
        axes = ("Mean of both intervals", "ms"), ("This less the other", "ms")
        self.plot = embedded(Plot(context, "Differences of intervals", *axes), 160, 260)
        self._dots = self.plot.dots(Ink("ink", 160), "o", 5)
        self._lines = [self.plot.level(Ink("accent", width=width, dash=width < 2)) for width in (2.0, 1.2, 1.2)]
        self.plot.legend = _LIMITS_LEGEND
        self._legend = label("small", "", _LIMITS_LEGEND)
        self.told = label("", "", "Open a recording first.")
        self.sheet = QFrame()
        self.rows = QFormLayout()
        self.values: list[QLabel] = []
        self._lay_out()
        self.other.currentIndexChanged.connect(self.again)
        self.lag.valueChanged.connect(self.again)
        self.set_recordings([])
        self._show_rows([])
        self._show_lines(False)
        self.plot.know(False)

    def _lay_out(self) -> None:
        top = flow_of(self.other, self._lag_words, self.lag, self.load)
        self.sheet.setProperty("class", "sheet")
        self.sheet.setLayout(self.rows)
        self.rows.setContentsMargins(12, 10, 12, 10)
        self.rows.setHorizontalSpacing(14)
        self._fit_text()
        self.context.theme_changed.connect(self._fit_text)
        left = QVBoxLayout()
        left.addWidget(self.sheet)
        left.addStretch(1)
        self._middle = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        self._middle.addWidget(self.plot, 1)
        self._middle.addLayout(left)
        self._column = stack(self, top, self.told, (self._middle, 1), self._legend, margins=(0, 4, 0, 0))

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """The figures beside the plot, or below it where that leaves no room."""
        super().resizeEvent(event)
        self._turn()

    def _turn(self) -> None:
        beside = self.width() >= self.plot.minimumWidth() + self.sheet.minimumSizeHint().width() + 12
        way = QBoxLayout.Direction
        self._middle.setDirection(way.LeftToRight if beside else way.TopToBottom)

    def _fit_text(self, _theme: object = None) -> None:
        """Large text leaves no room for names beside their values."""
        large = self.context.theme.text_percent >= _LARGE_TEXT_PERCENT
        policy = QFormLayout.RowWrapPolicy
        self.rows.setRowWrapPolicy(policy.WrapAllRows if large else policy.DontWrapRows)
        for value in self.values:
            value.setWordWrap(large)

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
        self.plot.know(bool(difference_ms.size))
        limits = self.found.limits_of_agreement_ms
        self._show_lines(limits is not None)
        for line, at in zip(self._lines, limits or (0.0,) * 3, strict=True):
            line.setValue(at)
        self.plot.mark_right(Ink("accent"), [] if limits is None else [(at, signed(at, 1)) for at in limits])
        if limits is not None:
            low, high = np.percentile(difference_ms, (0.5, 99.5))
            low, high = min(float(low), limits[1]), max(float(high), limits[2])
            room = 0.18 * max(high - low, 1.0)
            self.plot.box.setYRange(low - room, high + room, padding=0)
            self.plot.box.enableAutoRange(axis="x")

    def _failed(self, sentence: str) -> None:
        self.found = None
        self._show_rows([])
        self._dots.setData([], [])
        self.plot.know(False)
        self._show_lines(False)
        self.told.setText(capital(sentence))

    def _show_lines(self, shown: bool) -> None:
        for item in (*self._lines, self._legend):
            item.setVisible(shown)
        if not shown:
            self.plot.mark_right(Ink("accent"), [])

    def _show_rows(self, rows: list[tuple[str, str]]) -> None:
        if len(rows) != len(self.values):
            while self.rows.rowCount():
                self.rows.removeRow(0)
            self.values = [label("", "") for _ in rows]
            self._fit_text()
            for (name, _), value in zip(rows, self.values, strict=True):
                self.rows.addRow(label("small", "", name, wraps=False), value)
        for (name, text), value in zip(rows, self.values, strict=True):
            value.setText(text)
            value.setAccessibleName(f"{name}: {text}")
        self.sheet.setVisible(bool(rows))
        # Why there is nothing stands first; how it was compared, below what was found.
        self._column.removeWidget(self.told)
        self._column.insertWidget(3 if rows else 1, self.told)
        self._turn()


def _note(what: str | Path) -> str:
    if what == OPINION:
        return _OPINION_NOTE
    if isinstance(what, Path):
        return f"Beats of {what.name}, analysed with the same settings."
    return "The reference's intervals all count; its marks may lie at another part of the beat, which shows as lag."
