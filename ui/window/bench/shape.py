"""The edges of the beats in view over their median, and the spectrum of what is in view."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QTimer
from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import QLabel, QSizePolicy, QSplitter, QVBoxLayout, QWidget

from dawnbeat.morning.bench import BenchRun, Edges, Spectrum, edges_between, spectrum_between
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.plots import Ink, Plot
from dawnbeat.ui.window.parts.work import Newest, Task

_LEGEND = (
    "Of the beats in view: thin, each edge; thick, the median edge; dashed, the chosen beat. Between the upright lines "
    "edges are compared. Spectrum: faint before the filter, dark after it; dashed upright lines, the filter’s limits; "
    "1, 2, 3, the pulse and its harmonics."
)
_SETTLE_MS = 30
_MOST_HZ = 15.0
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
        self.edge = Plot(context, "Edges of the beats", ("Time from the beat", "ms"), ("Pulse wave", "‰"))
        self.amplitude = Plot(context, "Spectrum", ("Frequency", "Hz"), ("Amplitude", "‰"), move_y=False)
        self._each = self.edge.line(Ink("soft", 70, 1.0))
        self._median = self.edge.line(Ink("accent", width=3.0))
        self._one = self.edge.line(Ink("ink", width=2.0, dash=True))
        self._window = [self.edge.upright(Ink("soft", 200, 1.0)) for _ in range(2)]
        self._before = self.amplitude.line(Ink("soft", 150, 1.2))
        self._after = self.amplitude.line(Ink("ink", width=1.8))
        self._limits = [self.amplitude.upright(Ink("accent", 200, 1.2, dash=True)) for _ in range(2)]
        self._harmonics = [self.amplitude.words(Ink("accent"), str(each), (0.5, 0.0)) for each in (1, 2, 3)]
        for plot in (self.edge, self.amplitude):
            plot.canvas.setAcceptDrops(False)
            plot.readout.hide()
            plot.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Ignored)
            plot.setMinimumSize(context.theme.px(150), context.theme.px(240))
        for item in (*self._window, *self._limits, *self._harmonics):
            item.setVisible(False)
        self.amplitude.when_home(self._whole_spectrum)
        self.told = QLabel("Open a recording first.")
        self.told.setWordWrap(True)
        legend = QLabel(_LEGEND)
        legend.setWordWrap(True)
        for label in (self.told, legend):
            label.setProperty("class", "small")
        both = QSplitter()
        both.addWidget(self.edge)
        both.addWidget(self.amplitude)
        both.setChildrenCollapsible(False)
        both.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
        both.setMinimumHeight(context.theme.px(240))
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 4, 0, 0)
        layout.addWidget(legend)
        layout.addWidget(both, 1)
        layout.addWidget(self.told)

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
        usual = np.percentile(edges.rows, (2, 98))
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
        return "" if hz is None else f" Pulse of the beats in view: {hz:.2f} Hz, {60 * hz:.1f} bpm."

    def _draw_spectrum(self, run: BenchRun) -> None:
        spectrum = self.spectrum
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
        for times, words in enumerate(self._harmonics, start=1):
            words.setPos(times * (spectrum.pulse_hz or 0.0), 1.24 * tallest)

    def _whole_spectrum(self) -> None:
        self.amplitude.show_x(0.0, _MOST_HZ)
