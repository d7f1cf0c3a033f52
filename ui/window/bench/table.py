"""The table of scores: sortable by every column, worst first to begin with."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, QSortFilterProxyModel, Qt
from PySide6.QtGui import QFont

from dawnbeat.morning.scoring import Score
from dawnbeat.ui.window.bench.figures import share_words

Index = QModelIndex | QPersistentModelIndex
SORT_ROLE = Qt.ItemDataRole.UserRole + 1


@dataclass(frozen=True)
class Column:
    """One column: heading, meaning, what is shown, and what it is sorted by."""

    title: str
    meaning: str
    shown: Callable[[Score], str]
    order: Callable[[Score], Any]


def _number(name: str, unit: str, signed: bool = False) -> tuple[Callable[[Score], str], Callable[[Score], float]]:
    def shown(score: Score) -> str:
        value = getattr(score, name)
        return "" if value is None else f"{value:{'+' if signed else ''}.1f} {unit}"

    def order(score: Score) -> float:
        value = getattr(score, name)
        return -1.0 if value is None else abs(value)

    return shown, order


def _share(name: str) -> tuple[Callable[[Score], str], Callable[[Score], float]]:
    def shown(score: Score) -> str:
        value = getattr(score, name)
        return "" if value is None else share_words(value)

    def order(score: Score) -> float:
        value = getattr(score, name)
        return -1.0 if value is None else float(value)

    return shown, order


def _verdict(score: Score) -> str:
    if score.trouble is not None:
        return "unreadable"
    words = "usable" if score.usable else "not usable"
    if score.expected is not None and score.expected != score.usable:
        return f"{words}, but should {'' if score.expected else 'not '}be"
    return f"{words}, but far off" if score.wrong else words


COLUMNS = (
    Column("Recording", "Its folder or file", lambda s: s.path.name, lambda s: s.path.name.casefold()),
    Column("Verdict", "And whether it is the expected one", _verdict, lambda s: s.badness),
    Column("Agreement", "Beats that met their reference, or were met, the smaller share", *_share("agreement")),
    Column("Kept", "Share of the time that was kept", *_share("kept_share")),
    Column("Timing", "Timing error of one beat", *_number("timing_error_ms", "ms")),
    Column("Interval off", "Mean absolute difference to the reference", *_number("difference_ms", "ms")),
    Column("RMSSD off", "RMSSD less the reference’s over the same intervals", *_number("rmssd_off_ms", "ms", True)),
    Column("Pulse", "Mean heart rate", *_number("pulse_bpm", "bpm")),
    Column("RMSSD", "Over the kept intervals", *_number("rmssd_ms", "ms")),
    Column("Why", "First reason of the verdict", lambda s: s.trouble or s.reason, lambda s: s.trouble or s.reason),
)
VERDICT = 1
_FIGURES = range(2, 9)
_RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
_LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter


class ScoreModel(QAbstractTableModel):
    """The scores in the order in which they came."""

    def __init__(self) -> None:
        super().__init__()
        self.scores: list[Score] = []

    def clear(self) -> None:
        """Begin anew."""
        self.beginResetModel()
        self.scores = []
        self.endResetModel()

    def add(self, score: Score) -> None:
        """One more row."""
        self.beginInsertRows(QModelIndex(), len(self.scores), len(self.scores))
        self.scores.append(score)
        self.endInsertRows()

    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008, N802  Qt's name and default
        """One row for each score."""
        return 0 if parent.isValid() else len(self.scores)

    def columnCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008, N802  Qt's name and default
        """The columns of COLUMNS."""
        return 0 if parent.isValid() else len(COLUMNS)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole) -> Any:  # noqa: N802
        """Titles, and meanings as tooltips."""
        if orientation == Qt.Orientation.Horizontal and role == Qt.ItemDataRole.DisplayRole:
            return COLUMNS[section].title
        if orientation == Qt.Orientation.Horizontal and role == Qt.ItemDataRole.ToolTipRole:
            return COLUMNS[section].meaning
        if orientation == Qt.Orientation.Horizontal and role == Qt.ItemDataRole.TextAlignmentRole:
            return _RIGHT if section in _FIGURES else _LEFT
        return None

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """What is shown, what it is sorted by, and bold for what is wrong."""
        score, column = self.scores[index.row()], COLUMNS[index.column()]
        if role == Qt.ItemDataRole.DisplayRole:
            return column.shown(score)
        if role == SORT_ROLE:
            return column.order(score)
        if role == Qt.ItemDataRole.ToolTipRole:
            return str(score.path) if index.column() == 0 else column.shown(score)
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return _RIGHT if index.column() in _FIGURES else _LEFT
        if role == Qt.ItemDataRole.FontRole and index.column() == VERDICT and (score.wrong or score.trouble):
            font = QFont()
            font.setBold(True)
            return font
        return None


class ScoreOrder(QSortFilterProxyModel):
    """Sorts by what a column means rather than by its words."""

    def lessThan(self, left: Index, right: Index) -> bool:  # noqa: N802  Qt's name
        """Compare two rows in Python, since a rank of several parts is no type of Qt's."""
        model = self.sourceModel()
        assert isinstance(model, ScoreModel)
        order = COLUMNS[left.column()].order
        return bool(order(model.scores[left.row()]) < order(model.scores[right.row()]))
