"""Looking back over the mornings: a strip a week with its answers, months, years, and what was noted beforehand."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from PySide6.QtCore import QBuffer, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFont, QFontMetricsF, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QGridLayout, QLabel, QWidget

from dawnbeat.journal.periods import HEADINGS, by_month, by_year, cells, export_periods
from dawnbeat.journal.ranges import Measure
from dawnbeat.journal.series import FEWEST, Effect, effects
from dawnbeat.morning.answer_text import SHORT
from dawnbeat.morning.answering import AnsweredWeek, answered_weeks
from dawnbeat.morning.strap import checks
from dawnbeat.shared.wording import MONTHS, short_day
from dawnbeat.ui.window.parts import controls, saving
from dawnbeat.ui.window.parts.context import AppContext, View
from dawnbeat.ui.window.parts.controls import ComboBox, in_place_of_all, label, named
from dawnbeat.ui.window.parts.drawing import Ink, evenly
from dawnbeat.ui.window.parts.layouts import flow_of, scrolled, stack
from dawnbeat.ui.window.parts.plots import Plot
from dawnbeat.ui.window.parts.tables import plain_table, write_rows
from dawnbeat.ui.window.parts.theme import Painted, arrow_head

WEEKS = 8
# Heights of a line from one week to the next, with the answers beside the strip and below it.
_BESIDE_LINES, _BELOW_LINES = 2.5, 4.6
_WHERE = "Mornings, looking back"
_NOTE = (
    "In each strip: ● a morning, ○ one that was ill, not comparable or in another posture, ▲ the week's average on its "
    "last day, ▒ the usual range of that day. Under each day is what was said that morning; in brackets, what would be "
    "said now of a morning without a saved answer."
)
_TABLE_NOTE = (
    "95 % intervals, with the likeness of neighbouring mornings in them. A change in [brackets] can't be told from "
    "none. Variation is the coefficient of variation of lnRMSSD. Ill, short and not comparable mornings and other "
    "postures are left out of the means."
)
_CHECKED = ("Made", "Camera and strap", "Intervals", "They differ by, ms (SD)", "RMSSD, ms", "Pulse, bpm", "")
_CHECKS_NOTE = (
    "Measure with the camera and a strap at once, save the strap's intervals as a text file, and run “dawnbeat agree "
    "RECORDING INTERVALS.txt --save”: what it finds stands here."
)
_NO_MONTHS = "Your weeks, months and years will stand here side by side: take the first reading on the page Read."
_NO_EFFECTS = (
    "What you note, such as sleep, stress or alcohol, will stand here against the morning after: take the first "
    "reading on the page Read, and note how you slept."
)
_EFFECTS_NOTE = (
    "Each dot is one morning: how far it lay from the middle of the usual range. Things that happen together need not "
    f"cause one another, and nothing is said of fewer than {FEWEST} mornings. The more things are compared, the wider "
    "their intervals, so that chance alone looks clear in 5 of 100 journals at most (Holm 1979, Scand J Stat 6:65-70); "
    "◇ is the mean."
)
_MEASURES: tuple[tuple[str, Measure, str], ...] = (
    ("RMSSD", "ln_rmssd", "%"),
    ("Resting pulse", "resting_pulse_bpm", "bpm"),
)


class MonthsView(QWidget):
    """Week by week, month against month, year against year. left: back to the mornings is wanted."""

    left = Signal()

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.strips = WeekStrips(context)
        self.months = plain_table(HEADINGS, "Month against month", most=12)
        self.years = plain_table(HEADINGS, "Year against year", most=12)
        self.checks = plain_table(_CHECKED, "The camera against a strap", most=6)
        back, *others = controls.buttons(
            _WHERE,
            ("Back", "Alt+Left", "Back to the mornings, as Esc does", self.left.emit),
            ("CSV…", "Ctrl+Shift+E", "Save months and years as CSV", self.save_csv),
            ("Picture…", "Ctrl+Shift+P", "Save the strips as a PNG picture", self.save_picture),
        )
        self.nothing = label("", "What will stand here", _NO_MONTHS)
        self._of_mornings = (
            *others,
            *(_heading("The last weeks"), self.strips, label("small", "", _NOTE)),
            *(_heading("Month against month"), self.months),
            *(_heading("Year against year"), self.years, label("small", "", _TABLE_NOTE)),
        )
        page = scrolled(
            flow_of(back, label("title", "", "Looking back"), after=others, gap=10),
            self.nothing,
            *self._of_mornings[len(others) :],
            _heading("The camera against a strap"),
            self.checks,
            label("small", "", _CHECKS_NOTE),
            None,
        )
        stack(self, page)

    def refresh(self) -> None:
        """Draw again from the journal."""
        with self.context.saying():
            readings, mornings = self.context.journal.readings(), self.context.journal.mornings()
            made = checks(self.context.journal)
            last = readings[-1].local_date if readings else date.today()
            self.strips.show_weeks(answered_weeks(readings, last, WEEKS, self.context.ranges) if readings else ())
            write_rows(self.months, [cells(each) for each in reversed(by_month(mornings))])
            write_rows(self.years, [cells(each) for each in reversed(by_year(mornings))])
            write_rows(self.checks, [_check_cells(each) for each in reversed(made)])
            self.checks.setVisible(bool(made))
            self.nothing.setVisible(not readings)
            for part in self._of_mornings:
                part.setVisible(bool(readings))

    def save_csv(self) -> None:
        """Ask for a name and write months and years."""

        def write(path: Path) -> None:
            export_periods(self.context.journal, path, overwrite=True)

        saving.save(self.context, self, "Save months and years", "dawnbeat-months.csv", "CSV (*.csv)", write)

    def save_picture(self) -> None:
        """Ask for a name and save the strips."""

        def write(path: Path) -> None:
            saving.write_whole(path, _png_of(self.strips), "save the picture")

        saving.save(self.context, self, "Save the strips", "dawnbeat-weeks.png", "PNG picture (*.png)", write)


def _heading(words: str) -> QLabel:
    """Nearer to what stands below it than to what stands above."""
    heading = label("large", "", words)
    heading.setContentsMargins(0, 10, 0, 0)
    return heading


def _check_cells(check: Mapping[str, Any]) -> tuple[str, ...]:
    def shown(name: str, decimals: int) -> str:
        value = check.get(name)
        return f"{value:.{decimals}f}" if isinstance(value, int | float) else "–"

    return (
        str(check.get("made", ""))[:10],
        f"{check.get('camera', '')} and {check.get('strap', '')}",
        shown("intervals", 0),
        shown("interval_sd_ms", 1),
        f"{shown('rmssd_a_ms', 1)} and {shown('rmssd_b_ms', 1)}",
        f"{shown('mean_hr_a_bpm', 1)} and {shown('mean_hr_b_bpm', 1)}",
        "perhaps not one heart" if check.get("doubtful") else "",
    )


def _png_of(widget: QWidget) -> bytes:
    buffer = QBuffer()
    widget.grab().save(buffer, "PNG")
    return bytes(buffer.data().data())


class WeekStrips(Painted):
    """Weeks painted as strips, one below the other on one scale of RMSSD."""

    def __init__(self, context: AppContext) -> None:
        super().__init__(context, "A strip a week")
        self.weeks: tuple[AnsweredWeek, ...] = ()

    def show_weeks(self, weeks: tuple[AnsweredWeek, ...]) -> None:
        """Draw these."""
        self.weeks = weeks
        self.setAccessibleDescription(" ".join(_in_words(each) for each in weeks))
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802, D102  Qt's name
        line = QFontMetricsF(self.font()).height()
        return QSize(round(40 * line), self.heightForWidth(round(40 * line)))

    def minimumSizeHint(self) -> QSize:  # noqa: N802, D102
        line = QFontMetricsF(self.font()).height()
        return QSize(round(12 * line), round(line * (1.6 + _BESIDE_LINES * len(self.weeks))))

    def hasHeightForWidth(self) -> bool:  # noqa: N802, D102
        return True

    def heightForWidth(self, width: int) -> int:  # noqa: N802, D102
        lines = _BESIDE_LINES if self._beside(width) else _BELOW_LINES
        return round(QFontMetricsF(self.font()).height() * (1.6 + lines * len(self.weeks)))

    def _small(self) -> QFont:
        return self.context.theme.font(0.8)

    def _day_width(self) -> float:
        """What the longest answer but "can't say" needs in one line; that one may stand in two."""
        return QFontMetricsF(self._small()).horizontalAdvance("[no run]") + 0.5 * QFontMetricsF(self.font()).height()

    def _beside(self, width: float) -> bool:
        """Whether the answers find room at the right of their strip; else they stand below it."""
        metrics = QFontMetricsF(self.font())
        names = metrics.horizontalAdvance("from 30 Nov") + metrics.height()
        return width >= names + 8 * metrics.height() + 7 * self._day_width()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, D102
        painter = self.painter()
        theme, metrics = self.context.theme, QFontMetricsF(self.font())
        line, width = metrics.height(), float(self.width())
        name_end = metrics.horizontalAdvance("from 30 Nov") + line
        small, beside = self._small(), self._beside(width)
        day_width = self._day_width() if beside else width / 7
        answers_at = width - 7 * day_width
        left, right = name_end, answers_at - 1.5 * line if beside else width - line
        pitch, answers_down = (_BESIDE_LINES, 0.0) if beside else (_BELOW_LINES, 2.6 * line)
        painter.setPen(theme.colour("soft"))
        if not self.weeks:
            painter.drawText(QRectF(0, 0, width, line), Qt.AlignmentFlag.AlignLeft, "No morning in these weeks.")
            return
        values = np.concatenate(
            [[each.ln_rmssd or 0.0 for each in week.mornings] + [week.low, week.high] for week in self.weeks]
        )
        values = values[np.isfinite(values)]
        low, high = float(values.min()) - 0.05, float(values.max()) + 0.05

        def at(value: float) -> float:
            return left + (value - low) / (high - low) * (right - left)

        if beside:
            self._name_days(painter, answers_at, 0, day_width)
        room = metrics.horizontalAdvance("100 ms") + 0.5 * line
        painter.drawText(QRectF(0, 0, name_end, line), Qt.AlignmentFlag.AlignLeft, "RMSSD")
        told, marks = -math.inf, []
        for ms in (10, 15, 20, 30, 40, 60, 80, 120, 180):
            if low < math.log(ms) < high and at(math.log(ms)) - told > room:
                told = at(math.log(ms))
                marks.append(told)
                box = QRectF(at(math.log(ms)) - 3 * line, 0, 6 * line, line)
                painter.drawText(box, Qt.AlignmentFlag.AlignCenter, f"{ms} ms")
        for number, week in enumerate(self.weeks):
            middle = line * (2.6 + pitch * number)
            painter.setPen(theme.colour("ink"))
            box = QRectF(0, middle - line, name_end, 2 * line)
            begins = f"from {week.monday.day} {MONTHS[week.monday.month - 1][:3]}"
            painter.drawText(box, Qt.AlignmentFlag.AlignVCenter, begins)
            painter.setPen(QPen(theme.colour("line"), 1))
            painter.drawLine(QPointF(left, middle), QPointF(right, middle))
            for mark in marks:
                painter.drawLine(QPointF(mark, middle - 0.3 * line), QPointF(mark, middle + 0.3 * line))
            self._draw(painter, week, middle, line, at)
            painter.setFont(small)
            if not beside:
                # Days in boxes can't be taken for the scale of the strip above them.
                painter.setBrush(theme.colour("sheet"))
                for place in range(7):
                    box = QRectF(place * day_width + 1, middle + 0.95 * line, day_width - 2, 2.5 * line)
                    painter.drawRoundedRect(box, 4, 4)
                self._name_days(painter, 0, middle + line, day_width)
            painter.setPen(theme.colour("ink"))
            for day, (answer, stored) in week.said.items():
                place = (day - week.monday).days
                words = SHORT[answer.what] if stored else f"[{SHORT[answer.what]}]"
                box = QRectF(answers_at + place * day_width, middle - line + answers_down, day_width, 2 * line)
                painter.drawText(box, Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap, words)
            painter.setFont(self.font())

    def _name_days(self, painter: QPainter, left: float, top: float, day_width: float) -> None:
        painter.setPen(self.context.theme.colour("soft"))
        line = QFontMetricsF(painter.font()).height()
        for place, words in enumerate(("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")):
            box = QRectF(left + place * day_width, top, day_width, line)
            painter.drawText(box, Qt.AlignmentFlag.AlignCenter, words)

    def _draw(
        self, painter: QPainter, week: AnsweredWeek, middle: float, line: float, at: Callable[[float], float]
    ) -> None:
        theme = self.context.theme
        if math.isfinite(week.low):
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(theme.colour("ink", 50))
            painter.drawRect(QRectF(at(week.low), middle - 0.3 * line, at(week.high) - at(week.low), 0.6 * line))
        for each, whole in zip(week.mornings, week.compared, strict=True):
            if not each.usable or each.ln_rmssd is None:
                continue
            painter.setPen(QPen(theme.colour("ink"), 1.5))
            painter.setBrush(theme.colour("ink") if whole else theme.colour("sheet"))
            painter.drawEllipse(QPointF(at(each.ln_rmssd), middle), 0.2 * line, 0.2 * line)
        if math.isfinite(week.average):
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(theme.colour("accent"))
            painter.drawPolygon(arrow_head(at(week.average), middle + 0.35 * line, 0.3 * line, 0.48 * line))


def _in_words(week: AnsweredWeek) -> str:
    said = ", ".join(f"{day:%A} {SHORT[answer.what]}" for day, (answer, _) in week.said.items())
    average = "no average" if math.isnan(week.average) else f"average {math.exp(week.average):.0f} ms"
    return f"Week from {short_day(week.monday)}: {average}; {said}."


class ContextView(View):
    """What was noted against the morning that followed, in small plots. left: back to the months is wanted."""

    left = Signal()

    def __init__(self, context: AppContext) -> None:
        super().__init__(context)
        self.measure = named(ComboBox(), "Which figure of the morning after")
        self.measure.addItems([words for words, _, _ in _MEASURES])
        self.measure.currentIndexChanged.connect(lambda _: self.refresh())
        tip = "Back to the months, as Esc does"
        back = controls.button("Back", "Alt+Left", tip, self.left.emit, "Mornings, context")
        heading = label("title", "", "What you noted, and the morning after", wraps=True)
        self.cells: list[_Cell] = []
        self._grid = QGridLayout()
        self._grid.setHorizontalSpacing(14)
        self._grid.setVerticalSpacing(4)
        asked = flow_of(back, self.measure)
        self.nothing = in_place_of_all(_NO_EFFECTS)
        self._note, self._plots = label("soft", "", _EFFECTS_NOTE), QWidget()
        self._plots.setLayout(self._grid)
        self._grid.setContentsMargins(0, 0, 0, 0)
        stack(self, scrolled(asked, heading, self.nothing, self._note, (self._plots, 1)))

    def refresh(self) -> None:
        """Draw again from the journal."""
        _, measure, unit = _MEASURES[self.measure.currentIndex()]
        with self.context.saying():
            readings = self.context.journal.readings()
            self.nothing.setVisible(not readings)
            for part in (self.measure, self._note, self._plots):
                part.setVisible(bool(readings))
            found = effects(readings, measure, self.context.ranges)
            if not self.cells:
                self.cells = [_Cell(self.context, effect.title) for effect in found]
                self.arrange()
            for cell, effect in zip(self.cells, found, strict=True):
                cell.show_effect(effect, unit)

    def arrange(self) -> None:
        """As many columns as there is room for."""
        columns = max(1, min(3, self.width() // self.context.theme.px(330)))
        # Titles and words of one row may need unlike numbers of lines, and the plots still stand in one line.
        for place, cell in enumerate(self.cells):
            row, column = 4 * (place // columns), place % columns
            self._grid.addWidget(cell.title, row, column, Qt.AlignmentFlag.AlignBottom)
            self._grid.addWidget(cell.plot, row + 1, column)
            self._grid.addWidget(cell.words, row + 2, column, Qt.AlignmentFlag.AlignTop)
            cell.plot.setMinimumHeight(self.context.theme.px(200))
        for column in range(3):
            self._grid.setColumnStretch(column, 1 if column < columns else 0)
        for number in range(len(self.cells)):
            used = number * columns < len(self.cells)
            self._grid.setRowStretch(4 * number + 1, 1 if used else 0)
            self._grid.setRowMinimumHeight(4 * number + 3, 8 if used else 0)


class _LowPlot(Plot):
    """Content with its least height: what plots would like to have is more than a screen for nine of them."""

    def sizeHint(self) -> QSize:  # noqa: N802  Qt's name
        return QSize(super().sizeHint().width(), self.minimumHeight())


class _Cell:
    """One small plot, its title and its words."""

    def __init__(self, context: AppContext, title: str) -> None:
        self.title, self.words = label("", "", title), label("small", "")
        self.plot = _LowPlot(context, f"{title} and the morning after", ("", ""), ("From usual", "%"))
        self.plot.readout.hide()
        self.plot.level(Ink("soft", width=1.0, dash=True))
        self._dots = self.plot.dots(Ink("ink", 170), "o", 5)
        self._means = self.plot.dots(Ink("accent", width=2.0), "d", 11, filled=False)

    def show_effect(self, effect: Effect, unit: str) -> None:
        self.words.setText(effect.words)
        self.plot.name_axis("left", "From usual", unit)
        self.plot.know(bool(effect.n))
        # Ratings are whole numbers, so dots are set a little apart, the same way every time.
        apart = np.random.default_rng(1).uniform(-0.16, 0.16, effect.n) if effect.ticks else np.zeros(effect.n)
        self._dots.setData(effect.noted + apart, effect.deviation)
        kinds = np.unique(effect.noted) if effect.ticks and effect.n else np.zeros(0)
        self._means.setData(kinds, np.array([effect.deviation[effect.noted == kind].mean() for kind in kinds]))
        half = 1.15 * float(np.abs(effect.deviation).max()) if effect.n else 10.0
        self.plot.box.setYRange(-half, half, padding=0)
        if effect.ticks:
            self.plot.item.getAxis("bottom").setTicks([list(effect.ticks)])
            self.plot.show_x(effect.ticks[0][0] - 0.6, effect.ticks[-1][0] + 0.6)
            return
        self.plot.number("bottom", partial(evenly, unit=" h"))  # only of sleep no rating is asked for
        if effect.n:
            self.plot.show_x(float(effect.noted.min()) - 0.5, float(effect.noted.max()) + 0.5)
