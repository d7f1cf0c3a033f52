"""Where a morning stands and what to make of it: the usual range lying down with its marks, and the answer in words."""

from __future__ import annotations

import math
from collections.abc import Sequence

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFontMetricsF, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QLabel, QSizePolicy, QWidget

from dawnbeat.journal.today import Stand
from dawnbeat.morning.answer import Answer
from dawnbeat.morning.answer_text import SEEK_HELP, asks, cautions, headline, lead, why
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.layouts import row_of, stack
from dawnbeat.ui.window.parts.theme import Painted, arrow_head


class RangeStrip(Painted):
    """One measure of one day: its usual range, with the week's mark below it and this morning's above.

    Nothing is told by colour: the marks differ by shape, place and words.
    """

    def __init__(self, context: AppContext, name: str, unit: str) -> None:
        super().__init__(context, f"{name} in the usual range")
        self.name, self.unit = name, unit
        self._stand: Stand | None = None
        self._bounds: tuple[float, float] | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def set_stand(self, stand: Stand | None, bounds: tuple[float, float] | None = None) -> None:
        """Show where this measure stands; None shows nothing.

        bounds: 95 % interval of this morning's value in the measure's own scale, drawn as a bar above its mark.
        """
        self._stand, self._bounds = stand, bounds
        self.setAccessibleDescription(self.words())
        self.setToolTip(self.words())
        self.update()

    def words(self) -> str:
        """What the strip shows, in words."""
        stand = self._stand
        if stand is None or stand.usual is None:
            return f"{self.name}: too few mornings to say"
        said = f"{self.name}: {self.usual_words()} {self.unit}"
        if stand.week_average is not None:
            said += f"; week {self._text(stand.week_average.mean)} {self.unit}, {stand.week}"
        if stand.this_morning is not None:
            said += f"; this morning {self._text(stand.this_morning)} {self.unit}, {stand.morning}"
        return said

    def usual_words(self) -> str:
        """The usual range of a week's average, without its unit; empty where there is none."""
        usual = None if self._stand is None else self._stand.usual
        return "" if usual is None else f"a usual week {self._text(usual.low)} to {self._text(usual.high)}"

    def sizeHint(self) -> QSize:  # noqa: N802, D102  Qt's name
        line = QFontMetricsF(self.font()).height()
        return QSize(round(16 * line), round(4.3 * line))

    def minimumSizeHint(self) -> QSize:  # noqa: N802, D102
        return QSize(round(10 * QFontMetricsF(self.font()).height()), self.sizeHint().height())

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, D102
        painter = self.painter()
        theme, metrics = self.context.theme, QFontMetricsF(self.font())
        line, width = metrics.height(), float(self.width())
        stand = self._stand
        if stand is None or stand.usual is None:
            painter.setPen(theme.colour("soft"))
            painter.drawText(QRectF(0, 0, width, self.height()), Qt.AlignmentFlag.AlignVCenter, self.words())
            return
        usual, week, today = stand.usual, stand.week_average, stand.this_morning
        # Two standard deviations are common; farther values stretch the scale instead of leaving it.
        band_half = usual.band_high - usual.mean
        away = [2.2 * usual.sd, 1e-6, 1.08 * band_half if math.isfinite(band_half) else 0.0]
        away += [1.15 * abs(each - usual.mean) for each in (today, None if week is None else week.mean) if each]
        away += [1.15 * abs(each - usual.mean) for each in self._bounds or () if today is not None]
        half = max(away)
        left, right = 0.5 * line, width - 0.5 * line

        def at(value: float) -> float:
            return left + (value - usual.mean + half) / (2 * half) * (right - left)

        top, thick = 1.55 * line, 0.5 * line
        middle = top + thick / 2
        painter.setPen(QPen(theme.colour("line"), 2))
        painter.drawLine(QPointF(left, middle), QPointF(right, middle))
        painter.setPen(Qt.PenStyle.NoPen)
        # Where 95 of 100 single mornings lie, below the narrower range that the week's average is held against.
        if math.isfinite(band_half):
            painter.setBrush(theme.colour("ink", 28))
            ends = at(usual.band_low), at(usual.band_high)
            painter.drawRect(QRectF(ends[0], top + 0.25 * thick, ends[1] - ends[0], 0.5 * thick))
        band = QRectF(at(usual.low), top, at(usual.high) - at(usual.low), thick)
        painter.setBrush(theme.colour("ink", 70))
        painter.drawRect(band)
        foot = top + thick + 1.2 * line
        if week is not None:
            x = at(week.mean)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(theme.colour("accent"))
            painter.drawPolygon(arrow_head(x, top + thick + 2, 0.32 * line, 1.6 * 0.32 * line))
            self._words_at(painter, f"week {self._text(week.mean)} {self.unit}", x, foot, metrics, "ink")
        if today is not None:
            x = at(today)
            painter.setPen(QPen(theme.colour("ink"), 2))
            if self._bounds is not None:
                level, cap = top - 0.3 * line, 0.16 * line
                low_x, high_x = (at(each) for each in self._bounds)
                painter.drawLine(QPointF(low_x, level), QPointF(high_x, level))
                for end in (low_x, high_x):
                    painter.drawLine(QPointF(end, level - cap), QPointF(end, level + cap))
            painter.setBrush(theme.colour("sheet"))
            painter.drawEllipse(QPointF(x, middle), 0.3 * line, 0.3 * line)
            self._words_at(painter, f"this morning {self._text(today)} {self.unit}", x, 0.55 * line, metrics, "ink")
        if week is None:
            self._words_at(painter, self.usual_words(), at(usual.mean), foot, metrics, "soft")

    def _words_at(self, painter: QPainter, words: str, x: float, y: float, metrics: QFontMetricsF, ink: str) -> None:
        half = metrics.horizontalAdvance(words) / 2 + 2
        x = min(max(x, half), self.width() - half)
        painter.setPen(self.context.theme.colour(ink))
        box = QRectF(x - half, y - metrics.height() / 2, 2 * half, metrics.height())
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, words)

    def _text(self, value: float) -> str:
        logarithmic = self._stand is not None and self._stand.measure == "ln_rmssd"
        return f"{math.exp(value) if logarithmic else value:.0f}"


class AnswerCard(QWidget):
    """The answer large and in plain words, its question to the runner, and why, unfolded on demand.

    well_again: the runner says to be well again. `details` is laid out by whoever shows the card.
    """

    well_again = Signal()

    def __init__(self, where: str) -> None:
        super().__init__()
        self.answer: Answer | None = None
        self.headline = _words("title", "The answer")
        self.said = _words("large", "Why, in a sentence")
        self.heed = _words("", "What to heed")
        self.details = _words("small", "What the answer rests on")
        self.details.hide()
        self.more = controls.button("Why", "W", "Show or hide what the answer rests on", None, where)
        self.more.setCheckable(True)
        self.more.toggled.connect(self.details.setVisible)
        tip = "Say that you are well again after an illness"
        self.well = controls.button("I am well again", "Alt+W", tip, self.well_again.emit, where)
        stack(self, self.headline, self.said, self.heed, row_of(self.more, self.well, None), gap=6)
        self.say("", "")

    def show_answer(self, answer: Answer, when: str = "", rests_on: Sequence[str] = ()) -> None:
        """when: put before the headline, such as a day. rests_on: lines that follow what unfolds."""
        self.answer = answer
        self.headline.setText(f"{when}: {headline(answer)}" if when else headline(answer))
        self.said.setText(" ".join([lead(answer), *asks(answer)]))
        *pressing, usual = cautions(answer)
        self.heed.setText(" ".join((*pressing, usual)))
        controls.restyle("" if pressing else "soft", self.heed)
        self.details.setText("\n".join([*why(answer), *([""] if rests_on else []), *rests_on]))
        self._show_tools(True, "well_again" in answer.asks)

    def say(self, words: str, more: str, rests_on: str = "") -> None:
        """Say something in place of an answer. rests_on: what answers will rest on, unfolded at once."""
        self.answer = None
        self.headline.setText(words)
        self.said.setText(more)
        self.heed.setText(SEEK_HELP if words else "")
        self.details.setText(rests_on)
        self._show_tools(False, False)

    def _show_tools(self, more: bool, well: bool) -> None:
        self.more.setVisible(more)
        self.well.setVisible(well)
        self.details.setVisible(self.more.isChecked() if more else bool(self.details.text()))
        self.said.setVisible(bool(self.said.text()))
        self.heed.setVisible(bool(self.heed.text()))


def _words(kind: str, name: str) -> QLabel:
    made = controls.label(kind, name, wraps=True)
    made.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    policy = QSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Preferred)
    policy.setHeightForWidth(True)  # as high as its words need at this width, and no higher
    made.setSizePolicy(policy)
    return made
