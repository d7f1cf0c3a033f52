"""Looking back: a strip a week with its answers, month against month, and year against year."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
from PySide6.QtCore import QBuffer, QByteArray, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFont, QFontMetricsF, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from dawnbeat.journal.periods import HEADINGS, by_month, by_year, cells
from dawnbeat.journal.ranges import DailyRanges, RangeSettings, counts, daily_ranges
from dawnbeat.journal.rows import morning_of, one_a_day
from dawnbeat.morning.answer import Answer, answer_of
from dawnbeat.morning.answer_text import SHORT
from dawnbeat.morning.answering import from_json
from dawnbeat.morning.strap import checks
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import Morning, StoredReading
from dawnbeat.shared.wording import MONTHS, short_day
from dawnbeat.ui.window.parts import controls, saving
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import label
from dawnbeat.ui.window.parts.layouts import Scrolled
from dawnbeat.ui.window.parts.tables import fit_rows, plain_table, write_rows

WEEKS = 8
_At = Callable[[float], float]
_WHERE = "Mornings, looking back"
_NOTE = (
    "In each strip: ● a morning, ○ one that was ill, not comparable or in another posture, ▲ the week's average on its "
    "last day, ▒ the usual range of that day. Under each day is what was said that morning; in brackets, what would be "
    "said now of a morning that kept no answer."
)
_TABLE_NOTE = (
    "95 % intervals, with the likeness of neighbouring mornings in them. A change in [brackets] can't be told from "
    "none. Variation is the coefficient of variation of lnRMSSD. Ill, short and not comparable mornings and other "
    "postures are left out of the means."
)


_CHECKED = ("Made", "Camera and strap", "Intervals", "They differ by, ms (SD)", "RMSSD, ms", "Pulse, bpm", "")
_CHECKS_NOTE = (
    "Measure with the camera and a strap at once, save the strap's intervals as a text file, and run `dawnbeat agree "
    "RECORDING INTERVALS.txt --keep`: what it finds is kept here."
)


@dataclass(frozen=True)
class WeekStrip:
    """One week, Monday to Sunday. said: by day, the answer and whether it was stored."""

    monday: date
    mornings: tuple[Morning, ...]
    compared: tuple[bool, ...]
    average: float
    low: float
    high: float
    said: Mapping[date, tuple[Answer, bool]]


def week_strips(
    readings: Sequence[StoredReading], last: date, weeks: int, settings: RangeSettings
) -> tuple[WeekStrip, ...]:
    """The last so many weeks, the newest first; those without a morning are left out."""
    chosen = one_a_day(readings)
    mornings = [morning_of(each) for each in chosen]
    answers = {each.local_date: each.answer for each in chosen}
    monday = last - timedelta(days=last.weekday())
    first = monday - timedelta(weeks=weeks - 1)
    daily = daily_ranges(mornings, "ln_rmssd", first, monday + timedelta(days=6), settings)
    found = []
    for back in range(weeks):
        start = monday - timedelta(weeks=back)
        inside = tuple(each for each in mornings if 0 <= (each.date - start).days < 7 and each.ln_rmssd is not None)
        if inside:
            found.append(_strip(start, inside, mornings, answers, daily, settings))
    return tuple(found)


def _strip(
    monday: date,
    inside: tuple[Morning, ...],
    mornings: Sequence[Morning],
    answers: Mapping[date, Mapping[str, object] | None],
    daily: DailyRanges,
    settings: RangeSettings,
) -> WeekStrip:
    at = inside[-1].date.toordinal() - int(daily.day[0])
    usual = (int(daily.posture[at]), int(daily.origin[at]))
    said = {}
    for each in inside:
        stored = answers.get(each.date)
        kept = None if stored is None else from_json(stored)
        near = [other for other in mornings if 0 <= (each.date - other.date).days <= settings.reach_days]
        said[each.date] = (answer_of(near, each.date, settings), False) if kept is None else (kept, True)
    window = [bool(daily.in_week[at][-1 - (inside[-1].date - each.date).days]) for each in inside]
    compared = tuple(
        inside_window and counts(each, "ln_rmssd") and not each.ill and min(usual) >= 0
        for each, inside_window in zip(inside, window, strict=True)
    )
    average, low, high = (float(values[at]) for values in (daily.week, daily.low, daily.high))
    return WeekStrip(monday, inside, compared, average, low, high, said)


class WeekStrips(QWidget):
    """The strips, painted one below the other on one scale of RMSSD."""

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.strips: tuple[WeekStrip, ...] = ()
        self.setAccessibleName("A strip a week")
        context.theme_changed.connect(self._retheme)

    def show_strips(self, strips: tuple[WeekStrip, ...]) -> None:
        """Draw these."""
        self.strips = strips
        self.setAccessibleDescription(" ".join(_in_words(each) for each in strips))
        self.updateGeometry()
        self.update()

    def _retheme(self, _theme: object) -> None:
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802, D102  Qt's name
        line = QFontMetricsF(self.font()).height()
        return QSize(round(40 * line), round(line * (1.6 + 2.5 * len(self.strips))))

    def minimumSizeHint(self) -> QSize:  # noqa: N802, D102
        return QSize(round(24 * QFontMetricsF(self.font()).height()), self.sizeHint().height())

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, D102
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        theme, metrics = self.context.theme, QFontMetricsF(self.font())
        line, width = metrics.height(), float(self.width())
        name_end = metrics.horizontalAdvance("from 30 Nov") + line
        small = QFont(self.font())
        small.setPointSizeF(theme.pt(0.8))
        day_width = QFontMetricsF(small).horizontalAdvance("[can't say]") + 0.3 * line
        answers_at = max(width - 7 * day_width, name_end + 8 * line)
        left, right = name_end, answers_at - 1.5 * line
        painter.setPen(theme.colour("soft"))
        if not self.strips:
            painter.drawText(QRectF(0, 0, width, line), Qt.AlignmentFlag.AlignLeft, "No morning in these weeks.")
            return
        values = np.concatenate(
            [[each.ln_rmssd or 0.0 for each in strip.mornings] + [strip.low, strip.high] for strip in self.strips]
        )
        values = values[np.isfinite(values)]
        low, high = float(values.min()) - 0.05, float(values.max()) + 0.05

        def at(value: float) -> float:
            return left + (value - low) / (high - low) * (right - left)

        for place, words in enumerate(("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")):
            box = QRectF(answers_at + place * day_width, 0, day_width, line)
            painter.drawText(box, Qt.AlignmentFlag.AlignCenter, words)
        room = metrics.horizontalAdvance("100 ms") + 0.5 * line
        told = -math.inf
        for ms in (10, 15, 20, 30, 40, 60, 80, 120, 180):
            if low < math.log(ms) < high and at(math.log(ms)) - told > room:
                told = at(math.log(ms))
                box = QRectF(at(math.log(ms)) - 3 * line, 0, 6 * line, line)
                painter.drawText(box, Qt.AlignmentFlag.AlignCenter, f"{ms} ms")
        for number, strip in enumerate(self.strips):
            middle = line * (2.6 + 2.5 * number)
            painter.setPen(theme.colour("ink"))
            box = QRectF(0, middle - line, name_end, 2 * line)
            painter.drawText(box, Qt.AlignmentFlag.AlignVCenter, f"from {_day(strip.monday)}")
            painter.setPen(QPen(theme.colour("line"), 1))
            painter.drawLine(QPointF(left, middle), QPointF(right, middle))
            self._draw(painter, strip, middle, line, at)
            painter.setPen(theme.colour("ink"))
            painter.setFont(small)
            for day, (answer, stored) in strip.said.items():
                place = (day - strip.monday).days
                words = SHORT[answer.what] if stored else f"[{SHORT[answer.what]}]"
                box = QRectF(answers_at + place * day_width, middle - line, day_width, 2 * line)
                painter.drawText(box, Qt.AlignmentFlag.AlignCenter, words)
            painter.setFont(self.font())

    def _draw(self, painter: QPainter, strip: WeekStrip, middle: float, line: float, at: _At) -> None:
        theme = self.context.theme
        if math.isfinite(strip.low):
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(theme.colour("ink", 50))
            painter.drawRect(QRectF(at(strip.low), middle - 0.3 * line, at(strip.high) - at(strip.low), 0.6 * line))
        for each, whole in zip(strip.mornings, strip.compared, strict=True):
            if not each.usable or each.ln_rmssd is None:
                continue
            painter.setPen(QPen(theme.colour("ink"), 1.5))
            painter.setBrush(theme.colour("ink") if whole else theme.colour("sheet"))
            painter.drawEllipse(QPointF(at(each.ln_rmssd), middle), 0.2 * line, 0.2 * line)
        if math.isfinite(strip.average):
            x, size = at(strip.average), 0.3 * line
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(theme.colour("accent"))
            foot = middle + 0.35 * line
            base = foot + 1.6 * size
            painter.drawPolygon(QPolygonF([QPointF(x, foot), QPointF(x - size, base), QPointF(x + size, base)]))


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


def _day(day: date) -> str:
    return f"{day.day} {MONTHS[day.month - 1][:3]}"


def _png_of(widget: QWidget) -> bytes:
    packed = QByteArray()
    buffer = QBuffer(packed)
    buffer.open(QBuffer.OpenModeFlag.WriteOnly)
    if not widget.grab().save(buffer, "PNG"):
        raise DawnbeatError("the picture can't be packed as PNG: try again with a smaller window")
    return bytes(packed.data())


def _in_words(strip: WeekStrip) -> str:
    said = ", ".join(f"{day:%A} {SHORT[answer.what]}" for day, (answer, _) in strip.said.items())
    average = "no average" if math.isnan(strip.average) else f"average {math.exp(strip.average):.0f} ms"
    return f"Week from {short_day(strip.monday)}: {average}; {said}."


class MonthsView(QWidget):
    """left: back to the mornings is wanted."""

    left = Signal()

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.strips = WeekStrips(context)
        self.months = plain_table(HEADINGS, "Month against month")
        self.years = plain_table(HEADINGS, "Year against year")
        self.checks = plain_table(_CHECKED, "The camera against a strap")
        top = QHBoxLayout()
        top.addWidget(controls.button("Back", "Alt+Left", "Back to the mornings, as Esc does", self.left.emit, _WHERE))
        top.addSpacing(10)
        top.addWidget(label("title", "", "Looking back"), 1)
        for words, keys, tip, does in (
            ("CSV…", "Ctrl+Shift+E", "Save months and years as CSV", self.save_csv),
            ("Picture…", "Ctrl+Shift+P", "Save the strips as a PNG picture", self.save_picture),
        ):
            top.addWidget(controls.button(words, keys, tip, does, _WHERE))
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.setContentsMargins(20, 14, 20, 8)
        column.setSpacing(8)
        column.addLayout(top)
        column.addWidget(label("large", "", "The last weeks"))
        column.addWidget(self.strips)
        column.addWidget(label("small", "", _NOTE))
        column.addWidget(label("large", "", "Month against month"))
        column.addWidget(self.months)
        column.addWidget(label("large", "", "Year against year"))
        column.addWidget(self.years)
        column.addWidget(label("small", "", _TABLE_NOTE))
        column.addWidget(label("large", "", "The camera against a strap"))
        column.addWidget(self.checks)
        column.addWidget(label("small", "", _CHECKS_NOTE))
        column.addStretch(1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(Scrolled(inside))

    def refresh(self) -> None:
        """Draw again from the journal."""
        try:
            readings, mornings = self.context.journal.readings(), self.context.journal.mornings()
            found_checks = checks(self.context.journal)
        except DawnbeatError as error:
            self.context.say(str(error))
            return
        last = readings[-1].local_date if readings else date.today()
        self.strips.show_strips(week_strips(readings, last, WEEKS, self.context.ranges) if readings else ())
        for table, found in ((self.months, by_month(mornings)), (self.years, by_year(mornings))):
            write_rows(table, [cells(each) for each in reversed(found)])
            table.resizeColumnsToContents()
            fit_rows(table, 12, 100_000)

        write_rows(self.checks, [_check_cells(each) for each in reversed(found_checks)])
        self.checks.resizeColumnsToContents()
        fit_rows(self.checks, 6, 100_000)

    def save_csv(self) -> None:
        """Ask for a name and write months and years."""
        from dawnbeat.journal.periods import export_periods

        path = saving.ask_save(self, "Save months and years", "dawnbeat-months.csv", "CSV (*.csv)")
        if path is not None:
            with self.context.saying():
                export_periods(self.context.journal, path, overwrite=True)
                self.context.say(f"Saved {path.name}.")

    def save_picture(self) -> None:
        """Ask for a name and save the strips."""
        path = saving.ask_save(self, "Save the strips", "dawnbeat-weeks.png", "PNG picture (*.png)")
        if path is not None:
            with self.context.saying():
                saving.write_whole(path, _png_of(self.strips), "save the picture")
                self.context.say(f"Saved {path.name}.")
