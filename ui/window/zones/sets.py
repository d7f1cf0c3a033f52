"""The dated zone sets: which zones judge which run; and changes of zones that Ctrl+Z takes back exactly."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtWidgets import QVBoxLayout, QWidget

from dawnbeat.shared.wording import short_day
from dawnbeat.training import zone_store
from dawnbeat.training.zone_store import ZoneSet, ZoneSnapshot, restore, snapshot
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.controls import label, on_key
from dawnbeat.ui.window.parts.layouts import flow_of
from dawnbeat.ui.window.parts.tables import fit_rows, give_tip, plain_table, write_rows


def change_zones(context: AppContext, words: str, change: Callable[[], object]) -> bool:
    """Do a change; returns whether it was done. One entry may begin a new set, so all is put back together."""
    journal = context.journal
    states: list[ZoneSnapshot] = []

    def forth() -> None:
        if len(states) == 2:
            restore(journal, states[1], expected=states[0])
            return
        before = snapshot(journal)
        change()
        states[:] = [before, snapshot(journal)]

    return context.do(words, forth, lambda: restore(journal, states[0], expected=states[1]))


_HEADINGS = ("From", "Method", "Top of easy", "Boundaries, bpm", "Why")


class SetsView(QWidget):
    """Newest first."""

    def __init__(self, context: AppContext) -> None:
        super().__init__()
        self.context = context
        self._sets: list[ZoneSet] = []
        self.words = label("small", "Which zones judge which run")
        self.table = plain_table(_HEADINGS, "Zone sets, newest first")
        self.table.setAccessibleDescription("Delete removes the selected set.")
        tip = "Remove the selected set; its runs are judged by the one before"
        self.drop = controls.button("Remove these zones", "Ctrl+Shift+D", tip, self.remove, "Zones")
        on_key(self.table, "Del", self.remove)
        self.table.itemSelectionChanged.connect(self._selected)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.words)
        layout.addWidget(self.table)
        layout.addLayout(flow_of(self.drop))
        context.theme_changed.connect(lambda _: self._fit())

    def show_sets(self, kept: Sequence[ZoneSet]) -> None:
        """Show these, given by the day they begin."""
        self._sets = list(reversed(kept))
        rows = [
            (
                each.from_date.isoformat(),
                each.zones.scheme.method,
                f"{each.zones.top_of_easy_bpm} bpm",
                " / ".join(str(top) for top in each.zones.tops_bpm),
                each.why,
            )
            for each in self._sets
        ]
        write_rows(self.table, rows)
        for row, each in enumerate(self._sets):
            give_tip(self.table, row, len(_HEADINGS) - 1, each.why)
        self.words.setText(
            "A run is judged by the zones of its own day. New zones begin on a day and leave earlier runs alone."
            if rows
            else "None are kept yet. Until then runs are judged by the zones that the journal would make today."
        )
        self._fit()
        self._selected()

    def remove(self) -> None:
        """Remove the selected set."""
        row = self.table.currentRow()
        if not 0 <= row < len(self._sets):
            return
        chosen = self._sets[row]
        set_id = chosen.id
        if set_id is None:
            return
        words = f"remove the zones from {short_day(chosen.from_date)} on"
        if change_zones(self.context, words, lambda: zone_store.remove_zone_set(self.context.journal, set_id)):
            undo = controls.shown("Ctrl+Z")
            self.context.say(f"Removed: the zones from {short_day(chosen.from_date)} on. {undo} brings them back.")

    def _selected(self) -> None:
        self.drop.setEnabled(0 <= self.table.currentRow() < len(self._sets))

    def _fit(self) -> None:
        fit_rows(self.table, 6, self.context.theme.px(18))
        self.table.setVisible(bool(self._sets))
        self.drop.setVisible(bool(self._sets))
