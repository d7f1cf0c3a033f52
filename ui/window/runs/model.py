"""The table of runs as a model: what each column shows, sorts by, and lets be edited in place."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt

from dawnbeat.training.weeks import JudgedRun
from dawnbeat.training.wording import clock, number, pace, percent
from dawnbeat.ui.window.parts.formats import long_day

Index = QModelIndex | QPersistentModelIndex
_ROOT = QModelIndex()
ALL, WITH_PULSE, WITHOUT_PULSE, RACES, UNRATED = "all runs", "with pulse", "without pulse", "races", "not rated yet"
KINDS = (ALL, WITH_PULSE, WITHOUT_PULSE, RACES, UNRATED)
YES_NO = ("yes", "no")


@dataclass(frozen=True)
class Column:
    """One column. item: what an edit changes, empty where it can't be. widest: a text that fits its width."""

    title: str
    tip: str
    text: Callable[[JudgedRun], str]
    key: Callable[[JudgedRun], Any]
    widest: str
    item: str = ""
    choices: tuple[str, ...] | None = None


def _value(value: float | None) -> float:
    return float("-inf") if value is None else value


def _easy(each: JudgedRun) -> float | None:
    return None if each.judged is None else each.judged.easy_share


def _above(each: JudgedRun) -> float | None:
    return None if each.judged is None else each.judged.above_s


def _missing(each: JudgedRun) -> float:
    figures = each.run.figures
    return 0.0 if figures.duration_s <= 0 else 1 - figures.measured_s / figures.duration_s


def _pace_s(each: JudgedRun) -> float:
    figures = each.run.figures
    # Slower is greater; no distance comes last.
    return figures.duration_s / figures.distance_m if figures.distance_m else float("inf")


def _km(each: JudgedRun) -> str:
    way_m = each.run.figures.distance_m
    return number(None if way_m is None else way_m / 1000, 2)


COLUMNS: tuple[Column, ...] = (
    Column(
        "Day",
        "the day of the run, by the clock of the place",
        lambda e: e.run.local_date.isoformat(),
        lambda e: e.run.began.timestamp(),
        "2025-06-30",
    ),
    Column(
        "Began",
        "when it began, local time",
        lambda e: f"{e.run.began:%H:%M}",
        lambda e: f"{e.run.began:%H:%M}",
        "06:30",
    ),
    Column(
        "Time",
        "duration without pauses",
        lambda e: clock(e.run.figures.duration_s),
        lambda e: e.run.figures.duration_s,
        "1:02:30",
    ),
    Column("km", "distance", _km, lambda e: _value(e.run.figures.distance_m), "42.20"),
    Column(
        "min/km",
        "pace without pauses",
        lambda e: pace(e.run.figures.distance_m, e.run.figures.duration_s).removesuffix(" /km"),
        _pace_s,
        "10:30",
    ),
    Column(
        "Pulse, bpm",
        "mean of the measured pulse; – where there is none",
        lambda e: number(e.run.figures.mean_bpm),
        lambda e: _value(e.run.figures.mean_bpm),
        "142",
    ),
    Column(
        "Easy",
        "share of the measured time at or below the top of easy of that day",
        lambda e: percent(_easy(e)),
        lambda e: _value(_easy(e)),
        "100 %",
    ),
    Column(
        "Above",
        "measured time above the top of easy",
        lambda e: clock(_above(e)),
        lambda e: _value(_above(e)),
        "1:02:30",
    ),
    Column(
        "Missing",
        "share of the duration without a pulse that counts",
        lambda e: percent(_missing(e)),
        _missing,
        "100 %",
    ),
    Column(
        "Felt",
        "session rating: how hard the whole run felt, 0 to 10",
        lambda e: "" if e.run.felt_effort is None else f"{e.run.felt_effort:g}",
        lambda e: _value(e.run.felt_effort),
        "10",
        "felt_effort",
    ),
    Column(
        "Race",
        "whether it was a race",
        lambda e: "yes" if e.run.race else "",
        lambda e: e.run.race,
        "yes",
        "race",
        YES_NO,
    ),
    Column("Note", "anything else", lambda e: e.run.note, lambda e: e.run.note.casefold(), 24 * "n", "note"),
    Column("From", "the file it came from", lambda e: e.run.source or "by hand", lambda e: e.run.source, 14 * "n"),
)


class RunsModel(QAbstractTableModel):
    """The runs that were asked for, sorted; `edit(run, column, text)` is called for what was typed.

    Sorts and filters by itself: a proxy would ask for thousands of cells one by one.
    """

    def __init__(self, edit: Callable[[JudgedRun, Column, str], bool]) -> None:
        super().__init__()
        self.runs: list[JudgedRun] = []
        self._all: list[JudgedRun] = []
        self._edit = edit
        self._words: list[str] = []
        self._kind = ALL
        self._sorted_by = (0, Qt.SortOrder.DescendingOrder)

    def set_runs(self, runs: Sequence[JudgedRun]) -> None:
        """Show these. The same runs as before stay where they are, so that an edit moves nothing."""
        same = {each.run.id for each in runs} == {each.run.id for each in self._all}
        self._all = list(runs)
        if not same:
            self.arrange()
            return
        by_id = {each.run.id: each for each in runs}
        self.runs = [by_id[each.run.id] for each in self.runs]
        if self.runs:
            self.dataChanged.emit(self.index(0, 0), self.index(len(self.runs) - 1, len(COLUMNS) - 1))

    def want(self, words: str, kind: str) -> None:
        """words: all must occur somewhere in the row. kind: one of KINDS."""
        wanted = (words.casefold().split(), kind)
        if wanted != (self._words, self._kind):
            self._words, self._kind = wanted
            self.arrange()

    def sort(self, column: int, order: Qt.SortOrder = Qt.SortOrder.AscendingOrder) -> None:
        """Sort by a column; equal ones stay in the order of time."""
        self._sorted_by = (column, order)
        self.arrange()

    def arrange(self) -> None:
        """Filter and sort again."""
        column, order = self._sorted_by
        self.beginResetModel()
        self.runs = [each for each in self._all if self._wanted(each)]
        self.runs.sort(key=COLUMNS[max(column, 0)].key, reverse=order == Qt.SortOrder.DescendingOrder)
        self.endResetModel()

    def row_of(self, run_id: int) -> int | None:
        """The row that a run is shown in."""
        return next((row for row, each in enumerate(self.runs) if each.run.id == run_id), None)

    def _wanted(self, each: JudgedRun) -> bool:
        run, kind = each.run, self._kind
        if (kind == WITH_PULSE and not run.has_pulse) or (kind == WITHOUT_PULSE and run.has_pulse):
            return False
        if (kind == RACES and not run.race) or (kind == UNRATED and run.felt_effort is not None):
            return False
        if not self._words:
            return True
        text = " ".join([long_day(run.local_date), *(column.text(each) for column in COLUMNS)]).casefold()
        return all(word in text for word in self._words)

    def rowCount(self, parent: Index = _ROOT) -> int:  # noqa: N802, D102  Qt's names
        return 0 if parent.isValid() else len(self.runs)

    def columnCount(self, parent: Index = _ROOT) -> int:  # noqa: N802, D102
        return 0 if parent.isValid() else len(COLUMNS)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:  # noqa: D102
        if not index.isValid():
            return None
        each, column = self.runs[index.row()], COLUMNS[index.column()]
        if role in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.EditRole):
            return column.text(each)
        if role == Qt.ItemDataRole.ToolTipRole:
            return self._tip(each, column)
        return None

    def _tip(self, each: JudgedRun, column: Column) -> str:
        if column.title == "Day":
            return f"{long_day(each.run.local_date)} (Enter opens it)"
        if column.title == "Easy" and each.judged is not None and each.zone_set is not None:
            older = ", the first there are" if each.before_sets else ""
            return (
                f"at or below {each.judged.top_of_easy_bpm} bpm, by the zones from "
                f"{each.zone_set.from_date.isoformat()} on{older}"
            )
        if column.title == "Missing" and each.run.has_pulse:
            parts = (f"{kind} {clock(seconds)}" for kind, seconds in each.run.figures.missing_s.items())
            return "; ".join(parts) or "nothing is missing"
        if column.item == "note" and each.run.note:
            return each.run.note
        return f"{column.tip} (F2 edits it)" if column.item else column.tip

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
        editable = index.isValid() and bool(COLUMNS[index.column()].item)
        return flags | Qt.ItemFlag.ItemIsEditable if editable else flags

    def setData(self, index: Index, value: Any, role: int = Qt.ItemDataRole.EditRole) -> bool:  # noqa: N802, D102
        if not index.isValid() or role != Qt.ItemDataRole.EditRole:
            return False
        each, column = self.runs[index.row()], COLUMNS[index.column()]
        if str(value).strip() == column.text(each):
            return False
        return self._edit(each, column, str(value))
