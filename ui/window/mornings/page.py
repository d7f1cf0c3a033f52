"""The mornings: where today stands, the chart of months, the table beside it, and the views behind them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence, QResizeEvent, QShortcut
from PySide6.QtWidgets import QButtonGroup, QPushButton, QSplitter, QStackedWidget, QWidget

from dawnbeat.journal.csv_files import export_mornings
from dawnbeat.journal.today import Stand
from dawnbeat.morning.answer_text import FIRST_WORDS, rests_on
from dawnbeat.morning.answering import grounds, keep_answer
from dawnbeat.shared.morning import StoredReading
from dawnbeat.shared.wording import count_of, short_day
from dawnbeat.ui.window.mornings.chart import MorningsChart
from dawnbeat.ui.window.mornings.table import MorningsTable
from dawnbeat.ui.window.parts import controls, saving
from dawnbeat.ui.window.parts.context import AppContext, JournalPage, PageWidget
from dawnbeat.ui.window.parts.controls import Key, label
from dawnbeat.ui.window.parts.layouts import (
    SHEET_MARGINS,
    Flow,
    Sheet,
    column_of,
    flow_of,
    let_shrink,
    row_of,
    scrolled,
    stack,
    turn,
)
from dawnbeat.ui.window.parts.standing import AnswerCard, RangeStrip

if TYPE_CHECKING:
    from dawnbeat.ui.window.mornings.day_view import DayView
    from dawnbeat.ui.window.mornings.looking_back import ContextView, MonthsView

    Behind = DayView | ContextView | MonthsView

_View = TypeVar("_View", "DayView", "ContextView", "MonthsView")
_SPANS = (("4 weeks", 28, "Alt+1"), ("3 months", 91, "Alt+2"), ("Year", 365, "Alt+3"), ("All", None, "Alt+4"))
_WHERE = "Mornings"
_NO_MORNINGS = "They will stand here: take the first reading on the page Read."


def make_page(context: AppContext) -> PageWidget:
    """The page Mornings."""
    return MorningsPage(context)


class MorningsPage(JournalPage):
    """The months, with one day, the weeks looked back over, and context against the next morning behind them."""

    key = "mornings"
    title = "Mornings"

    def __init__(self, context: AppContext) -> None:
        super().__init__(context)
        self._span: int | None = 91
        self.sheet = StandingSheet(context)
        self.chart = MorningsChart(context)
        self.table = MorningsTable(context)
        self.views = QStackedWidget()
        self.splitter = QSplitter()
        self.splitter.addWidget(self.chart)
        self.splitter.addWidget(self.table)
        self.splitter.setChildrenCollapsible(False)
        let_shrink(self.splitter)
        self.splitter.setStretchFactor(0, 1)
        self.splitter.setSizes([560, 500])
        self._of_readings: list[QPushButton] = []
        self._listed = False
        self._room = QWidget()  # below the sheet, where there is nothing to draw or to list
        self.views.addWidget(scrolled(self._tools(), self.sheet, (self.splitter, 1), (self._room, 1)))
        self._show_parts()
        stack(self, self.views)
        self.chart.picked.connect(self._picked_on_chart)
        self.chart.opened.connect(self._open_day)
        self.table.picked.connect(lambda reading: self.chart.select(reading.local_date))
        self.table.opened.connect(self.open_reading)
        self.table.widened.connect(lambda _: self._show_parts())
        context.choices_changed.connect(self.journal_changed)
        QShortcut(QKeySequence("Esc"), self, self.back)
        controls.register(Key("Esc", "Back to the months", _WHERE))

    # The page

    def shown(self, what: Any = None) -> None:
        """Refresh what changed; `what` may be a date to select or a StoredReading to open."""
        if self._stale:
            self.journal_changed()
        if self.views.currentIndex() == 0:
            self.table.view.setFocus()
        if isinstance(what, StoredReading):
            self.open_reading(what)
        elif isinstance(what, date):
            self._picked_on_chart(what)

    def refresh(self) -> None:
        """Read the journal again, for the view in front."""
        if self.views.currentIndex() != 0:
            cast("Behind", self.views.currentWidget()).refresh()
            return  # the months stay stale until they are in front again
        super().refresh()
        with self.context.saying():
            readings = self.context.journal.readings()
            self.table.show_rows(readings)
            first_time = not self.chart.readings
            self.chart.set_readings(readings, self.context.ranges)
            self.sheet.show_day(readings[-1].local_date if readings else None)
            self._listed = bool(readings or self.context.journal.bin())
            self._show_parts()
            if first_time:
                self.chart.show_last(self._span)

    # Views

    def open_reading(self, reading: StoredReading) -> None:
        """Show the recording of one reading."""
        from dawnbeat.ui.window.mornings.day_view import DayView

        day_view = self._view(DayView)
        day_view.show_reading(reading)
        self.views.setCurrentWidget(day_view)

    def open_context(self) -> None:
        """Show context against the next morning."""
        from dawnbeat.ui.window.mornings.looking_back import ContextView

        self._look_back(self._view(ContextView))

    def open_months(self) -> None:
        """Show week by week, month against month and year against year."""
        from dawnbeat.ui.window.mornings.looking_back import MonthsView

        self._look_back(self._view(MonthsView))

    def back(self) -> None:
        """Back to the months."""
        if self.views.currentIndex() != 0:
            self.views.setCurrentIndex(0)
            if self._stale:
                self.refresh()
            self.table.view.setFocus()

    # Saving

    def save_csv(self) -> None:
        """Ask for a name and write all mornings as CSV."""

        def write(path: Path) -> str:
            written = export_mornings(self.context.journal, path, include_not_usable=True, overwrite=True)
            return count_of(written, "reading")

        saving.save(self.context, self, "Save the mornings", "dawnbeat-mornings.csv", "CSV (*.csv)", write)

    def save_picture(self) -> None:
        """Ask for a name and save both plots as one picture."""
        saving.save_picture(self.context, self, self.chart.picture)

    def save_report(self) -> None:
        """Ask for a name and save the month of the selected day, else of the last morning, as PDF."""
        from dawnbeat.ui.window.mornings.month_report import month_pdf

        chosen = self.chart.selected or (self.chart.readings[-1].local_date if self.chart.readings else date.today())

        def write(path: Path) -> None:
            packed = month_pdf(self.context.journal, chosen.year, chosen.month, self.context.ranges)
            saving.write_whole(path, packed, "save the month report")

        saving.save(self.context, self, "Save the month report", f"dawnbeat-{chosen:%Y-%m}.pdf", "PDF (*.pdf)", write)

    # Inside

    def _view(self, kind: type[_View]) -> _View:
        """The view of this kind, made when it is first wanted."""
        view = self.findChild(kind)
        if view is None:
            view = kind(self.context)
            view.left.connect(self.back)
            self.views.addWidget(view)
        return view

    def _look_back(self, view: ContextView | MonthsView) -> None:
        view.refresh()
        self.views.setCurrentWidget(view)
        view.setFocus()

    def _picked_on_chart(self, day: date) -> None:
        self.chart.select(day)
        self.table.select(day)

    def _open_day(self, day: date) -> None:
        self._picked_on_chart(day)
        self.table.open()

    def _tools(self) -> Flow:
        spans = [
            (words, keys, f"Show {'everything' if days is None else words.lower()}", partial(self._show_span, days))
            for words, days, keys in _SPANS
        ]
        shown = controls.choices(QButtonGroup(self), spans, 1, _WHERE)
        views = controls.buttons(
            _WHERE,
            ("Months", "Alt+5", "Show week by week with the answers, and month against month", self.open_months),
            ("Context", "Alt+E", "What you noted against the next morning", self.open_context),
        )
        saves = controls.buttons(
            _WHERE,
            ("CSV…", "Ctrl+E", "Save all mornings as CSV", self.save_csv),
            ("Picture…", "Ctrl+P", "Save the chart as a picture: PNG, SVG or PDF", self.save_picture),
            ("Month report…", "Ctrl+R", "Save the month as a one-page PDF", self.save_report),
        )
        title = label("title", "", "Mornings")
        title.setContentsMargins(0, 0, 8, 0)
        self._of_readings = [*shown, *saves]
        return flow_of(title, *shown, after=[*views, *saves])

    def _show_parts(self) -> None:
        """Show no chart, no list and no button for them where there is nothing that they could show."""
        some = bool(self.chart.readings)
        self.chart.setVisible(some and not self.table.wide_button.isChecked())
        self.splitter.setVisible(self._listed)
        self._room.setVisible(not self._listed)
        for each in self._of_readings:
            each.setVisible(some)

    def _show_span(self, days: int | None) -> None:
        self._span = days
        self.chart.show_last(days)

    def arrange(self) -> None:
        """Chart and table beside one another where there is room, else one below the other."""
        beside = self.width() >= self.context.theme.px(900)
        self.splitter.setOrientation(Qt.Orientation.Horizontal if beside else Qt.Orientation.Vertical)
        least = self.context.theme.px(330)
        self.splitter.setMinimumHeight(least if beside else 2 * least)
        if beside:
            # The table gets what all its columns need where the chart keeps most of the room, else what the first do.
            whole, room = self.table.view.whole_width(), self.width() - 48
            wanted = whole if whole < 0.45 * room else min(self.table.view.whole_width(5), round(0.56 * room))
            self.splitter.setSizes([room - wanted, wanted])
        else:
            self.splitter.setSizes([least, least])


class StandingSheet(Sheet):
    """Says where a day stands: its answer, and the morning and its week in the usual range."""

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self.card = AnswerCard("Mornings")
        self.card.well_again.connect(self._well_again)
        self._day: date | None = None
        self.variability = RangeStrip(context, "RMSSD", "ms")
        self.pulse = RangeStrip(context, "Resting pulse", "bpm")
        # One short line each; what may wrap is given room for its narrowest shape.
        first, second = self._names = [controls.to_copy("small", ""), controls.to_copy("small", "")]
        first.setWordWrap(False)
        second.setWordWrap(False)
        strips = column_of(first, self.variability, second, self.pulse, None, gap=2)
        self._row = row_of((self.card, 6), (strips, 5), gap=24)
        self._row.setAlignment(self.card, Qt.AlignmentFlag.AlignTop)
        stack(self, self._row, self.card.details, margins=SHEET_MARGINS)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """The strips stand beside the headline where there is room."""
        super().resizeEvent(event)
        turn(self._row, self.width() >= self.context.theme.px(700))

    def show_day(self, day: date | None) -> None:
        """Say where this day stands; None where there is no morning at all. Raises DawnbeatError."""
        self._day = day
        if day is None:
            self.card.say("No mornings yet.", _NO_MORNINGS, FIRST_WORDS)
            self._show_strips(None, None)
            return
        drawn_from = grounds(self.context.journal, day, self.context.ranges)
        today = drawn_from.today
        when = "" if day == date.today() else short_day(day)
        self.card.show_answer(drawn_from.answer(), when, rests_on(today))
        self._show_strips(today.ln_rmssd, today.resting_pulse)

    def _show_strips(self, *stands: Stand | None) -> None:
        # Without a usual range there is no strip, and the words have the whole width.
        self._row.setStretch(1, 5 if any(each is not None and each.usual is not None for each in stands) else 0)
        for stand, name, strip in zip(stands, self._names, (self.variability, self.pulse), strict=True):
            known = stand is not None and stand.usual is not None
            name.setVisible(known)
            strip.setVisible(known)
            strip.set_stand(stand)
            name.setText(f"{strip.name}, {strip.usual_words()} {strip.unit}")

    def _well_again(self) -> None:
        """Note that the runner is well again on this day; Ctrl+Z takes it back."""
        day, journal = self._day, self.context.journal
        if day is None:
            return
        with self.context.saying():
            reading = journal.counting(day)
            said = replace(reading.context, ill=False if reading.context.ill else None, well_again=True)
            done = self.context.do(
                f"well again on {short_day(day)}",
                lambda: journal.edit_context(reading.id, said),
                lambda: journal.edit_context(reading.id, reading.context),
            )
            if done and day == date.today():
                keep_answer(journal, journal.reading(reading.id), grounds(journal, day, self.context.ranges))
