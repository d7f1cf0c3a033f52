"""One month on one page of paper."""

from __future__ import annotations

import calendar
import math
from datetime import date, timedelta

import numpy as np
from PySide6.QtCore import (
    QBuffer,
    QByteArray,
    QCoreApplication,
    QEvent,
    QIODevice,
    QMarginsF,
    QPointF,
    QRectF,
    QSizeF,
    Qt,
)
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPageLayout, QPageSize, QPainter, QPdfWriter, QPen

from dawnbeat.journal.ranges import RangeSettings
from dawnbeat.journal.rows import one_a_day
from dawnbeat.journal.series import series_of
from dawnbeat.journal.store import Journal
from dawnbeat.morning.answer_text import SEEK_HELP, headline, lead
from dawnbeat.morning.answering import grounds
from dawnbeat.shared.installed import software_version
from dawnbeat.shared.morning import RATINGS, Context, StoredReading
from dawnbeat.shared.wording import DAY_S, MONTHS, UNKNOWN, count_of, figure, seconds_of, short_day, unbroken
from dawnbeat.ui.window.mornings.chart import LEGEND, Half, halves
from dawnbeat.ui.window.parts.theme import LIGHT, Still

_DPI = 96  # a screen's, which plots are drawn for; lines and letters are drawn as such, and are sharp at any
_SCALE = 0.75  # of plots, against a screen
_INK, _SOFT, _LINE = LIGHT.ink, LIGHT.soft, LIGHT.line
_LEAST_ROW_MM = 2.4  # letters of 4.2 points, as small as print can be read
_HEIGHTS_MM = (50.0, 40.0)
_COLUMNS = (
    ("Day", 0.0),
    ("Time", 0.065),
    ("RMSSD, ms", 0.125),
    ("Pulse, bpm", 0.235),
    ("Posture", 0.345),
    ("Noted", 0.44),
)


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
        _Sheet(painter, QSizeF(writer.width(), writer.height()), ranges).draw(journal, readings, first, last)
    finally:
        painter.end()
        buffer.close()
    return bytes(packed.data())


class _Sheet:
    """Draws from the top downwards; y is where the next thing goes."""

    def __init__(self, painter: QPainter, size: QSizeF, ranges: RangeSettings) -> None:
        self.painter, self.width, self.height = painter, size.width(), size.height()
        self.ranges = ranges
        self.mm = _DPI / 25.4
        self.y = 0.0

    def draw(self, journal: Journal, readings: list[StoredReading], first: date, last: date) -> None:
        self.text(f"{MONTHS[first.month - 1]} {first.year}", 20)
        self.text("Morning pulse and variability, read from a fingertip on a camera", 9.5, _SOFT)
        self.y += 2 * self.mm
        days = one_a_day(readings)
        shown = [each for each in days if each.local_date >= first]
        for line in _summary(journal, shown, last, self.ranges):
            self.text(line, 9.5)
        if shown:
            self.y += 2 * self.mm
            for half, height_mm in zip(halves(Still()), _HEIGHTS_MM, strict=True):
                self.chart(readings, first, last, half, height_mm * self.mm)
            self.text(LEGEND, 7.5, _SOFT)
            self.y += 2 * self.mm
            self.table(shown)
        self.foot()

    def text(self, words: str, points: float, ink: str = _INK) -> None:
        font, words = self.font(points), unbroken(words)
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

    def chart(self, readings: list[StoredReading], first: date, last: date, half: Half, height: float) -> None:
        half.draw(series_of(readings, half.measure, self.ranges))
        half.plot.show_x(seconds_of(first) - 0.7 * DAY_S, seconds_of(last) + 0.7 * DAY_S)
        half.plot.paint_on(self.painter, QRectF(0, self.y, self.width, height), _SCALE)
        self.y += height
        # No window holds this plot. It goes while Python still has it: the other way round ends the process at times.
        half.plot.deleteLater()
        QCoreApplication.sendPostedEvents(half.plot, QEvent.Type.DeferredDelete)

    def table(self, readings: list[StoredReading]) -> None:
        painter, mm = self.painter, self.mm
        room = self.height - self.y - 13 * mm
        cells = [_cells(each) for each in readings]
        row, noted = self.fitted([each[-1] for each in cells], (1.0 - _COLUMNS[-1][1]) * self.width, room)
        for title, share in _COLUMNS:
            painter.setPen(QColor(_SOFT))
            painter.drawText(QPointF(share * self.width, self.y + 0.75 * row), title)
        self.y += row
        painter.setPen(QPen(QColor(_LINE), 0.2 * mm))
        painter.drawLine(QPointF(0, self.y), QPointF(self.width, self.y))
        painter.setPen(QColor(_INK))
        for said, lines in zip(cells, noted, strict=True):
            for (_, share), words in zip(_COLUMNS, said[:-1], strict=False):
                painter.drawText(QPointF(share * self.width, self.y + 0.78 * row), words)
            for words in lines or ("",):
                painter.drawText(QPointF(_COLUMNS[-1][1] * self.width, self.y + 0.78 * row), words)
                self.y += row

    def fitted(self, notes: list[str], width: float, room: float) -> tuple[float, list[list[str]]]:
        """The height of a line at which all rows find room, and the lines of each note; the font is set for it.

        Only where the smallest letters are too large do the longest notes end in an ellipsis.
        """
        mm = self.mm
        for row_mm in np.arange(4.4, _LEAST_ROW_MM - 0.01, -0.1):
            row = float(row_mm) * mm
            metrics = QFontMetricsF(self.font(min(8.0, 0.62 * row / _DPI * 72)), self.painter.device())
            lines = [wrapped(each, width, metrics) for each in notes]
            if _high(lines) * row <= room:
                return row, lines
        most = max(map(len, lines), default=1)
        while most > 1 and _high(lines) * row > room:
            most -= 1
            lines = [_shortened(each, most, width, metrics) for each in lines]
        return row, lines

    def foot(self) -> None:
        self.y = self.height - 10 * self.mm
        self.text(
            f"Usual range: mean and half a standard deviation of the days before each week (Vesterinen "
            f"et al. 2016, Med Sci Sports Exerc 48:1347-1354). Dawnbeat is not a medical device. {SEEK_HELP}",
            7.5,
            _SOFT,
        )


def wrapped(words: str, width: float, metrics: QFontMetricsF) -> list[str]:
    """The words in lines of at most this width; a word that is wider is broken."""
    lines: list[str] = []
    for word in unbroken(words).split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and metrics.horizontalAdvance(longer) <= width:
            lines[-1] = longer
            continue
        while metrics.horizontalAdvance(word) > width and len(word) > 1:
            fits = next(n for n in range(len(word), 0, -1) if n == 1 or metrics.horizontalAdvance(word[:n]) <= width)
            lines.append(word[:fits])
            word = word[fits:]
        lines.append(word)
    return lines


def _high(notes: list[list[str]]) -> int:
    """Lines of a table with these notes, its heading's among them."""
    return 1 + sum(max(len(each), 1) for each in notes)


def _shortened(lines: list[str], most: int, width: float, metrics: QFontMetricsF) -> list[str]:
    if len(lines) <= most:
        return lines
    rest = " ".join(lines[most - 1 :])
    return [*lines[: most - 1], metrics.elidedText(rest, Qt.TextElideMode.ElideRight, width)]


def _summary(journal: Journal, shown: list[StoredReading], last: date, ranges: RangeSettings) -> list[str]:
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
        *(_figure(reading, name) if reading.verdict.usable else UNKNOWN for name in ("rmssd_ms", "mean_hr_bpm")),
        verdict,
        noted_words(reading.context),
    )


def _figure(reading: StoredReading, name: str) -> str:
    return figure(getattr(reading.metrics, name), reading.intervals95.get(name))


def noted_words(context: Context) -> str:
    """What was noted on a morning, what matters most first."""
    words = ["felt ill"] if context.ill else []
    words += ["alcohol"] if context.alcohol else []
    words += [text for text in (context.note, context.yesterday_run) if text]
    if context.hours_slept is not None:
        words.append(f"{context.hours_slept:g} h slept")
    words += [f"{name} {getattr(context, name)}" for name in RATINGS if getattr(context, name) is not None]
    return ", ".join(" ".join(each.split()) for each in words)
