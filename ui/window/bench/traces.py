"""The recording over time: colours, wave with candidates and beats, fit, timing and intervals, on one time axis."""

from __future__ import annotations

import math

import numpy as np
from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QLabel, QSizePolicy, QToolButton, QVBoxLayout, QWidget

from dawnbeat.morning.bench_run import BenchRun
from dawnbeat.shared.beats import REASONS
from dawnbeat.shared.trace import CHANNELS, FloatArray
from dawnbeat.ui.window.bench.figures import SHAPES, beat_words, left_out_words
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, Key
from dawnbeat.ui.window.parts.plots import Ink, Plot

WHERE = "Bench"
ALL_COLOURS = "all colours"
_ALL_BRIGHTNESS = "Brightness from the median: red in colour, green strong, blue faint"
_TICKS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
_LEGEND = "○ candidate   ● beat that counts   ✕ beat that doesn’t   ▏reference"
_COLOUR_TIP = (
    "All colours in percent of their own median: red in colour, green strong, blue faint. "
    "Or one as it was recorded, 0 to 255."
)
_TICK_SHARE = 0.09
# With more than this in view beats lie so close that large marks would hide the wave.
_FAR_S = 50.0
_INTERVAL_LIMITS = (0.5, 1.9)


class TracesView(QWidget):
    """Five plots of one run that move together. chosen: a beat was chosen by pointer or key. viewed: seconds shown."""

    chosen = Signal(int)
    viewed = Signal(float, float)

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.run: BenchRun | None = None
        self.beat: int | None = None
        self._names: list[QLabel] = []
        self.raw = self._plot(_ALL_BRIGHTNESS, "%")
        self.wave = self._plot("Filtered pulse wave", "‰")
        self.misfit = self._plot("Fit residual of each beat", "‰")
        self.timing = self._plot("Timing error of each beat", "ms")
        self.intervals = self._plot("Interval before each beat", "ms")
        self.plots = (self.raw, self.wave, self.misfit, self.timing, self.intervals)
        # One pixel and no dashes: anything else takes Qt ten times as long for thousands of points.
        looks = (Ink("accent", width=1.0), Ink("ink", width=1.0), Ink("soft", 140, 1.0))
        self._colours = [self.raw.line(look) for look in looks]
        self._line = self.wave.line(Ink("soft", width=1.0))
        self._candidates = self.wave.dots(Ink("soft", width=1.2), "o", 7, filled=False)
        self._counting = self.wave.dots(Ink("accent"), "o", 7)
        self._lost = self.wave.dots(Ink("ink", width=1.6), "x", 9)
        self._reference = self.wave.strokes(Ink("ink", 200, 1.2))
        self._misfits = self.misfit.dots(Ink("ink", 200), "o", 4)
        self._errors = self.timing.dots(Ink("ink", 200), "o", 4)
        self._limit = self.timing.level(Ink("accent", 180, 1.2, dash=True))
        self._kept_line = self.intervals.line(Ink("soft", 150, 1.0))
        self._kept = self.intervals.dots(Ink("ink"), "o", 5)
        self._left_out = {
            reason: self.intervals.dots(Ink("accent", width=1.6), SHAPES[reason][0], 9, filled=False)
            for reason in REASONS
        }
        self._cursors = [plot.upright(Ink("accent", 160, 1.0)) for plot in self.plots]
        self.colour = ComboBox()
        self.colour.addItems((ALL_COLOURS, *CHANNELS))
        self.colour.setAccessibleName("Colour of the upper plot")
        self.colour.setToolTip(_COLOUR_TIP)
        self.colour.currentTextChanged.connect(self._draw_colours)
        self.counts = QLabel(" ")
        self.readout = QLabel(" ")
        self.readout.setAccessibleName("The chosen beat")
        self._lay_out()
        for cursor in self._cursors:
            cursor.hide()

    def _plot(self, name: str, unit: str) -> Plot:
        """The axis holds the unit only, since a name would not fit beside plots this low; it stands inside."""
        plot = Plot(self.context, name, ("", ""), (unit, ""), move_y=False)
        title = QLabel(name, plot.canvas)
        title.setProperty("class", "small")
        title.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        title.move(self.context.theme.px(72), 1)
        self._names.append(title)
        plot.readout.hide()
        plot.item.getAxis("left").setStyle(hideOverlappingLabels=True)
        plot.canvas.setAcceptDrops(False)  # what is dropped is for the page
        plot.when_home(self.show_all)
        plot.pressed.connect(self._pressed)
        plot.pointed.connect(self._pointed)
        plot.stepped.connect(self.step)
        return plot

    def _lay_out(self) -> None:
        legend = QLabel(_LEGEND)
        for label in (legend, self.counts, self.readout):
            label.setWordWrap(True)
            label.setProperty("class", "small")
        # Two lines' room, so that the plots don't jump as the pointer moves.
        self.readout.setMinimumHeight(round(2.1 * self.readout.fontMetrics().height()))
        self.readout.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.back = self._step_button("‹", "Shift+N", "Previous interval that was left out")
        self.next = self._step_button("›", "N", "Next interval that was left out")
        self.back.clicked.connect(lambda: self.step_left_out(-1))
        self.next.clicked.connect(lambda: self.step_left_out(+1))
        words = QVBoxLayout()
        words.setSpacing(0)
        words.addWidget(legend)
        words.addWidget(self.counts)
        top = QHBoxLayout()
        top.addWidget(self.colour)
        top.addLayout(words, 1)
        top.addWidget(self.back)
        top.addWidget(self.next)
        stack = QVBoxLayout()
        stack.setSpacing(2)
        for plot, share, least in zip(self.plots, (4, 7, 3, 3, 7), (58, 84, 48, 48, 112), strict=True):
            plot.setMinimumHeight(self.context.theme.px(least))
            plot.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Ignored)
            stack.addWidget(plot, share)
        for plot in self.plots[1:]:
            plot.follow_x(self.raw)
        for plot in self.plots[:-1]:
            plot.item.getAxis("bottom").setStyle(showValues=False)
            plot.item.getAxis("bottom").setHeight(2)
        self.intervals.name_axis("bottom", "Time", "s")
        self.raw.viewed.connect(self._view)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 4, 0, 0)
        layout.setSpacing(2)
        layout.addLayout(top)
        layout.addLayout(stack, 1)
        layout.addWidget(self.readout)

    def _step_button(self, text: str, keys: str, does: str) -> QToolButton:
        button = QToolButton()
        button.setText(text)
        controls.give(button, Key(keys, does, WHERE))
        button.setAccessibleName(does)
        return button

    # Drawing

    def draw(self, run: BenchRun) -> None:
        """Draw a run; the view stays where it is unless another recording came."""
        other = self.run is None or self.run.recording is not run.recording
        self.run = run
        if other:
            self._draw_colours()
        self._line.setData(run.wave_s, run.wave)
        self._candidates.setData(run.candidate_s, run.candidate)
        beats, intervals = run.analysis.beats, run.analysis.intervals
        self._counting.setData(beats.time_s[run.counting], run.beat[run.counting])
        self._lost.setData(beats.time_s[~run.counting], run.beat[~run.counting])
        self._misfits.setData(beats.time_s, _log(run.misfit))
        self._errors.setData(beats.time_s, _log(beats.error_ms))
        self._limit.setValue(math.log10(run.settings.max_beat_error_ms))
        shown_ms = self._interval_shown(intervals.interval_ms)
        self._kept_line.setData(intervals.end_s, np.where(intervals.kept, shown_ms, np.nan))
        self._kept.setData(intervals.end_s[intervals.kept], shown_ms[intervals.kept])
        for reason, dots in self._left_out.items():
            which = np.array([each == reason for each in intervals.left_out], dtype=np.bool_)
            dots.setData(intervals.end_s[which], shown_ms[which])
        self.counts.setText(left_out_words(run.analysis))
        if other:
            self.choose(None)
            self.show_all()
        else:
            self.choose(self._beat_near(self._chosen_s) if self.beat is not None else None)
        self._view()

    def _draw_colours(self) -> None:
        if self.run is None:
            return
        trace, chosen = self.run.recording.trace, self.colour.currentText()
        breaks = np.flatnonzero(np.diff(trace.time_s) > self.run.settings.max_gap_s) + 1
        time_s = np.insert(trace.time_s, breaks, np.nan)
        for column, (name, curve) in enumerate(zip(CHANNELS, self._colours, strict=True)):
            value = trace.colour[:, column]
            if chosen == ALL_COLOURS:
                value = 100.0 * (value / max(float(np.median(value)), 1e-6) - 1.0)
            there = chosen in (ALL_COLOURS, name)
            curve.setData(time_s, np.insert(value, breaks, np.nan)) if there else curve.setData([], [])
        self.raw.name_axis("left", "%" if chosen == ALL_COLOURS else "of 255", "")
        self._names[0].setText(_ALL_BRIGHTNESS if chosen == ALL_COLOURS else f"Brightness, {chosen}")
        self._names[0].adjustSize()
        self._view()

    def _interval_shown(self, interval_ms: FloatArray) -> FloatArray:
        """Held within the plot, so that one gap doesn't flatten all the rest; the readout tells the true value."""
        if not interval_ms.size:
            return interval_ms
        usual = float(np.median(interval_ms))
        return np.clip(interval_ms, _INTERVAL_LIMITS[0] * usual, _INTERVAL_LIMITS[1] * usual)

    # Looking around

    def show_all(self) -> None:
        """Show the whole recording."""
        if self.run is not None and len(self.run.recording.trace):
            time_s = self.run.recording.trace.time_s
            margin = 0.01 * max(float(time_s[-1] - time_s[0]), 1.0)
            self.raw.show_x(float(time_s[0]) - margin, float(time_s[-1]) + margin)

    def choose(self, beat: int | None) -> None:
        """Mark one beat in all plots and say what is known of it."""
        self.beat = beat
        for cursor in self._cursors:
            cursor.setVisible(beat is not None)
        if beat is None or self.run is None:
            self.readout.setText("Point at a beat, or step through them with Shift and the arrow keys in a plot.")
            return
        self._chosen_s = float(self.run.analysis.beats.time_s[beat])
        for cursor in self._cursors:
            cursor.setValue(self._chosen_s)
        self.readout.setText(beat_words(self.run, beat))
        self.chosen.emit(beat)

    def step(self, way: int) -> None:
        """Choose the next (+1) or previous (-1) beat."""
        if self.run is None or not len(self.run.analysis.beats):
            return
        start = self._beat_near(sum(self.raw.visible_x()) / 2) if self.beat is None else self.beat + way
        self._go_to(min(max(start or 0, 0), len(self.run.analysis.beats) - 1))

    def step_left_out(self, way: int) -> None:
        """Choose the beat that ends the next or previous interval that was left out."""
        if self.run is None:
            return
        lost = np.flatnonzero(~self.run.analysis.intervals.kept) + 1
        here = self.beat if self.beat is not None else (-1 if way > 0 else len(self.run.analysis.beats))
        further = lost[lost > here] if way > 0 else lost[lost < here][::-1]
        if further.size:
            self._go_to(int(further[0]))
        else:
            self.context.say("No interval was left out beyond here." if lost.size else "No interval was left out.")

    def _go_to(self, beat: int) -> None:
        self.choose(beat)
        low, high = self.raw.visible_x()
        if not low < self._chosen_s < high:
            half = (high - low) / 2
            self.raw.show_x(self._chosen_s - half, self._chosen_s + half)

    def _beat_near(self, at_s: float) -> int | None:
        if self.run is None or not len(self.run.analysis.beats):
            return None
        return int(np.abs(self.run.analysis.beats.time_s - at_s).argmin())

    def _pressed(self, x: float, _y: float) -> None:
        beat = self._beat_near(x)
        if beat is not None:
            self.choose(beat)

    def _pointed(self, x: float, _y: float) -> None:
        beat = self._beat_near(x) if math.isfinite(x) else self.beat
        if self.run is not None and beat is not None:
            self.readout.setText(beat_words(self.run, beat))

    def _view(self) -> None:
        """Fit each value axis to what is in view."""
        run = self.run
        if run is None:
            return
        low_s, high_s = self.raw.visible_x()
        trace, beats, intervals = run.recording.trace, run.analysis.beats, run.analysis.intervals
        rows = slice(*np.searchsorted(trace.time_s, (low_s, high_s)).tolist())
        chosen = self.colour.currentText()
        if chosen == ALL_COLOURS:
            raw = 100.0 * (trace.colour[rows] / np.maximum(np.median(trace.colour, axis=0), 1e-6) - 1.0)
        else:
            raw = trace.colour[rows, CHANNELS.index(chosen)]
        _fit(self.raw, raw)
        foot, height = _fit(self.wave, run.wave[(run.wave_s >= low_s) & (run.wave_s <= high_s)])
        reference_s = np.zeros(0) if run.recording.beats_s is None else run.recording.beats_s
        reference_s = reference_s[(reference_s >= low_s) & (reference_s <= high_s)]
        ends = np.tile((foot, foot + _TICK_SHARE * height), reference_s.size)
        self._reference.setData(np.repeat(reference_s, 2), ends)
        far = high_s - low_s > _FAR_S
        for dots, near_size, far_size in ((self._candidates, 7, 3), (self._counting, 7, 4.5), (self._lost, 9, 7)):
            dots.setSize(self.context.theme.px(far_size if far else near_size))
        inside = (beats.time_s >= low_s) & (beats.time_s <= high_s)
        _fit_log(self.misfit, run.misfit[inside])
        _fit_log(self.timing, np.append(beats.error_ms[inside], run.settings.max_beat_error_ms))
        inside = (intervals.end_s >= low_s) & (intervals.end_s <= high_s)
        _fit(self.intervals, self._interval_shown(intervals.interval_ms)[inside], margin=0.12)
        self.viewed.emit(low_s, high_s)


def _log(value: FloatArray) -> FloatArray:
    return np.log10(np.maximum(value, _TICKS[0]))


def _fit(plot: Plot, value: FloatArray, margin: float = 0.06) -> tuple[float, float]:
    """Fit the value axis, less the wildest half percent at either end; returns its foot and its height."""
    value = value[np.isfinite(value)]
    if not value.size:
        return 0.0, 1.0
    low, high = np.percentile(value, (0.5, 99.5)).tolist() if value.size > 400 else (value.min(), value.max())
    room = max(high - low, 1e-3)
    low, high = low - margin * room, high + margin * room
    plot.box.setYRange(low, high, padding=0)
    return float(low), float(high - low)


def _fit_log(plot: Plot, value: FloatArray) -> None:
    if not value.size:
        return
    shown = _log(value)
    low, high = float(shown.min()) - 0.12, float(shown.max()) + 0.12
    plot.box.setYRange(low, high, padding=0)
    room = 0.12 * (high - low)  # a number at the very end would be cut off
    within = [tick for tick in _TICKS if low + room <= math.log10(tick) <= high - room]
    within = within[:: max(1, -(-len(within) // 3))]
    plot.item.getAxis("left").setTicks([[(math.log10(tick), f"{tick:g}") for tick in within]])
