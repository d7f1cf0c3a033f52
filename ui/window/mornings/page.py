"""The mornings: where today stands, the chart of months, the table beside it, and the views behind them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QKeySequence, QResizeEvent, QShortcut
from PySide6.QtWidgets import (
    QButtonGroup,
    QLabel,
    QPushButton,
    QSizePolicy,
    QSplitter,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from dawnbeat.journal.csv_files import export_mornings
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.morning import StoredReading
from dawnbeat.ui.window.mornings.chart import MorningsChart
from dawnbeat.ui.window.mornings.standing_sheet import StandingSheet
from dawnbeat.ui.window.mornings.table import MorningsTable
from dawnbeat.ui.window.parts import controls, saving
from dawnbeat.ui.window.parts.context import AppContext, PageWidget
from dawnbeat.ui.window.parts.controls import Key
from dawnbeat.ui.window.parts.layouts import Flow, Scrolled

if TYPE_CHECKING:
    from dawnbeat.ui.window.mornings.context_view import ContextView
    from dawnbeat.ui.window.mornings.day_view import DayView
    from dawnbeat.ui.window.mornings.months_view import MonthsView

_SPANS = (("4 weeks", 28, "Alt+1"), ("3 months", 91, "Alt+2"), ("Year", 365, "Alt+3"), ("All", None, "Alt+4"))
_WHERE = "Mornings"


def make_page(context: AppContext) -> PageWidget:
    """The page Mornings."""
    return MorningsPage(context)


class MorningsPage(PageWidget):
    """Three views: the months, one day, and context against the next morning."""

    key = "mornings"
    title = "Mornings"

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self._stale = True
        self._span: int | None = 91
        self.sheet = StandingSheet(context)
        self.chart = MorningsChart(context)
        self.table = MorningsTable(context)
        self.day_view: DayView | None = None
        self.context_view: ContextView | None = None
        self.months_view: MonthsView | None = None
        self.views = QStackedWidget()
        self.splitter = QSplitter()
        self.splitter.addWidget(self.chart)
        self.splitter.addWidget(self.table)
        self.splitter.setChildrenCollapsible(False)
        # Its own wish for height would make the page scroll where it could shrink.
        self.splitter.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
        self.splitter.setStretchFactor(0, 1)
        self.splitter.setSizes([560, 500])
        self._lay_out()
        self.chart.picked.connect(self._picked_on_chart)
        self.chart.opened.connect(self._open_day)
        self.table.picked.connect(lambda reading: self.chart.select(reading.local_date))
        self.table.opened.connect(self.open_reading)
        self.table.widened.connect(lambda on: self.chart.setVisible(not on))
        context.journal_changed.connect(self._journal_changed)
        context.choices_changed.connect(self._journal_changed)
        QShortcut(QKeySequence("Esc"), self, self.back)
        controls.register(Key("Esc", "Back to the months", _WHERE))

    # The page

    def shown(self, what: Any = None) -> None:
        """Refresh what changed; `what` may be a date to select or a StoredReading to open."""
        if self._stale:
            self._journal_changed()
        if self.views.currentIndex() == 0:
            self.table.view.setFocus()
        if isinstance(what, StoredReading):
            self.open_reading(what)
        elif isinstance(what, date):
            self._picked_on_chart(what)

    def refresh(self) -> None:
        """Read the journal again."""
        self._stale = False
        try:
            readings = self.context.journal.readings()
        except DawnbeatError as error:
            self.context.say(str(error))
            return
        self.table.show_rows(readings)
        first_time = not self.chart.readings
        self.chart.set_readings(readings, self.context.ranges)
        self.sheet.show_day(readings[-1].local_date if readings else None)
        if first_time:
            self.chart.show_last(self._span)

    # Views

    def open_reading(self, reading: StoredReading) -> None:
        """Show the recording of one reading."""
        if self.day_view is None:
            from dawnbeat.ui.window.mornings.day_view import DayView

            self.day_view = DayView(self.context)
            self.day_view.left.connect(self.back)
            self.views.addWidget(self.day_view)
        self.day_view.show_reading(reading)
        self.views.setCurrentWidget(self.day_view)

    def open_context(self) -> None:
        """Show context against the next morning."""
        if self.context_view is None:
            from dawnbeat.ui.window.mornings.context_view import ContextView

            self.context_view = ContextView(self.context)
            self.context_view.left.connect(self.back)
            self.views.addWidget(self.context_view)
        self.context_view.refresh()
        self.views.setCurrentWidget(self.context_view)
        self.context_view.setFocus()

    def open_months(self) -> None:
        """Show week by week, month against month and year against year."""
        if self.months_view is None:
            from dawnbeat.ui.window.mornings.months_view import MonthsView

            self.months_view = MonthsView(self.context)
            self.months_view.left.connect(self.back)
            self.views.addWidget(self.months_view)
        self.months_view.refresh()
        self.views.setCurrentWidget(self.months_view)
        self.months_view.setFocus()

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
        path = saving.ask_save(self, "Save the mornings", "dawnbeat-mornings.csv", "CSV (*.csv)")
        if path is None:
            return
        try:
            count = export_mornings(self.context.journal, path, include_not_usable=True, overwrite=True)
            self.context.say(f"Saved {count} reading{'' if count == 1 else 's'} in {path.name}.")
        except DawnbeatError as error:
            self.context.say(str(error))

    def save_picture(self) -> None:
        """Ask for a name and save both plots as one picture."""
        saving.save_picture(self.context, self, self.chart.picture)

    def save_report(self) -> None:
        """Ask for a name and save the month of the selected day, else of the last morning, as PDF."""
        from dawnbeat.ui.window.mornings.month_report import month_pdf

        chosen = self.chart.selected or (self.chart.readings[-1].local_date if self.chart.readings else date.today())
        name = f"dawnbeat-{chosen:%Y-%m}.pdf"
        path = saving.ask_save(self, "Save the month report", name, "PDF (*.pdf)")
        if path is None:
            return
        try:
            packed = month_pdf(self.context.journal, chosen.year, chosen.month, self.context.ranges)
            saving.write_whole(path, packed, "save the month report")
            self.context.say(f"Saved {path.name}.")
        except DawnbeatError as error:
            self.context.say(str(error))

    # Inside

    def _journal_changed(self) -> None:
        self._stale = True
        if not self.isVisible():
            return
        if self.views.currentIndex() == 0:
            self.refresh()
        elif self.day_view is not None and self.day_view.isVisible():
            self.day_view.refresh()
        elif self.months_view is not None and self.months_view.isVisible():
            self.months_view.refresh()
        elif self.context_view is not None:
            self.context_view.refresh()

    def _picked_on_chart(self, day: date) -> None:
        self.chart.select(day)
        self.table.select(day)

    def _open_day(self, day: date) -> None:
        self._picked_on_chart(day)
        self.table.open()

    def _lay_out(self) -> None:
        heading = QLabel("Mornings")
        heading.setProperty("class", "title")
        tools = Flow()
        tools.addWidget(heading)
        group = QButtonGroup(self)
        for words, days, keys in _SPANS:
            button = self._tool(words, keys, f"Show {'everything' if days is None else words.lower()}", lambda: None)
            button.setCheckable(True)
            button.setChecked(days == self._span)
            button.clicked.connect(lambda _=False, days=days: self._show_span(days))
            group.addButton(button)
            tools.addWidget(button)
        tools.push()
        for words, keys, tip, does in (
            ("Months", "Alt+5", "Show week by week with the answers, and month against month", self.open_months),
            ("Context", "Alt+E", "What you noted against the next morning", self.open_context),
            ("CSV…", "Ctrl+E", "Save all mornings as CSV", self.save_csv),
            ("Picture…", "Ctrl+P", "Save the chart as a picture: PNG, SVG or PDF", self.save_picture),
            ("Month report…", "Ctrl+R", "Save the month as a one-page PDF", self.save_report),
        ):
            tools.addWidget(self._tool(words, keys, tip, does))
        months = QWidget()
        column = QVBoxLayout(months)
        column.setContentsMargins(20, 14, 20, 8)
        column.addLayout(tools)
        column.addWidget(self.sheet)
        column.addWidget(self.splitter, 1)
        self.views.addWidget(Scrolled(months))
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.views)

    def _tool(self, words: str, keys: str, tip: str, does: Callable[[], None]) -> QPushButton:
        button = QPushButton(words)
        controls.give(button, Key(keys, tip, _WHERE))
        button.clicked.connect(does)
        return button

    def _show_span(self, days: int | None) -> None:
        self._span = days
        self.chart.show_last(days)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """Beside one another where there is room, else one below the other."""
        super().resizeEvent(event)
        self._turn()

    def changeEvent(self, event: QEvent) -> None:  # noqa: N802
        """Larger text needs more room."""
        super().changeEvent(event)
        if event.type() in (QEvent.Type.FontChange, QEvent.Type.StyleChange):
            self._turn()

    def _turn(self) -> None:
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
