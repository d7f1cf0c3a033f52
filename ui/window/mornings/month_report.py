"""One month on one page of paper."""

from __future__ import annotations

import calendar
import math
from collections.abc import Callable
from datetime import date, timedelta

import numpy as np
from PySide6.QtCore import QBuffer, QByteArray, QIODevice, QMarginsF, QPointF, QRectF, QSizeF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPageLayout, QPageSize, QPainter, QPdfWriter, QPen, QPolygonF

from dawnbeat.journal.ranges import Measure, RangeSettings
from dawnbeat.journal.rows import one_a_day
from dawnbeat.journal.series import Series, series_of
from dawnbeat.journal.store import Journal
from dawnbeat.morning.answer_text import SEEK_HELP, headline, lead
from dawnbeat.morning.answering import grounds
from dawnbeat.morning.reading_text import interval_words
from dawnbeat.shared.installed import software_version
from dawnbeat.shared.morning import RATINGS, Context, StoredReading
from dawnbeat.shared.trace import BoolArray
from dawnbeat.shared.wording import DAY_S, MONTHS, count_of, seconds_of, short_day
from dawnbeat.ui.window.mornings.chart import ticks_of
from dawnbeat.ui.window.parts.theme import LIGHT

_DPI = 300
_INK, _SOFT, _LINE, _BAND, _ACCENT = LIGHT.ink, LIGHT.soft, LIGHT.line, LIGHT.wash, LIGHT.accent
_CHARTS: tuple[tuple[Measure, str, float], ...] = (
    ("ln_rmssd", "RMSSD, ms", 46.0),
    ("resting_pulse_bpm", "Resting pulse, bpm", 34.0),
)
_At = Callable[[float, float], QPointF]
_COLUMNS = (("Day", 0.0), ("Time", 0.07), ("RMSSD", 0.14), ("Pulse", 0.31), ("", 0.46), ("Noted", 0.565))


def month_pdf(journal: Journal, year: int, month: int, ranges: RangeSettings) -> bytes:
    """The PDF of one month: figures, both charts, and a line for each morning. A4, one page.

    Raises DawnbeatError when the journal can't be read.
    """
    first, last = date(year, month, 1), date(year, month, calendar.monthrange(year, month)[1])
    reach = timedelta(days=ranges.reach_days)
    readings = journal.readings(first - reach, last)
    packed = QByteArray()
    buffer = QBuffer(packed)
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    writer = QPdfWriter(buffer)
    writer.setResolution(_DPI)
    writer.setTitle(f"Mornings, {MONTHS[month - 1]} {year}")
    writer.setCreator(f"Dawnbeat {software_version()}")
    writer.setPageLayout(
        QPageLayout(
            QPageSize(QPageSize.PageSizeId.A4),
            QPageLayout.Orientation.Portrait,
            QMarginsF(15, 12, 15, 12),
            QPageLayout.Unit.Millimeter,
        )
    )
    painter = QPainter(writer)
    try:
        _Sheet(painter, QSizeF(writer.width(), writer.height())).draw(journal, readings, first, last, ranges)
    finally:
        painter.end()
        buffer.close()
    return bytes(packed.data())


class _Sheet:
    """Draws from the top downwards; y is where the next thing goes."""

    def __init__(self, painter: QPainter, size: QSizeF) -> None:
        self.painter, self.width, self.height = painter, size.width(), size.height()
        self.mm = _DPI / 25.4
        self.y = 0.0

    def draw(
        self, journal: Journal, readings: list[StoredReading], first: date, last: date, ranges: RangeSettings
    ) -> None:
        self.text(f"{MONTHS[first.month - 1]} {first.year}", 20)
        self.text("Morning pulse and variability, read from a fingertip on a camera", 9.5, _SOFT)
        self.y += 2 * self.mm
        days = one_a_day(readings)
        shown = [each for each in days if each.local_date >= first]
        for line in _summary(journal, shown, first, last, ranges):
            self.text(line, 9.5)
        self.y += 2 * self.mm
        for measure, title, height in _CHARTS:
            self.chart(series_of(readings, measure, ranges), title, height * self.mm, first, last)
        self.text(
            "● morning with its 95 % interval   ━ week’s average   ▒ usual range   △ another posture   "
            "◇ ill or not comparable   ✕ not usable, at the foot",
            7.5,
            _SOFT,
        )
        self.y += 2 * self.mm
        self.table(shown)
        self.foot()

    def text(self, words: str, points: float, ink: str = _INK) -> None:
        font = self.font(points)
        box = QFontMetricsF(font, self.painter.device()).boundingRect(
            QRectF(0, 0, self.width, self.height), Qt.TextFlag.TextWordWrap, words
        )
        self.painter.setPen(QColor(ink))
        self.painter.drawText(QRectF(0, self.y, self.width, box.height() + 2), Qt.TextFlag.TextWordWrap, words)
        self.y += box.height() + 0.6 * self.mm

    def font(self, points: float) -> QFont:
        font = QFont(self.painter.font())
        font.setPointSizeF(points)
        self.painter.setFont(font)
        return font

    def chart(self, series: Series, title: str, height: float, first: date, last: date) -> None:
        painter, mm = self.painter, self.mm
        area = QRectF(13 * mm, self.y + 4 * mm, self.width - 14 * mm, height - 9 * mm)
        left_s, right_s = seconds_of(first) - 0.7 * DAY_S, seconds_of(last) + 0.7 * DAY_S
        inside = (series.day_s >= seconds_of(first)) & (series.day_s <= seconds_of(last))
        daily = (series.daily_s >= seconds_of(first)) & (series.daily_s <= seconds_of(last))
        good = inside & series.usable & np.isfinite(series.value)
        values = np.concatenate(
            [each[good] for each in (series.value, series.low, series.high)]
            + [each[daily] for each in (series.daily.week, series.daily.low, series.daily.high)]
        )
        values = values[np.isfinite(values)]
        middle = 3.8 if series.measure == "ln_rmssd" else 55.0
        low, high = (float(values.min()), float(values.max())) if values.size else (middle - 0.3, middle + 0.3)
        pad = 0.12 * max(high - low, 1e-3)
        low, high = low - 1.6 * pad, high + pad

        def at(day_s: float, value: float) -> QPointF:
            return QPointF(
                area.left() + (day_s - left_s) / (right_s - left_s) * area.width(),
                area.bottom() - (value - low) / (high - low) * area.height(),
            )

        self.font(8)
        painter.setPen(QColor(_SOFT))
        painter.drawText(QPointF(0, self.y + 3 * mm), title)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(_BAND))
        for x, bottom, top in zip(
            series.daily_s[daily], series.daily.low[daily], series.daily.high[daily], strict=True
        ):
            if math.isfinite(bottom):
                painter.drawRect(QRectF(at(x - DAY_S / 2, top), at(x + DAY_S / 2, bottom)))
        painter.setPen(QPen(QColor(_LINE), 0.2 * mm))
        painter.drawLine(area.bottomLeft(), area.bottomRight())
        painter.drawLine(area.bottomLeft(), area.topLeft())
        painter.setPen(QColor(_SOFT))
        for value, words in ticks_of(series.measure, low, high):
            y = at(left_s, value).y()
            box = QRectF(0, y - 3 * mm, 12 * mm, 6 * mm)
            painter.drawText(box, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, words)
        for day in range(1, last.day + 1, 3):
            x = at(seconds_of(first.replace(day=day)), low).x()
            box = QRectF(x - 6 * mm, area.bottom() + 0.4 * mm, 12 * mm, 4.2 * mm)
            painter.drawText(box, Qt.AlignmentFlag.AlignCenter, str(day))
        self._week(series, daily, at)
        self._points(series, inside, at, low, high)
        self.y += height

    def _week(self, series: Series, daily: BoolArray, at: _At) -> None:
        self.painter.setPen(QPen(QColor(_ACCENT), 0.5 * self.mm))
        line: list[QPointF] = []
        for x, value in zip(series.daily_s[daily], series.daily.week[daily], strict=True):
            if math.isfinite(value):
                line.append(at(x, value))
            else:
                self.painter.drawPolyline(QPolygonF(line))
                line = []
        self.painter.drawPolyline(QPolygonF(line))

    def _points(self, series: Series, inside: BoolArray, at: _At, low: float, high: float) -> None:
        painter, size = self.painter, 0.75 * self.mm
        painter.setBrush(QColor(_INK))
        for place in np.flatnonzero(inside).tolist():
            x, value = series.day_s[place], series.value[place]
            painter.setPen(QPen(QColor(_INK), 0.25 * self.mm))
            if not series.usable[place] or not math.isfinite(value):
                spot = at(x, low + 0.04 * (high - low))
                painter.drawLine(spot + QPointF(-size, -size), spot + QPointF(size, size))
                painter.drawLine(spot + QPointF(-size, size), spot + QPointF(size, -size))
                continue
            spot = at(x, value)
            if math.isfinite(series.low[place]):
                painter.drawLine(at(x, series.low[place]), at(x, series.high[place]))
            if series.other_posture[place] or series.set_apart[place]:
                painter.setBrush(QColor("white"))
                tip, side = QPointF(0, -1.3 * size), QPointF(1.2 * size, 0)
                corners = [tip, QPointF(1.2 * size, size), QPointF(-1.2 * size, size)]
                if series.set_apart[place]:
                    corners = [tip, side, -tip, -side]
                painter.drawPolygon(QPolygonF([spot + corner for corner in corners]))
                painter.setBrush(QColor(_INK))
            else:
                painter.drawEllipse(spot, size, size)

    def table(self, readings: list[StoredReading]) -> None:
        painter, mm = self.painter, self.mm
        room = self.height - self.y - 13 * mm
        row = min(4.4 * mm, room / max(len(readings) + 1, 1))
        metrics = QFontMetricsF(self.font(min(8.0, 0.62 * row / _DPI * 72)), painter.device())
        for title, share in _COLUMNS:
            painter.setPen(QColor(_SOFT))
            painter.drawText(QPointF(share * self.width, self.y + 0.75 * row), title)
        self.y += row
        painter.setPen(QPen(QColor(_LINE), 0.2 * mm))
        painter.drawLine(QPointF(0, self.y), QPointF(self.width, self.y))
        painter.setPen(QColor(_INK))
        for reading in readings:
            for (_, share), words in zip(_COLUMNS, _cells(reading), strict=True):
                end = next((each for _, each in _COLUMNS if each > share), 1.0)
                cut = metrics.elidedText(words, Qt.TextElideMode.ElideRight, (end - share) * self.width - 1.5 * mm)
                painter.drawText(QPointF(share * self.width, self.y + 0.78 * row), cut)
            self.y += row

    def foot(self) -> None:
        self.y = self.height - 10 * self.mm
        self.text(
            f"Usual range: mean and half a standard deviation of the days before each week (Vesterinen "
            f"et al. 2016, Med Sci Sports Exerc 48:1347-1354). Dawnbeat is not a medical device. {SEEK_HELP}",
            7.5,
            _SOFT,
        )


def _summary(journal: Journal, shown: list[StoredReading], first: date, last: date, ranges: RangeSettings) -> list[str]:
    if not shown:
        return ["There is no reading in this month."]
    usable = [each for each in shown if each.verdict.usable and each.metrics.ln_rmssd is not None]
    lines = [f"{count_of(len(shown), 'morning')}, {len(usable)} usable, of {last.day} days."]
    if usable:
        ln = np.array([each.metrics.ln_rmssd for each in usable], dtype=np.float64)
        pulse = np.array([each.metrics.mean_hr_bpm for each in usable], dtype=np.float64)
        lines.append(
            f"RMSSD: typical {math.exp(ln.mean()):.0f} ms, from {math.exp(ln.min()):.0f} to {math.exp(ln.max()):.0f} "
            f"ms. Resting pulse: mean {pulse.mean():.0f} bpm, from {pulse.min():.0f} to {pulse.max():.0f} bpm."
        )
    answer = grounds(journal, shown[-1].local_date, ranges).answer()
    lines.append(f"On {short_day(shown[-1].local_date)}: {headline(answer)}. {lead(answer)}")
    return lines


def _cells(reading: StoredReading) -> tuple[str, ...]:
    verdict = reading.posture if reading.verdict.usable else "not usable"
    return (
        f"{reading.local_date.day} {MONTHS[reading.local_date.month - 1][:3]}",
        f"{reading.began:%H:%M}",
        interval_words(reading, "rmssd_ms", "ms") if reading.verdict.usable else "–",
        interval_words(reading, "mean_hr_bpm", "bpm") if reading.verdict.usable else "–",
        verdict,
        noted_words(reading.context),
    )


def noted_words(context: Context) -> str:
    """What was noted on a morning, what matters most first."""
    words = ["felt ill"] if context.ill else []
    words += ["alcohol"] if context.alcohol else []
    words += [text for text in (context.note, context.yesterday_run) if text]
    if context.hours_slept is not None:
        words.append(f"{context.hours_slept:g} h slept")
    words += [f"{name} {getattr(context, name)}" for name in RATINGS if getattr(context, name) is not None]
    return ", ".join(" ".join(each.split()) for each in words)
