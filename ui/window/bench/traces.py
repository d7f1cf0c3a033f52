"""The recording over time: colours, wave with candidates and beats, fit, timing and intervals, on one time axis."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator

import numpy as np
from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QLabel, QLineEdit, QSizePolicy, QVBoxLayout, QWidget

from dawnbeat.morning.bench import BenchRun
from dawnbeat.morning.bench_text import SHAPES, beat_words, left_out_words
from dawnbeat.shared.reading import REASONS
from dawnbeat.shared.trace import CHANNELS, FloatArray
from dawnbeat.ui.window.bench.settings import WHERE
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, Key
from dawnbeat.ui.window.parts.drawing import Ink, evenly, legend_of, logarithms
from dawnbeat.ui.window.parts.layouts import flow_of
from dawnbeat.ui.window.parts.plots import Plot

ALL_COLOURS = "all colours"
_BRIGHTNESS, _WHOLE = "Brightness", "The whole"
_TIPS = {
    _BRIGHTNESS: "In per cent of the median: red in colour, green strong, blue faint; or one colour, of 255",
    "Pulse wave": "The filtered wave, in per mille of the light absorbed",
    "Misfit": "Fit residual of each beat beside the median beat",
    "Timing error": "Timing error of each beat; the broken line is the greatest that counts",
    "Interval": "Interval before each beat; below, the time in seconds",
    _WHOLE: "The whole recording; press it to go there",
}
_LEAST_LOGGED = 0.01
_TIME = ("Time", "s")
_LEGEND = ("○ candidate", "● beat that counts", "✕ beat that doesn't", "▏ reference", "▒ left out")
_LEGEND_BEFORE = ("┅ and ◌ with the settings that readings use",)
_OPENS_WITH_S = 10.0
_LENGTHS: dict[str, float | None] = {
    **{f"{length} s": float(length) for length in (5, 10, 20, 30, 60)},
    "all of it": None,
}
# How high the wave stands: against what is in view, or the same over the whole recording.
_IN_VIEW, _THROUGHOUT, _TWICE = "wave fitted", "wave steady", "wave twice"
_NAMES_PX = 92
_COLOUR_TIP = (
    "All colours in percent of their own median: red in colour, green strong, blue faint. "
    "Or one as it was recorded, 0 to 255."
)
_TICK_SHARE = 0.09
# With more than this in view beats lie so close that large marks would hide the wave.
_FAR_S = 50.0
_INTERVAL_LIMITS = (0.5, 1.9)


class TracesView(QWidget):
    """Five plots of one run that move together. chosen: a beat was chosen by pointer or key. viewed: seconds shown.

    Its plots are made one at each `make_some`, or all that are left by `finish`, before which nothing can be drawn.
    """

    chosen = Signal(int)
    viewed = Signal(float, float)

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.run: BenchRun | None = None
        self.beat: int | None = None
        self.before: BenchRun | None = None
        self._names: dict[Plot, QLabel] = {}
        self._steps = self._make()

    def make_some(self) -> bool:
        """Make the next plot; whether any was left to make."""
        return next(self._steps, None) is not None

    def finish(self) -> None:
        """Make all that is left."""
        while self.make_some():
            pass

    def _make(self) -> Iterator[Plot]:
        self.raw = self._plot(_BRIGHTNESS, "%")
        yield self.raw
        self.wave = self._plot("Pulse wave", "‰")
        yield self.wave
        self.misfit = self._plot("Misfit", "‰")
        yield self.misfit
        self.timing = self._plot("Timing error", "ms")
        yield self.timing
        for plot in (self.misfit, self.timing):
            plot.number("left", functools.partial(logarithms, base=10.0))
        self.intervals = self._plot("Interval", "ms")
        # The axis's name would take room from the plots.
        self.intervals.number("bottom", functools.partial(evenly, unit=" s"))
        yield self.intervals
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
        self._before_wave = self.wave.line(Ink("ink", 110, 1.4, dash=True))
        self._before_beats = self.wave.dots(Ink("soft", width=1.2), "d", 10, filled=False)
        self._before_intervals = self.intervals.line(Ink("ink", 110, 1.4, dash=True))
        self._shades = [plot.band(Ink("soft", 45)) for plot in (self.raw, self.wave, self.intervals)]
        self.whole = self._plot(_WHOLE, "")
        yield self.whole
        self._whole_line = self.whole.line(Ink("soft", width=1.0))
        self._whole_shade = self.whole.band(Ink("soft", 60))
        self._window = self.whole.band(Ink("accent", 60))
        self._cursors = [plot.upright(Ink("accent", 160, 1.0)) for plot in self.plots]
        self.colour = _choice("Colour of the upper plot", _COLOUR_TIP, ALL_COLOURS, *CHANNELS)
        self.colour.currentTextChanged.connect(self._colour_chosen)
        self.length = _choice("How much is shown", "How many seconds the plots show", *_LENGTHS)
        self.length.activated.connect(lambda _: self.show_length(_LENGTHS[self.length.currentText()]))
        tip = "The height of the wave: against what is in view, or the same over the whole recording"
        self.scale = _choice("How high the wave stands", tip, _IN_VIEW, _THROUGHOUT, _TWICE)
        self.scale.currentTextChanged.connect(lambda _: self._view())
        self.jump = QLineEdit()
        self.jump.setPlaceholderText("go to 1:10")
        self.jump.setAccessibleName("Go to a time")
        self.jump.setToolTip(f"Minutes and seconds, or seconds ({controls.shown('Ctrl+Shift+J')}, then Enter)")
        self.jump.returnPressed.connect(self._jump)
        QShortcut(QKeySequence("Ctrl+Shift+J"), self, self.jump.setFocus)
        controls.register(Key("Ctrl+Shift+J", "Go to a time of the recording", WHERE))
        self.counts = ""
        self.legend = controls.label("small", "", legend_of(*_LEGEND))
        self.readout = controls.label("small", "The chosen beat", " ")
        self._lay_out()
        for cursor in self._cursors:
            cursor.hide()

    def _plot(self, name: str, unit: str) -> Plot:
        """The axis holds the unit only, since a name would not fit beside plots this low; it stands at the right."""
        plot = Plot(self.context, name, ("", ""), (unit, ""), move_y=False)
        self._names[plot] = controls.label("small", _TIPS[name], name)
        self._names[plot].setToolTip(_TIPS[name])
        for each in (plot, self._names[plot]):
            each.setParent(self)  # not only when all are there: the window may close before
        plot.when_home(self.show_all)
        plot.pressed.connect(self._pressed)
        plot.pointed.connect(self._pointed)
        plot.stepped.connect(self.step)
        return plot

    def _lay_out(self) -> None:
        # Two lines' room, so that the plots don't jump as the pointer moves.
        self.readout.setMinimumHeight(round(2.1 * self.readout.fontMetrics().height()))
        self.readout.setAlignment(Qt.AlignmentFlag.AlignTop)
        step = functools.partial(controls.step_button, where=WHERE)
        back = step("‹", "Shift+J", "Previous interval that was left out", pressed=lambda: self.step_left_out(-1))
        onward = step("›", "J", "Next interval that was left out", pressed=lambda: self.step_left_out(+1))
        pair = QWidget()
        side_by_side = QHBoxLayout(pair)
        side_by_side.setContentsMargins(0, 0, 0, 0)
        side_by_side.addWidget(back)
        side_by_side.addWidget(onward)
        self._tools = flow_of(self.colour, self.length, self.scale, self.jump, pair)
        stack = QGridLayout()
        stack.setHorizontalSpacing(8)  # a plot goes to its very edge, and so would the name beside it
        stack.setVerticalSpacing(2)
        shares, least_px = (4, 7, 3, 3, 7, 2), (54, 92, 48, 48, 98, 48)
        for row, (plot, share, least) in enumerate(zip((*self.plots, self.whole), shares, least_px, strict=True)):
            stack.addWidget(embedded(plot, 0, least), row, 0)
            stack.addWidget(self._names[plot], row, 1, Qt.AlignmentFlag.AlignTop)
            stack.setRowStretch(row, share)
        stack.setColumnStretch(0, 1)
        for plot in self.plots[1:]:
            plot.follow_x(self.raw)
        for plot in (*self.plots[:-1], self.whole):
            plot.hide_x_values(_TIME)
        self.whole.item.getAxis("left").setStyle(showValues=False)
        self.raw.viewed.connect(self._view)
        self._fit()
        self.context.theme_changed.connect(lambda _: self._fit())
        layout = self._column = QVBoxLayout(self)
        layout.setContentsMargins(0, 4, 0, 0)
        layout.setSpacing(2)
        layout.addLayout(self._tools)
        layout.addLayout(stack, 1)
        layout.addWidget(self.readout)
        layout.addWidget(self.legend)

    def put_plots_first(self, wanted: bool) -> None:
        """Whether what the plots are changed with stands below them."""
        self._column.removeItem(self._tools)
        self._column.insertLayout(2 if wanted else 0, self._tools)

    def _fit(self) -> None:
        for name in self._names.values():
            name.setFixedWidth(self.context.theme.px(_NAMES_PX))
        self.jump.setMaximumWidth(self.context.theme.px(120))

    # Drawing

    def draw(self, run: BenchRun, before: BenchRun | None = None) -> None:
        """Draw a run; the view stays where it is unless another recording came. before: with other settings."""
        other = self.run is None or self.run.recording is not run.recording
        self.run, self.before = run, before
        # What is drawn moves the view many times, and each would fit all axes again.
        with QSignalBlocker(self.raw):
            self._draw_run(run, other)
        self._view()

    def _draw_run(self, run: BenchRun, other: bool) -> None:
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
        self._draw_before()
        if other:
            self._draw_whole()
            self.choose(None)
            self._open_view()
        else:
            self.choose(self._beat_near(self._chosen_s) if self.beat is not None else None)

    def _draw_before(self) -> None:
        """What was found with the settings that readings use, where the bench uses others."""
        before = self.before
        assert self.run is not None
        self.counts = left_out_words(self.run.analysis)
        marks = (*_LEGEND, *(_LEGEND_BEFORE if before is not None else ()))
        self.legend.setText(f"{legend_of(*marks)}    {self.counts}")
        self.wave.legend = legend_of(*marks)
        if before is None:
            for item in (self._before_wave, self._before_beats, self._before_intervals):
                item.setData([], [])
            return
        intervals = before.analysis.intervals
        self._before_wave.setData(before.wave_s, before.wave)
        self._before_beats.setData(before.analysis.beats.time_s, before.beat)
        shown_ms = self._interval_shown(intervals.interval_ms)
        self._before_intervals.setData(intervals.end_s, np.where(intervals.kept, shown_ms, np.nan))

    def _draw_whole(self) -> None:
        run = self.run
        if run is None or not run.wave_s.size:
            self._whole_line.setData([], [])
            return
        self._whole_line.setData(run.wave_s, run.wave)
        foot, height = _fit(self.whole, run.wave)
        self._whole_shade.set_data(*left_out_band(run, foot, foot + height))
        if (ends := self._ends()) is not None:
            self.whole.show_x(*ends)

    def _colour_chosen(self) -> None:
        self._draw_colours()
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
        self._names[self.raw].setText(_BRIGHTNESS if chosen == ALL_COLOURS else f"{_BRIGHTNESS}, {chosen}")

    def _interval_shown(self, interval_ms: FloatArray) -> FloatArray:
        """Held within the plot, so that one gap doesn't flatten all the rest; the readout tells the true value."""
        if not interval_ms.size:
            return interval_ms
        usual = float(np.median(interval_ms))
        return np.clip(interval_ms, _INTERVAL_LIMITS[0] * usual, _INTERVAL_LIMITS[1] * usual)

    # Looking around

    def _open_view(self) -> None:
        """A stretch that can be read, from the beginning."""
        self.length.setCurrentText(f"{_OPENS_WITH_S:.0f} s")
        if (ends := self._ends()) is not None:
            self.raw.show_x(ends[0], ends[0] + _OPENS_WITH_S)
            self.raw.home_button.hide()

    def _ends(self) -> tuple[float, float] | None:
        """The first and the last moment of the recording; None where it has no frame."""
        if self.run is None or not len(self.run.recording.trace):
            return None
        first, last = self.run.recording.trace.time_s[[0, -1]].tolist()
        return first, last

    def show_length(self, length_s: float | None) -> None:
        """Show so many seconds around the middle of what is in view; None shows all."""
        if length_s is None:
            self.show_all()
            return
        low, high = self.raw.visible_x()
        self._look_at((low + high) / 2, length_s)

    def _look_at(self, middle_s: float, length_s: float) -> None:
        if (ends := self._ends()) is not None:
            low = max(min(middle_s - length_s / 2, ends[1] - length_s), ends[0])
            self.raw.show_x(low, low + length_s)

    def _jump(self) -> None:
        minutes, colon, seconds = self.jump.text().strip().rpartition(":")
        try:
            at_s = 60.0 * (float(minutes) if colon else 0.0) + float(seconds)
        except ValueError:
            self.context.say(f"{self.jump.text()[:20]!r} is no time: type 1:10, or 70 for seconds.")
            return
        low, high = self.raw.visible_x()
        self._look_at(at_s, high - low)
        self.choose(self._beat_near(at_s))

    def show_all(self) -> None:
        """Show the whole recording."""
        if (ends := self._ends()) is not None:
            self.raw.show_data(*ends)

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
        if self.sender() is self.whole:
            low, high = self.raw.visible_x()
            self._look_at(x, high - low)
            return
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
        in_view = (run.wave_s >= low_s) & (run.wave_s <= high_s)
        foot, height = _fit(self.wave, run.wave[in_view] if self.scale.currentText() == _IN_VIEW else run.wave)
        if self.scale.currentText() == _TWICE:
            foot, height = foot / 2, height / 2
            self.wave.box.setYRange(foot, foot + height, padding=0)
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
        for plot, shade in zip((self.raw, self.wave, self.intervals), self._shades, strict=True):
            shade.set_data(*left_out_band(run, *plot.box.viewRange()[1]))
        low, high = self.whole.box.viewRange()[1]
        self._window.set_data(np.array([low_s, high_s]), np.full(2, low), np.full(2, high))
        self.viewed.emit(low_s, high_s)


def embedded(plot: Plot, least_wide: int, least_high: int) -> Plot:
    """A plot as views of the bench hold it: as large as its place, words beside it, what is dropped for the page."""
    plot.canvas.setAcceptDrops(False)
    plot.readout.hide()
    plot.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Ignored)
    plot.setMinimumSize(plot.theme.px(least_wide), plot.theme.px(least_high))
    return plot


def left_out_band(run: BenchRun, low: float, high: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The stretches of what was left out, as a band from `low` to `high`."""
    intervals = run.analysis.intervals
    lost = ~intervals.kept
    edges = np.column_stack((intervals.start_s, intervals.end_s, np.full(len(intervals), np.nan)))[lost].ravel()
    there = np.isfinite(edges)
    return edges, np.where(there, low, np.nan), np.where(there, high, np.nan)


def _choice(name: str, tip: str, *answers: str) -> ComboBox:
    box = ComboBox()
    box.addItems(answers)
    box.setAccessibleName(name)
    box.setToolTip(tip)
    return box


def _log(value: FloatArray) -> FloatArray:
    return np.log10(np.maximum(value, _LEAST_LOGGED))


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
