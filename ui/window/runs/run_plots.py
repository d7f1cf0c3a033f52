"""One run drawn: its pulse over time with zones' boundaries and what is marked, and its time in zones as bars."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRectF, Signal
from PySide6.QtGui import QPainter
from PySide6.QtWidgets import QStyledItemDelegate, QStyleOptionViewItem, QWidget

from dawnbeat.shared.wording import clock, percent, way
from dawnbeat.training import zone_store
from dawnbeat.training.run import MARK_KINDS, Mark, MarkKind, Samples
from dawnbeat.training.run_figures import codes_of
from dawnbeat.training.zones import MOST_ZONES, Zones
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import label
from dawnbeat.ui.window.parts.drawing import Ink, legend_of
from dawnbeat.ui.window.parts.layouts import stack
from dawnbeat.ui.window.parts.plots import Plot
from dawnbeat.ui.window.parts.tables import plain_table, write_rows
from dawnbeat.ui.window.parts.theme import paint_zone

SYMBOLS: dict[MarkKind, tuple[str, str]] = {
    "pause": ("+", "＋"),
    "gap": ("s", "□"),
    "drop-out": ("o", "○"),
    "spike": ("t", "▽"),
    "cadence lock": ("d", "◇"),
}
_BELOW_BPM, _ABOVE_BPM = 12.0, 14.0


class RunCurve(QWidget):
    """picked: number of a mark that was chosen here, from 1."""

    picked = Signal(int)

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.samples: Samples | None = None
        self.marks: Sequence[Mark] = ()
        self.zones: Zones | None = None
        self.chosen = 0
        self._legend = ""
        self.readout = label("small", "The moment under the pointer")
        self.plot = Plot(context, "Pulse of the run", ("Time", "min"), ("Pulse", "bpm"), move_y=False)
        self.plot.readout.hide()
        self._bands = self.plot.band(Ink("ink", 22))
        self._ring = self.plot.band(Ink("accent", 40))
        self._left_out = self.plot.line(Ink("soft", width=1.0, dash=True))
        self._line = self.plot.line(Ink("ink", width=1.4))
        self._symbols = {
            kind: self.plot.dots(Ink("ink"), symbol, 9, filled=False) for kind, (symbol, _) in SYMBOLS.items()
        }
        self._easy_level = self.plot.level(Ink("accent", width=2.2))
        self._levels = [self.plot.level(Ink("soft", 150, 1.0, dash=True)) for _ in range(MOST_ZONES - 1)]
        self.plot.pointed.connect(self._pointed)
        self.plot.pressed.connect(self._pressed)
        self.plot.stepped.connect(self._step)
        self.plot.when_home(self.show_all)
        stack(self, self.readout, (self.plot, 1), gap=2)

    def show_run(self, samples: Samples, marks: Sequence[Mark], zones: Zones | None, keep_view: bool) -> None:
        """Draw a run. keep_view: it is the same one, changed."""
        self.samples, self.marks, self.zones = samples, marks, zones
        self.chosen = self.chosen if keep_view and self.chosen <= len(marks) else 0
        counts = np.zeros(len(samples), dtype=np.bool_)
        if len(samples) > 1:
            counts[:-1] = codes_of(samples, marks) == 0
        minutes = samples.time_s / 60
        self._line.setData(minutes, np.where(counts, samples.pulse_bpm, np.nan))
        believed = np.where(samples.possible & ~counts, samples.pulse_bpm, np.nan)
        self._left_out.setData(minutes, believed)
        self._draw_marks()
        self._draw_levels()
        there = [f"{SYMBOLS[kind][1]} {kind}" for kind in MARK_KINDS if any(mark.kind == kind for mark in marks)]
        parts = ["━ counts", "┅ left out", *there] if there else ["━ pulse that counts"]
        if zones is not None:
            parts += [
                f"▬ top of easy, {zones.top_of_easy_bpm} bpm",
                f"at the right, 1 to {len(zones.scheme.names)}: zones",
            ]
        self._legend = legend_of(*parts)
        self.plot.legend = self._legend
        self.readout.setText(self._legend)
        if not keep_view:
            self.show_all()

    def choose(self, number: int) -> None:
        """Point at a mark, by its number from 1; 0 points at none."""
        self.chosen = number
        self._ring.set_stretches(_minutes([self.marks[number - 1]] if number else []), *self._span())
        if number:
            mark = self.marks[number - 1]
            self.plot.bring_into_view((mark.start_s + mark.end_s) / 120)
            state = ", overruled: it counts" if mark.overruled else ""
            self.readout.setText(f"Mark {number}: {mark.kind}, {clock(mark.start_s)} to {clock(mark.end_s)}{state}")

    def show_all(self) -> None:
        """Show the whole run."""
        if self.samples is not None:
            minutes = max(self.samples.elapsed_s / 60, 0.5)
            self.plot.show_x(-0.01 * minutes, 1.01 * minutes)
        self.plot.box.setYRange(*self._span(), padding=0)

    # Inside

    def _span(self) -> tuple[float, float]:
        """Lowest and highest pulse to draw."""
        pulse = np.zeros(0) if self.samples is None else self.samples.pulse_bpm[self.samples.possible]
        tops = () if self.zones is None else self.zones.tops_bpm
        values = [*pulse[:1], *tops] or [60.0, 180.0]
        low, high = min(values), max(values)
        if pulse.size:
            low, high = min(low, float(np.percentile(pulse, 1))), max(high, float(pulse.max()))
        return low - _BELOW_BPM, high + _ABOVE_BPM

    def _draw_marks(self) -> None:
        low, high = self._span()
        self._bands.set_stretches(_minutes([mark for mark in self.marks if not mark.overruled]), low, high)
        self.choose(self.chosen)
        for kind, dots in self._symbols.items():
            at = [(mark.start_s + mark.end_s) / 120 for mark in self.marks if mark.kind == kind]
            dots.setData(at, [high - 0.4 * _ABOVE_BPM] * len(at))

    def _draw_levels(self) -> None:
        zones = self.zones
        self._easy_level.setVisible(zones is not None)
        for level in self._levels:
            level.hide()
        if zones is None:
            self.plot.mark_right(Ink("soft"), [])
            return
        # Half a beat up: a pulse equal to a boundary lies below it.
        self._easy_level.setValue(zones.top_of_easy_bpm + 0.5)
        for number, (top, level) in enumerate(zip(zones.tops_bpm, self._levels, strict=False), start=1):
            level.setValue(top + 0.5)
            level.setVisible(number != zones.scheme.easy_top)
        # Beside the curve, which would run through them.
        foot, highest = self._span()
        edges = [foot, *(each + 0.5 for each in zones.tops_bpm), highest]
        middles = [(below + above) / 2 for below, above in pairwise(edges)]
        self.plot.mark_right(Ink("soft"), [(at, str(number)) for number, at in enumerate(middles, 1)])

    def _pointed(self, x: float, _y: float) -> None:
        samples = self.samples
        if samples is None or not math.isfinite(x):
            if self.chosen:
                self.choose(self.chosen)
            else:
                self.readout.setText(self._legend)
            return
        place = int(np.abs(samples.time_s - 60 * x).argmin())
        time_s, pulse = float(samples.time_s[place]), float(samples.pulse_bpm[place])
        said = f"{clock(time_s)}: "
        said += "no pulse" if not math.isfinite(pulse) else f"{pulse:.0f} bpm"
        if math.isfinite(pulse) and self.zones is not None:
            number = self.zones.number_of(pulse)
            said += f", {self.zones.scheme.names[number - 1]}"
        if math.isfinite(way_m := float(samples.distance_m[place])):
            units = zone_store.chosen_units(self.context.journal)
            said += f", {way(way_m, units)} {units}"
        if math.isfinite(steps := float(samples.steps_per_min[place])):
            said += f", {steps:.0f} steps a minute"
        inside = [mark for mark in self.marks if mark.start_s <= time_s < mark.end_s]
        said += "".join(f" · {mark.kind}{', overruled' if mark.overruled else ', left out'}" for mark in inside)
        self.readout.setText(said)

    def _pressed(self, x: float, _y: float) -> None:
        near = [(max(mark.start_s - 60 * x, 60 * x - mark.end_s, 0.0), n) for n, mark in enumerate(self.marks, start=1)]
        low, high = self.plot.visible_x()
        if near and min(near)[0] < high - low:  # a second for each minute in view
            self.picked.emit(min(near)[1])

    def _step(self, way: int) -> None:
        if self.marks:
            self.picked.emit(min(max(self.chosen + way, 1), len(self.marks)))


def _minutes(marks: Sequence[Mark]) -> list[tuple[float, float]]:
    return [(mark.start_s / 60, mark.end_s / 60) for mark in marks]


_BAR = 4


class ZoneBars(QWidget):
    """Measured time in each zone of one run."""

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.table = plain_table(("Zone", "bpm", "Time", "Share", ""), "Measured time in zones", most=MOST_ZONES)
        self._bars = _Bars(context, self)
        self.table.setItemDelegateForColumn(_BAR, self._bars)
        stack(self, self.table)

    def show_times(self, zones: Zones | None, zone_s: Sequence[float]) -> None:
        """zone_s: seconds in each zone; nothing is shown without zones."""
        total = sum(zone_s)
        shares = [seconds / total if total else 0.0 for seconds in zone_s]
        rows = []
        if zones is not None:
            for zone, seconds, share in zip(zones.table(), zone_s, shares, strict=True):
                name = zone.name.removeprefix("zone ")  # the heading says it
                rows.append((name, zone.span_words, clock(seconds), percent(share if total else None), ""))
            self._bars.show(shares, zones.scheme.easy_top)
        write_rows(self.table, rows)
        self.setVisible(bool(rows))


class _Bars(QStyledItemDelegate):
    def __init__(self, context: AppContext, parent: QWidget) -> None:
        super().__init__(parent)
        self.context = context
        self._shares: Sequence[float] = ()
        self._easy_top = 1

    def show(self, shares: Sequence[float], easy_top: int) -> None:
        self._shares, self._easy_top = shares, easy_top

    def paint(
        self, painter: QPainter, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        super().paint(painter, option, index)
        row = index.row()
        # Bars as narrow as a letter can't be compared, and the shares stand beside them.
        wide_enough = option.rect.width() >= 2 * option.fontMetrics.height()
        if row >= len(self._shares) or not self._shares[row] or not wide_enough:
            return
        cell = QRectF(option.rect).adjusted(4, 5, -4, -5)
        cell.setWidth(max(self._shares[row] / max(self._shares) * cell.width(), 2.0))
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        paint_zone(painter, cell, self.context.theme, row + 1, self._easy_top, len(self._shares))
        painter.restore()
