"""The runs: bring them in, list them, open one, and see weeks, months, mornings after, estimates and a race."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from PySide6.QtGui import QDragEnterEvent, QDropEvent
from PySide6.QtWidgets import QButtonGroup, QFileDialog, QPushButton, QStackedWidget

from dawnbeat.shared.wording import count_of, short_day
from dawnbeat.training import run_store, zone_store
from dawnbeat.training.export_runs import export_runs, export_weeks
from dawnbeat.training.import_runs import SUFFIXES
from dawnbeat.training.periods import RANGE_WEEKS, JudgedRun, judge_runs, judged_runs, monday_of, week_words, weeks_of
from dawnbeat.ui.window.parts import controls, saving
from dawnbeat.ui.window.parts.context import AppContext, JournalPage, PageWidget
from dawnbeat.ui.window.parts.controls import in_place_of_all, label
from dawnbeat.ui.window.parts.layouts import Flow, Scrolled, flow_of, let_shrink, scrolled, stack
from dawnbeat.ui.window.runs.bring_in import ByHandDialog, ImportStrip
from dawnbeat.ui.window.runs.table import NO_ZONES, RunsTable, rating_from

if TYPE_CHECKING:
    from dawnbeat.ui.window.runs.effects import AfterView, MonthsView
    from dawnbeat.ui.window.runs.estimates import EstimatesView, RaceView
    from dawnbeat.ui.window.runs.run_view import RunView
    from dawnbeat.ui.window.runs.weeks_view import WeeksView

    RunsView = WeeksView | MonthsView | AfterView | EstimatesView | RaceView

_WHERE = "Runs"
LIST, WEEKS, MONTHS, AFTER, ESTIMATES, RACE = "List", "Weeks", "Months", "After", "Estimates", "Race"
_TIPS = {
    LIST: "Show the list of runs",
    WEEKS: "Show the weeks: zones, easy share, load and mornings on one time axis",
    MONTHS: "Show months and years: what was run, and how fast at the same pulse",
    AFTER: "Show the hardest days and where the morning after stood",
    ESTIMATES: "Show estimates of oxygen uptake, threshold and equal races",
    RACE: "Show a pulse and a pace for a race, from your own runs",
}
VIEWS = tuple(_TIPS)
# What the views that would be empty plots and headings will show, and what to do first. The others tell it themselves.
_NOTHING = {
    WEEKS: "Hours by zone, easy share and load of each week will stand here:",
    MONTHS: "What you ran in each month, and how fast at the same pulse, will stand here:",
    AFTER: "Your hardest days and the mornings after them will stand here:",
}
_FIRST = "bring runs in with “Import…” (Ctrl+O), or enter one by hand (N)."


def make_page(context: AppContext) -> PageWidget:
    """The page Runs."""
    return RunsPage(context)


class RunsPage(JournalPage):
    """Views are made when they are first wanted; a run opens over the whole page. today: gives the present day.

    made: the views there are so far, by name, beside the list.
    """

    key = "runs"
    title = "Runs"

    def __init__(self, context: AppContext, today: Callable[[], date] = date.today) -> None:
        super().__init__(context)
        self._today = today
        self.judged: list[JudgedRun] = []
        self.table = RunsTable(context, lambda: self.judged, self._binned)
        self.strip = ImportStrip(context)
        self.week = label("", "This week")
        self.nothing = in_place_of_all()
        self.made: dict[str, RunsView] = {}
        self.run_view: RunView | None = None
        self.views = QStackedWidget()
        let_shrink(self.views)
        self.views.addWidget(self.table)
        self._front = LIST
        self._buttons: list[QPushButton] = []
        self.whole = QStackedWidget()
        self._list_page = scrolled(self._tools(), self.strip, self.week, self.nothing, (self.views, 1))
        self._list_page.measured.connect(self._fit_views)
        self.whole.addWidget(self._list_page)
        stack(self, self.whole)
        self.setAcceptDrops(True)
        self.table.opened.connect(lambda each: self.open_run(each.run.id))
        self.strip.brought.connect(context.journal_changed.emit)

    # The page

    def shown(self, what: Any = None) -> None:
        """Refresh what changed; `what` may be the number of a run to open or a day to select."""
        super().shown()
        if isinstance(what, int):
            self.open_run(what)
        elif isinstance(what, date):
            self.back()
            self.show_view(LIST)
            self.table.select_day(what)
        if self.whole.currentIndex() == 0 and self._front == LIST:
            self.table.view.setFocus()

    def busy(self) -> str | None:
        """An import that closing would break off."""
        return "Runs are being imported." if self.strip.running else None

    def closing(self) -> None:
        """Stop the import between two files."""
        self.strip.cancel()

    def refresh(self) -> None:
        """Read the journal again."""
        super().refresh()
        with self.context.saying():
            self.judged = judged_runs(self.context.journal, self._today())
            self.table.show_rows(self.judged)
            self._say_week()
            self._say_what_will_stand_here()
            if self._front in self.made:
                self.made[self._front].show_runs(self.judged)
            if self.run_view is not None and self.whole.currentWidget() is self.run_view:
                self.run_view.refresh()

    # Views

    def show_view(self, name: str) -> None:
        """Bring one of the views to the front."""
        if name != LIST and name not in self.made:
            self.made[name] = self._make(name)
            view = Scrolled(self.made[name])
            view.measured.connect(self._fit_views)
            self.views.addWidget(view)
        self._front = name
        if name in self.made:
            self.made[name].show_runs(self.judged)
        self._buttons[VIEWS.index(name)].setChecked(True)
        self.week.setVisible(name == LIST and bool(self.judged))
        self.views.setCurrentIndex([LIST, *self.made].index(name))
        self._say_what_will_stand_here()
        self._fit_views()
        self._list_page.verticalScrollBar().setValue(0)
        if name == LIST:
            self.table.view.setFocus()

    def _make(self, name: str) -> RunsView:
        from dawnbeat.ui.window.runs.effects import AfterView, MonthsView
        from dawnbeat.ui.window.runs.estimates import EstimatesView, RaceView
        from dawnbeat.ui.window.runs.weeks_view import WeeksView

        if name == AFTER:
            after = AfterView(self.context)
            after.opened.connect(self._open_day)
            return after
        kinds: dict[str, type[WeeksView | MonthsView | EstimatesView | RaceView]]
        kinds = {WEEKS: WeeksView, MONTHS: MonthsView, ESTIMATES: EstimatesView, RACE: RaceView}
        made = kinds[name](self.context, self._today)
        if isinstance(made, WeeksView):
            made.opened.connect(self._open_week)
        return made

    def open_run(self, run_id: int) -> None:
        """Open one run over the whole page."""
        if self.run_view is None:
            from dawnbeat.ui.window.runs.run_view import RunView

            self.run_view = RunView(self.context, self._today)
            self.run_view.left.connect(self.back)
            self.run_view.stepped.connect(self._step)
            self.run_view.binned.connect(lambda each: self.table.put_in_bin([each]))
            self.whole.addWidget(self.run_view)
            self.arrange()
        self.whole.setCurrentWidget(self.run_view)
        self.run_view.show_run(run_id)

    def back(self) -> None:
        """Back from a run."""
        if self.whole.currentIndex() != 0:
            self.whole.setCurrentIndex(0)
            if self._front == LIST:
                self.table.view.setFocus()

    # Bringing in and saving

    def ask_files(self) -> None:
        """Ask for files and import them."""
        kinds = " ".join(f"*{each} *{each}.gz" for each in SUFFIXES)
        chosen, _ = QFileDialog.getOpenFileNames(self, "Import runs", "", f"Runs ({kinds});;All files (*)")
        if chosen:
            self.strip.start([Path(each) for each in chosen])

    def ask_folder(self) -> None:
        """Ask for a folder and import every run below it."""
        chosen = QFileDialog.getExistingDirectory(self, "Import a folder of runs", "")
        if chosen:
            self.strip.start([Path(chosen)])

    def ask_by_hand(self) -> ByHandDialog:
        """Ask for a run without a file."""
        now = datetime.combine(self._today(), datetime.now().time())
        dialog = ByHandDialog(self.context, now, self._keep_by_hand, self)
        dialog.open()
        return dialog

    def save_shown(self) -> None:
        """Save as CSV what the view in front shows: weeks, months or years, else the runs."""
        if self._stale:
            self.refresh()
        what: str = "run"
        write: Callable[[Path], int] = partial(export_runs, self.judged, overwrite=True)
        if self._front == WEEKS:
            weeks = weeks_of(self.judged, self.judged[0].run.local_date, self._today()) if self.judged else []
            what, write = "week", partial(export_weeks, weeks, overwrite=True)
        elif self._front == MONTHS:
            months = cast("MonthsView", self.made[MONTHS])
            what, write = months.period, months.save
        title, name = f"Save the {what}s", f"dawnbeat-{what}s.csv"
        saving.save(self.context, self, title, name, "CSV (*.csv)", lambda path: count_of(write(path), what))

    def _keep_by_hand(
        self, began: datetime, seconds: float, way_m: float | None, felt: str, note: str, race: bool
    ) -> None:
        journal, kept = self.context.journal, [0]
        rating = rating_from(felt)

        def forth() -> None:
            if kept[0]:
                run_store.restore_from_bin(journal, kept[0])
            else:
                kept[0] = run_store.add_by_hand(journal, began, seconds, way_m, rating, note, race).id

        # Tried outside the undo stack first, so that the dialog can say what is wrong.
        forth()
        named = f"the run of {short_day(began.date())}"
        self.context.do(f"add {named}", forth, lambda: run_store.put_in_bin(journal, kept[0]), f"Saved: {named}.")

    # Drag and drop

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:  # noqa: N802  Qt's name
        """Take files and folders."""
        if saving.paths_in(event.mimeData()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:  # noqa: N802
        """Import what was dropped."""
        paths = saving.paths_in(event.mimeData())
        if paths:
            event.acceptProposedAction()
            self.back()
            self.strip.start(paths)

    # Inside

    def _binned(self) -> Sequence[JudgedRun]:
        journal = self.context.journal
        return judge_runs(run_store.binned(journal), zone_store.present_sets(journal, self._today()))

    def _say_week(self) -> None:
        today = self._today()
        monday = monday_of(today)
        recent = [each for each in self.judged if each.run.local_date >= monday - timedelta(weeks=RANGE_WEEKS)]
        this, before = weeks_of(recent, monday, today)[-1], weeks_of(recent, monday - timedelta(weeks=1), today)[0]
        units = zone_store.chosen_units(self.context.journal)
        said = f"<b>This week</b>: {week_words(this, units)}<br><b>Last week</b>: {week_words(before, units)}"
        if any(each.run.has_pulse and each.judged is None for each in self.judged):
            said += f"<br>{NO_ZONES}"
        self.week.setText(said if self.judged else "")
        self.week.setVisible(bool(self.judged) and self._front == LIST)

    def _say_what_will_stand_here(self) -> None:
        """In place of a view that would be nothing but empty plots and headings."""
        empty = self._front in _NOTHING and not self.judged
        if empty and self._front == MONTHS:
            empty = not self.context.journal.mornings()
        self.nothing.setText(f"{_NOTHING[self._front]} {_FIRST}" if empty else "")
        self.nothing.setVisible(empty)
        self.views.setHidden(empty)

    def _open_week(self, monday: date) -> None:
        self.show_view(LIST)
        found = [each for each in self.judged if monday_of(each.run.local_date) == monday]
        if found:
            self.table.select_day(found[-1].run.local_date)

    def _open_day(self, day: date) -> None:
        found = [each for each in self.judged if each.run.local_date == day]
        if found:
            longest = max(found, key=lambda each: each.run.figures.duration_s)
            self.open_run(longest.run.id)

    def _step(self, way: int) -> None:
        assert self.run_view is not None
        if self.run_view.each is None:
            return
        beside = self.table.beside(self.run_view.each.run.id, way)
        if beside is None:
            self.context.say("That is the end of the list.")
        else:
            self.open_run(beside.run.id)

    def _tools(self) -> Flow:
        views = [
            (name, f"Ctrl+{place}", _TIPS[name], partial(self.show_view, name))
            for place, name in enumerate(VIEWS, start=1)
        ]
        self._buttons = controls.choices(QButtonGroup(self), views, 0, _WHERE)
        csv = "Save what is shown as CSV: the runs, the weeks, or the months"
        after = controls.buttons(
            _WHERE,
            ("Import…", "Ctrl+O", "Open FIT, TCX, GPX or CSV files; or drop them here", self.ask_files),
            ("Folder…", "Ctrl+Shift+O", "Import every run of a folder and below", self.ask_folder),
            ("By hand…", "N", "Enter a run without a file", self.ask_by_hand),
            ("Save CSV…", "Ctrl+E", csv, self.save_shown),
        )
        return flow_of(label("title", "Runs", "Runs"), *self._buttons, after=after)

    def arrange(self) -> None:
        """Curve and figures of a run beside one another where there is room."""
        self._fit_views()
        if self.run_view is not None:
            self.run_view.turn(self.width() >= self.context.theme.px(920))

    def _fit_views(self) -> None:
        """Where the page itself has to scroll, the view in front does not scroll in it as well."""
        least, front, page = self.context.theme.px(280), self.views.currentWidget(), self._list_page
        above = page.needed_height - self.views.minimumHeight()
        if isinstance(front, Scrolled) and above + least > page.height():
            least = max(least, front.needed_height)
        self.views.setMinimumHeight(least)
