"""The table beside the chart: what each column shows, edits in place, which reading counts, the bin."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from PySide6.QtGui import QFont
from PySide6.QtWidgets import QPushButton

from dawnbeat.journal.listing import item_from
from dawnbeat.morning.reading_text import interval_words, verdict_lines
from dawnbeat.shared.morning import POSTURES, RATING_HIGH, RATING_LOW, RATINGS, StoredReading, posture_from
from dawnbeat.shared.wording import long_day, number, short_day
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.journal_table import RowsTable
from dawnbeat.ui.window.parts.rows import Column, RowsModel, all_rows

YES_NO = ("", "yes", "no")
_RATING_CHOICES = ("", *(str(rating) for rating in range(RATING_LOW, RATING_HIGH + 1)))
_RATED = f"from {RATING_LOW} (very, very good or low) to {RATING_HIGH} (very, very bad or high)"


def counts_words(reading: StoredReading) -> str:
    """Whether a reading counts on its day, in a word or two."""
    if reading.binned_at is not None:
        return "in the bin"
    if not reading.verdict.usable:
        return "not usable"
    return "counts" if reading.counts else "another counts"


def _mark(reading: StoredReading) -> str:
    """The chart's mark of what is not usable, and another for what is but doesn't count."""
    if not reading.verdict.usable:
        return "✕"
    return "" if reading.counts or reading.binned_at is not None else "○"


def _figure(title: str, tip: str, name: str, unit: str) -> Column[StoredReading]:
    def text(reading: StoredReading) -> str:
        return number(getattr(reading.metrics, name))

    def key(reading: StoredReading) -> float:
        value: float | None = getattr(reading.metrics, name)
        return -1.0 if value is None else value

    return Column(
        title, tip, text, key, right=True, widest="888", stays=True, hint=lambda e: interval_words(e, name, unit, 1)
    )


def _noted(
    title: str, item: str, tip: str, choices: tuple[str, ...] | None = None, right: bool = False, widest: str = ""
) -> Column[StoredReading]:
    def text(reading: StoredReading) -> str:
        value = getattr(reading.context, item)
        if value is None:
            return ""
        if isinstance(value, bool):
            return "yes" if value else "no"
        return f"{value:g}" if isinstance(value, float) else str(value)

    def key(reading: StoredReading) -> Any:
        value = getattr(reading.context, item)
        if value is None:
            return "" if item in ("yesterday_run", "note") else -1.0
        return value.casefold() if isinstance(value, str) else float(value)

    return Column(title, tip, text, key, item, choices, right, widest)


def _several(rows: Sequence[StoredReading]) -> list[StoredReading]:
    days = Counter(each.local_date for each in rows)
    return [each for each in rows if days[each.local_date] > 1]


COLUMNS: tuple[Column[StoredReading], ...] = (
    Column("", "✕ not usable, ○ another reading of the day counts", _mark, _mark, widest="✕", hint=counts_words),
    Column(
        "Day",
        "the day of the reading",
        lambda each: each.local_date.isoformat(),
        lambda each: each.began.isoformat(),
        widest="2025-06-30",
        stays=True,
        hint=lambda each: f"{long_day(each.local_date)} (Enter opens it)",
    ),
    Column(
        "Time", "local time", lambda each: f"{each.began:%H:%M}", lambda each: each.hour, right=True, widest="06:30"
    ),
    _figure("RMSSD, ms", "with its 95 % interval in the tooltip", "rmssd_ms", "ms"),
    _figure("Pulse, bpm", "mean pulse of the reading", "mean_hr_bpm", "bpm"),
    Column(
        "Verdict",
        "whether it counts on its day",
        counts_words,
        counts_words,
        widest="another counts",
        hint=lambda each: "; ".join(verdict_lines(each.verdict)),
    ),
    Column("Posture", "how you lay, sat or stood", lambda e: e.posture, lambda e: e.posture, "posture", POSTURES),
    *(_noted(name.capitalize(), name, f"{name}, {_RATED}", _RATING_CHOICES, right=True) for name in RATINGS),
    _noted("Hours", "hours_slept", "hours slept, 0 to 24", right=True, widest="10.5"),
    _noted("Ill", "ill", "feeling ill this morning", YES_NO, widest="yes"),
    _noted("Alcohol", "alcohol", "any the evening before", YES_NO),
    _noted("Yesterday's run", "yesterday_run", "in plain words"),
    _noted("Note", "note", "anything else", widest=20 * "n"),
)
KINDS: dict[str, Callable[[Sequence[StoredReading]], Sequence[StoredReading]]] = {
    "all": all_rows,
    "usable": lambda rows: [each for each in rows if each.verdict.usable],
    "not usable": lambda rows: [each for each in rows if not each.verdict.usable],
    "several a day": _several,
}
_DAY = 1
_EMPTY = "Your readings will stand here, one a row: take the first on the page Read."


class MorningsTable(RowsTable[StoredReading]):
    """All readings; each stands for its day, or another of the day does."""

    goes_too = " and the recordings with them"

    def __init__(self, context: AppContext) -> None:
        model = RowsModel(COLUMNS, lambda each: each.id, self._edit, _look, sorted_by=_DAY)
        find = "a date, a run, a word of a note"
        super().__init__(context, model, KINDS, "reading", "Mornings", find, _EMPTY, _DAY)

    def select(self, day: date) -> None:
        """Select the reading that counts on a day, without telling anybody; it may be filtered out."""
        shown = [(row, each) for row, each in enumerate(self.model.rows) if each.local_date == day]
        if shown:
            self.go_to(next((row for row, each in shown if each.counts), shown[-1][0]))

    def count(self) -> None:
        """Let the current reading count on its day."""
        reading, journal = self.current(), self.context.journal
        if reading is None:
            return
        before = next((each for each in journal.day(reading.local_date) if each.counts), reading)
        time, day = f"{reading.began:%H:%M}", short_day(reading.local_date)
        self.context.do(
            f"let the reading of {time} count on {day}",
            lambda: journal.pick(reading.id),
            lambda: journal.pick(before.id),
            f"The reading of {time} counts on {day} now.",
        )

    def _edit(self, reading: StoredReading, column: Column[StoredReading], text: str) -> bool:
        journal = self.context.journal
        words = f"change {column.title.lower()} of {short_day(reading.local_date)}"
        with self.context.saying("Not changed: "):
            write: Callable[[int, Any], object]
            before: Any
            after: Any
            if column.item == "posture":
                write, before, after = journal.set_posture, reading.posture, posture_from(text)
            else:
                write, before = journal.edit_context, reading.context
                after = replace(before, **{column.item: item_from(column.item, text.strip())})
            return self.context.do(words, lambda: write(reading.id, after), lambda: write(reading.id, before))
        return False

    # What the table asks

    def listed(self) -> Sequence[StoredReading]:  # noqa: D102
        return self.context.journal.readings()

    def binned(self) -> Sequence[StoredReading]:  # noqa: D102
        return self.context.journal.bin()

    def bin_one(self, row: StoredReading) -> None:  # noqa: D102
        self.context.journal.put_in_bin(row.id)

    def back_one(self, row: StoredReading) -> None:  # noqa: D102
        self.context.journal.bring_back(row.id)

    def named(self, row: StoredReading) -> str:  # noqa: D102
        return f"the reading of {short_day(row.local_date)}, {row.began:%H:%M}"

    def delete(self, rows: Sequence[StoredReading]) -> int:  # noqa: D102
        return self.context.journal.empty_bin([each.id for each in rows])

    def more_tools(self) -> Sequence[QPushButton]:  # noqa: D102
        self.count_button = self.tool("Let it count", "C", "Let this reading count on its day", self.count)
        return (self.count_button,)

    def show_what_can_be_done(self) -> None:  # noqa: D102
        super().show_what_can_be_done()
        if hasattr(self, "count_button"):
            reading = self.current()
            self.count_button.setVisible(not self.in_bin)
            self.count_button.setEnabled(reading is not None and reading.verdict.usable and not reading.counts)


def _look(reading: StoredReading, _column: Column[StoredReading]) -> QFont | None:
    if not reading.verdict.usable or reading.counts:
        return None
    font = QFont()
    font.setItalic(True)
    return font
