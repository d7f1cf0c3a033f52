"""The zones as a table to edit, and the dated sets that were kept: which zones judge which run."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QAbstractItemView, QTableWidgetItem, QWidget

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import short_day
from dawnbeat.training import zone_store
from dawnbeat.training.zone_store import ZoneSet
from dawnbeat.training.zones import METHODS, MOST_ZONES, Scheme, Zones, default_scheme, talk_test, with_count
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import ComboBox, Key, SpinBox, label, named, on_key
from dawnbeat.ui.window.parts.layouts import flow_of, labelled, stack
from dawnbeat.ui.window.parts.tables import PlainTable, plain_table, write_rows
from dawnbeat.ui.window.zones.entries import change_zones

_NAME, _TOP, _PULSE, _TALK = range(4)
_ZONE_HEADINGS = ("Zone", "Top, %", "Pulse, bpm", "Talk test")
_SET_HEADINGS = ("From", "Top of easy", "Boundaries, bpm", "Method, and what it rests on")


class ZonesEditor(QWidget):
    """changed: the scheme was edited. scheme: as it stands here, kept or not.

    work_out: gives the zones of a scheme, or None where a pulse is missing; raises DawnbeatError where they can't be.
    """

    changed = Signal()

    def __init__(self, context: AppContext, work_out: Callable[[Scheme], Zones | None]) -> None:
        super().__init__()
        self.context = context
        self.scheme = default_scheme(METHODS[0])
        self._work_out = work_out
        self._zones: Zones | None = None
        self._writing = False
        self.method = named(ComboBox(), "Zones by", "What the shares are shares of")
        self.method.addItems(METHODS)
        spin = SpinBox(minimum=2, maximum=MOST_ZONES)
        self.count = named(spin, "How many zones", f"How many zones, 2 to {MOST_ZONES}")
        self.easy = named(ComboBox(), "Easy ends with", "The zone whose top is the top of easy")
        tip = "Back to five zones with the usual boundaries"
        usual = partial(self._take, lambda: default_scheme(self.scheme.method))
        self.reset = controls.button("Reset", "Ctrl+Shift+R", tip, usual, "Zones")
        self.table = self._make_table()
        pairs = (("By", self.method), ("Zones", self.count), ("Easy ends with", self.easy))
        rows = [labelled(words, control) for words, control in pairs]
        stack(self, flow_of(*rows, self.reset), self.table, None)
        self.method.activated.connect(lambda place: self._take(lambda: default_scheme(METHODS[place])))
        self.count.valueChanged.connect(self._count)
        self.easy.activated.connect(lambda place: self._take(lambda: replace(self.scheme, easy_top=place + 1)))
        self.table.itemChanged.connect(self._typed)

    def show_scheme(self, scheme: Scheme, zones: Zones | None) -> None:
        """Show a scheme with the pulses it gives; None where a pulse that it needs is not known."""
        self.scheme, self._zones = scheme, zones
        self._writing = True
        self.method.setCurrentText(scheme.method)
        self.count.setValue(len(scheme.names))
        self.easy.clear()
        self.easy.addItems(scheme.names[:-1])
        self.easy.setCurrentIndex(scheme.easy_top - 1)
        self._write()
        self._writing = False

    # Inside

    def _make_table(self) -> PlainTable:
        # The page scrolls, not the table.
        table = plain_table(_ZONE_HEADINGS, "Zones, from the easiest", most=MOST_ZONES)
        table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectItems)
        table.setAccessibleDescription("F2 edits a name or the boundary at the top of a zone.")
        table.setToolTip("F2 or a double click edits a name or a boundary")
        table.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        table.setEditTriggers(
            QAbstractItemView.EditTrigger.DoubleClicked | QAbstractItemView.EditTrigger.EditKeyPressed
        )
        controls.register(Key("F2", "Edit a name or a boundary", "Zones"))
        return table

    def _write(self) -> None:
        scheme, table = self.scheme, None if self._zones is None else self._zones.table()
        count = len(scheme.names)
        self.table.setRowCount(count)
        for n in range(count):
            last = n == count - 1
            span = "–" if table is None else table[n].span_words
            if n + 1 == scheme.easy_top:
                span = "easy ends" if table is None else f"{span}, easy ends"
            talk = talk_test(n + 1, scheme.easy_top, count)
            self._cell(n, _NAME, scheme.names[n], True)
            self._cell(n, _TOP, "no top" if last else f"{scheme.boundaries_pct[n]:g}", not last)
            self._cell(n, _PULSE, span, False)
            self._cell(n, _TALK, talk, False).setToolTip(talk)
        self.table.arrange()

    def _cell(self, row: int, column: int, text: str, edits: bool) -> QTableWidgetItem:
        # Items stay: one may be in the middle of telling that it was edited.
        item = self.table.item(row, column)
        if item is None:
            item = QTableWidgetItem()
            self.table.setItem(row, column, item)
        item.setText(text)
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        item.setFlags(flags | Qt.ItemFlag.ItemIsEditable if edits else flags)
        item.setToolTip("F2 edits it" if edits else "")
        font = item.font()
        font.setBold(row + 1 == self.scheme.easy_top and column == _PULSE)
        item.setFont(font)
        return item

    def _typed(self, item: QTableWidgetItem) -> None:
        if self._writing:
            return
        place, text = item.row(), item.text().strip()
        names, bounds = list(self.scheme.names), list(self.scheme.boundaries_pct)
        if item.column() == _NAME:
            names[place] = text
        else:
            try:
                bounds[place] = float(text.removesuffix("%").replace(",", "."))
            except ValueError:
                self.context.say(f"{text[:40]!r} is no per cent: type a number such as 70.")
                self.show_scheme(self.scheme, self._zones)
                return
        self._take(lambda: replace(self.scheme, names=tuple(names), boundaries_pct=tuple(bounds)))

    def _count(self, count: int) -> None:
        if self._writing or count == len(self.scheme.names):
            return
        names = self.scheme.names
        names += tuple(f"zone {n + 1}" for n in range(len(names), count))
        easy = min(self.scheme.easy_top, count - 1)
        bounds = with_count(self.scheme, count - 1)
        self._take(lambda: replace(self.scheme, boundaries_pct=bounds, names=names[:count], easy_top=easy))

    def _take(self, make: Callable[[], Scheme]) -> None:
        """Take a scheme, or say why it can't be and stay with the one before."""
        try:
            scheme = make()
            found = self._work_out(scheme)
        except DawnbeatError as error:
            self.context.say(f"Not changed: {error}")
            self.show_scheme(self.scheme, self._zones)
            return
        self.show_scheme(scheme, found)
        self.changed.emit()


class SetsView(QWidget):
    """The sets that were kept, newest first."""

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self._sets: list[ZoneSet] = []
        self.words = label("small", "Which zones judge which run")
        self.table = plain_table(_SET_HEADINGS, "Zone sets, newest first", most=6)
        self.table.setAccessibleDescription("Delete removes the selected set.")
        tip = "Remove the selected set; its runs are judged by the one before"
        self.drop = controls.button("Remove these zones", "Ctrl+Shift+D", tip, self.remove, "Zones")
        on_key(self.table, "Del", self.remove)
        self.table.itemSelectionChanged.connect(self._selected)
        stack(self, self.words, self.table, flow_of(self.drop))

    def show_sets(self, kept: Sequence[ZoneSet]) -> None:
        """Show these, given by the day they begin."""
        self._sets = list(reversed(kept))
        rows = [
            (
                each.from_date.isoformat(),
                f"{each.zones.top_of_easy_bpm} bpm",
                " / ".join(str(top) for top in each.zones.tops_bpm),
                f"{each.zones.scheme.method}: {each.why}",
            )
            for each in self._sets
        ]
        write_rows(self.table, rows)
        self.table.setVisible(bool(rows))
        self.drop.setVisible(bool(rows))
        self.words.setText(
            "A run is judged by the zones of its own day. New zones begin on a day and leave earlier runs alone."
            if rows
            else "None are saved yet. Until then runs are judged by the zones that the journal would make today."
        )
        self._selected()

    def remove(self) -> None:
        """Remove the selected set."""
        row, journal = self.table.currentRow(), self.context.journal
        if 0 <= row < len(self._sets) and (set_id := self._sets[row].id) is not None:
            which = f"the zones from {short_day(self._sets[row].from_date)} on"
            said = f"Removed: {which}. {controls.shown('Ctrl+Z')} brings them back."
            change_zones(self.context, f"remove {which}", lambda: zone_store.remove_zone_set(journal, set_id), said)

    def _selected(self) -> None:
        self.drop.setEnabled(0 <= self.table.currentRow() < len(self._sets))
