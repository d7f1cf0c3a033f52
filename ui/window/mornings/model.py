"""The table of mornings as a model: what each column shows, sorts by, and lets be edited in place."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt
from PySide6.QtGui import QFont

from dawnbeat.journal.context_line import item_from
from dawnbeat.morning.verdict_text import verdict_lines
from dawnbeat.shared.morning import POSTURES, RATING_HIGH, RATING_LOW, RATINGS, Context, StoredReading
from dawnbeat.ui.window.parts.formats import interval_words, long_day

Index = QModelIndex | QPersistentModelIndex
_ROOT = QModelIndex()
YES_NO = ("", "yes", "no")
_RATING_CHOICES = ("", *(str(rating) for rating in range(RATING_LOW, RATING_HIGH + 1)))


@dataclass(frozen=True)
class Column:
    """One column. choices: what may be picked when editing; None for free text; edits: whether it can be."""

    title: str
    tip: str
    text: Callable[[StoredReading], str]
    key: Callable[[StoredReading], Any]
    item: str = ""
    choices: tuple[str, ...] | None = None

    @property
    def edits(self) -> bool:
        """Whether the runner may change it here."""
        return bool(self.item)


def _number(name: str) -> Callable[[StoredReading], float]:
    return lambda reading: -1.0 if getattr(reading.metrics, name) is None else float(getattr(reading.metrics, name))


def _figure(name: str, decimals: int) -> Callable[[StoredReading], str]:
    def text(reading: StoredReading) -> str:
        value = getattr(reading.metrics, name)
        return "–" if value is None else f"{value:.{decimals}f}"

    return text


def _day(reading: StoredReading) -> str:
    """The day, with the chart's mark where the reading is not usable, since its verdict may lie out of sight."""
    return reading.local_date.isoformat() + ("" if reading.verdict.usable else " ✕")


def counts_words(reading: StoredReading) -> str:
    """Whether a reading counts on its day, in a word or two."""
    if reading.binned_at is not None:
        return "in the bin"
    if not reading.verdict.usable:
        return "not usable"
    return "counts" if reading.counts else "another counts"


def _context_text(item: str) -> Callable[[StoredReading], str]:
    def text(reading: StoredReading) -> str:
        value = getattr(reading.context, item)
        if value is None:
            return ""
        if isinstance(value, bool):
            return "yes" if value else "no"
        return f"{value:g}" if isinstance(value, float) else str(value)

    return text


def _context_key(item: str) -> Callable[[StoredReading], Any]:
    def key(reading: StoredReading) -> Any:
        value = getattr(reading.context, item)
        if value is None:
            return "" if item in ("yesterday_run", "note") else -1.0
        return value.casefold() if isinstance(value, str) else float(value)

    return key


def _context_column(title: str, item: str, tip: str, choices: tuple[str, ...] | None = None) -> Column:
    return Column(title, tip, _context_text(item), _context_key(item), item, choices)


_RATED = f"from {RATING_LOW} (very, very good or low) to {RATING_HIGH} (very, very bad or high)"
COLUMNS: tuple[Column, ...] = (
    Column("Day", "the day of the reading; ✕ where it is not usable", _day, lambda each: each.began.isoformat()),
    Column("Time", "local time", lambda each: f"{each.began:%H:%M}", lambda each: each.hour),
    Column("RMSSD, ms", "with its 95 % interval in the tooltip", _figure("rmssd_ms", 0), _number("rmssd_ms")),
    Column("Pulse, bpm", "mean heart rate of the reading", _figure("mean_hr_bpm", 0), _number("mean_hr_bpm")),
    Column("Verdict", "whether it counts on its day", counts_words, counts_words),
    Column("Posture", "how you lay, sat or stood", lambda e: e.posture, lambda e: e.posture, "posture", POSTURES),
    *(_context_column(name.capitalize(), name, f"{name}, {_RATED}", _RATING_CHOICES) for name in RATINGS),
    _context_column("Hours", "hours_slept", "hours slept, 0 to 24"),
    _context_column("Ill", "ill", "feeling ill this morning", YES_NO),
    _context_column("Alcohol", "alcohol", "any the evening before", YES_NO),
    _context_column("Yesterday’s run", "yesterday_run", "in plain words"),
    _context_column("Note", "note", "anything else"),
)


def changed_context(context: Context, item: str, text: str) -> Context:
    """The context with one item as it was typed; raises DawnbeatError where it can't be."""
    return replace(context, **{item: item_from(item, text.strip())})


class MorningsModel(QAbstractTableModel):
    """The readings that were asked for, sorted; `edit(reading, column, text)` is called for what was typed.

    Sorts and filters by itself: a proxy would ask for ten years of cells one by one.
    """

    def __init__(self, edit: Callable[[StoredReading, Column, str], bool]) -> None:
        super().__init__()
        self.readings: list[StoredReading] = []
        self._all: list[StoredReading] = []
        self._edit = edit
        self._words: list[str] = []
        self._kind = "all"
        self._sorted_by = (0, Qt.SortOrder.DescendingOrder)

    def set_readings(self, readings: Sequence[StoredReading]) -> None:
        """Show these. The same readings as before stay where they are, so that an edit moves nothing."""
        same = {each.id for each in readings} == {each.id for each in self._all}
        self._all = list(readings)
        if not same:
            self.arrange()
            return
        by_id = {each.id: each for each in readings}
        self.readings = [by_id[each.id] for each in self.readings]
        if self.readings:
            self.dataChanged.emit(self.index(0, 0), self.index(len(self.readings) - 1, len(COLUMNS) - 1))

    def want(self, words: str, kind: str) -> None:
        """words: all must occur somewhere in the row. kind: all, usable, not usable, or several a day."""
        wanted = (words.casefold().split(), kind)
        if wanted != (self._words, self._kind):
            self._words, self._kind = wanted
            self.arrange()

    def sort(self, column: int, order: Qt.SortOrder = Qt.SortOrder.AscendingOrder) -> None:
        """Sort by a column; equal ones by day."""
        self._sorted_by = (column, order)
        self.arrange()

    def arrange(self) -> None:
        """Filter and sort again."""
        column, order = self._sorted_by
        self.beginResetModel()
        several = Counter(each.local_date for each in self._all)
        self.readings = [each for each in self._all if self._wanted(each, several)]
        self.readings.sort(key=COLUMNS[max(column, 0)].key, reverse=order == Qt.SortOrder.DescendingOrder)
        self.endResetModel()

    def row_of(self, reading_id: int) -> int | None:
        """The row that a reading is shown in."""
        return next((row for row, each in enumerate(self.readings) if each.id == reading_id), None)

    def _wanted(self, reading: StoredReading, several: Counter[date]) -> bool:
        if self._kind == "usable" and not reading.verdict.usable:
            return False
        if self._kind == "not usable" and reading.verdict.usable:
            return False
        if self._kind == "several a day" and several[reading.local_date] < 2:
            return False
        if not self._words:
            return True
        text = " ".join(column.text(reading) for column in COLUMNS).casefold()
        return all(word in text for word in self._words)

    def rowCount(self, parent: Index = _ROOT) -> int:  # noqa: N802, D102  Qt's names
        return 0 if parent.isValid() else len(self.readings)

    def columnCount(self, parent: Index = _ROOT) -> int:  # noqa: N802, D102
        return 0 if parent.isValid() else len(COLUMNS)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:  # noqa: D102
        if not index.isValid():
            return None
        reading, column = self.readings[index.row()], COLUMNS[index.column()]
        if role in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.EditRole):
            return column.text(reading)
        if role == Qt.ItemDataRole.ToolTipRole:
            return self._tip(reading, column)
        if role == Qt.ItemDataRole.FontRole and reading.verdict.usable and not reading.counts:
            font = QFont()
            font.setItalic(True)
            return font
        return None

    def _tip(self, reading: StoredReading, column: Column) -> str:
        if column.title.startswith("RMSSD"):
            return interval_words(reading, "rmssd_ms", "ms", 1)
        if column.title.startswith("Pulse"):
            return interval_words(reading, "mean_hr_bpm", "bpm", 1)
        if column.title == "Verdict":
            return "; ".join(verdict_lines(reading.verdict))
        if column.title == "Day":
            return f"{long_day(reading.local_date)} (Enter opens it)"
        return f"{column.tip} (F2 edits it)" if column.edits else column.tip

    def headerData(  # noqa: N802, D102
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        if orientation == Qt.Orientation.Horizontal:
            if role == Qt.ItemDataRole.DisplayRole:
                return COLUMNS[section].title
            if role == Qt.ItemDataRole.ToolTipRole:
                return f"{COLUMNS[section].tip}; press to sort"
        return None

    def flags(self, index: Index) -> Qt.ItemFlag:  # noqa: D102
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        editable = index.isValid() and COLUMNS[index.column()].edits
        return flags | Qt.ItemFlag.ItemIsEditable if editable else flags

    def setData(self, index: Index, value: Any, role: int = Qt.ItemDataRole.EditRole) -> bool:  # noqa: N802, D102
        if not index.isValid() or role != Qt.ItemDataRole.EditRole:
            return False
        reading, column = self.readings[index.row()], COLUMNS[index.column()]
        if str(value).strip() == column.text(reading):
            return False
        return self._edit(reading, column, str(value))
