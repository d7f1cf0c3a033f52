"""What zones hang on: resting pulse, dated maxima, dated threshold pulses."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from functools import partial

from PySide6.QtCore import Signal

from dawnbeat.shared.wording import PACE_UNIT, UNKNOWN, bare_pace, capital, short_day
from dawnbeat.training import resting, zone_store
from dawnbeat.training.maximum import KIND_WORDS, Maximum
from dawnbeat.training.zone_store import Standing, Threshold, ZoneSet
from dawnbeat.training.zones import RESTING_HIGH, RESTING_LOW, Anchors
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext, View
from dawnbeat.ui.window.parts.controls import ComboBox, SpinBox, label, named, on_key
from dawnbeat.ui.window.parts.layouts import column_of, flow_of, row_of, stack, turn
from dawnbeat.ui.window.parts.tables import give_tip, plain_table, write_rows
from dawnbeat.ui.window.zones.entries import (
    CountDialog,
    MaximumDialog,
    ThresholdDialog,
    enter_zones,
    keep_maximum,
    keep_threshold,
)

AS_SAVED, FROM_JOURNAL, ENTERED = "as saved", "from the journal", "entered"
_WHERE = "Zones"


class PulsesPanel(View):
    """changed: another resting pulse was chosen here. What is kept in the journal comes by `refresh`."""

    changed = Signal()

    def __init__(self, context: AppContext, today: Callable[[], date]) -> None:
        super().__init__(context)
        self._today = today
        self.known = Standing(None, None, None)
        self._kept: ZoneSet | None = None
        self._maxima: Sequence[Maximum] = ()
        self._thresholds: Sequence[Threshold] = ()
        self.resting_from = named(ComboBox(), "Resting pulse", "Which resting pulse the zones use")
        spin = SpinBox(minimum=int(RESTING_LOW), maximum=int(RESTING_HIGH), value=60, suffix=" bpm")
        tip = "Your resting pulse, counted lying still before getting up"
        self.resting = named(spin, "Resting pulse entered, in bpm", tip)
        self.resting_words = label("small", "Where the resting pulse comes from")
        self.maxima = plain_table(("Day", "Maximum", "Where from", "Note"), "Maxima", most=4)
        self.maxima_words = label("small", "Which maximum counts")
        self.thresholds = plain_table(("Day", "Pulse", "Pace", "Note"), "Threshold pulses", most=4)
        self.thresholds_words = label("small", "Which threshold pulse counts")
        give = partial(controls.button, where=_WHERE)
        self.add_maximum = give("Add…", "M", "Enter a measured maximum, or one by age", self.ask_maximum)
        self.count_button = give("Count by hand…", "H", "Count your pulse for 30 seconds, with a timer", self.ask_count)
        tip = "Remove the selected maximum; Ctrl+Z brings it back"
        self.drop_maximum = give("Remove", "Ctrl+Shift+M", tip, self.remove_maximum)
        self.add_threshold = give("Add…", "T", "Enter a threshold pulse", self.ask_threshold)
        tip = "Remove the selected threshold pulse"
        self.drop_threshold = give("Remove", "Ctrl+Shift+T", tip, self.remove_threshold)
        for table, does in ((self.maxima, self.remove_maximum), (self.thresholds, self.remove_threshold)):
            table.setAccessibleDescription("Delete removes the selected entry.")
            table.itemSelectionChanged.connect(self._selected)
            on_key(table, "Del", does)
        for button, words in (
            (self.add_maximum, "Add a maximum"),
            (self.drop_maximum, "Remove the selected maximum"),
            (self.add_threshold, "Add a threshold pulse"),
            (self.drop_threshold, "Remove the selected threshold pulse"),
        ):
            button.setAccessibleName(words)
        self._lay_out()
        self.resting_from.activated.connect(lambda _: self._chosen())
        self.resting.valueChanged.connect(lambda _: self.changed.emit())

    # Showing

    def refresh(
        self,
        known: Standing,
        kept: ZoneSet | None,
        maxima: Sequence[Maximum],
        thresholds: Sequence[Threshold],
    ) -> None:
        """Show what the journal knows; the choice of the resting pulse stays where it can."""
        self.known, self._kept, self._maxima, self._thresholds = known, kept, maxima, thresholds
        self._offer()
        self._fill()

    @property
    def resting_choice(self) -> str:
        """AS_SAVED, FROM_JOURNAL or ENTERED."""
        return str(self.resting_from.currentData())

    def resting_bpm(self) -> float | None:
        """The resting pulse chosen here."""
        if self.resting_choice == ENTERED:
            return float(self.resting.value())
        if self.resting_choice == AS_SAVED and self._kept is not None:
            return self._kept.zones.anchors.resting_bpm
        return None if self.known.resting is None else self.known.resting.bpm

    def anchors(self) -> Anchors:
        """All three pulses; raises DawnbeatError where they can't be right together."""
        kept = Anchors() if self._kept is None else self._kept.zones.anchors
        maximum = kept.maximum_bpm if self.known.maximum is None else self.known.maximum.counts_as_bpm
        threshold = kept.threshold_bpm if self.known.threshold is None else self.known.threshold.bpm
        return Anchors(self.resting_bpm(), maximum, threshold)

    def choose_resting(self, choice: str) -> None:
        """Choose where the resting pulse comes from, where that is on offer."""
        place = self.resting_from.findData(choice)
        if place >= 0:
            self.resting_from.setCurrentIndex(place)
            self._chosen()

    # Changing

    def ask_count(self) -> CountDialog:
        """Open the dialog with the timer."""
        journal = self.context.journal
        dialog = CountDialog(self.context, self._today(), resting.hand_counts(journal), self._keep_count, self)
        dialog.open()
        return dialog

    def _keep_count(self, day: date, beats: int) -> None:
        journal, kept, words = self.context.journal, [0], f"add the count of {2 * beats} bpm"

        def forth() -> None:
            kept[0] = resting.add_hand_count(journal, day, beats)

        if self.context.do(words, forth, lambda: resting.remove_hand_count(journal, kept[0])):
            found = resting.from_hand_counts(resting.hand_counts(journal), self._today())
            said = "three mornings make a resting pulse" if found is None else f"resting pulse {found.label}"
            self.context.say(f"Saved: {2 * beats} bpm counted on {short_day(day)}; {said}.")

    def ask_maximum(self, proposed: Maximum | None = None) -> MaximumDialog:
        """Open the dialog; one proposed by a run comes filled in."""
        today = self._today()
        keep = partial(keep_maximum, self.context, today=today)
        dialog = MaximumDialog(self.context, today, keep, self, proposed)
        dialog.open()
        return dialog

    def ask_threshold(self) -> ThresholdDialog:
        """Open the dialog."""
        today = self._today()
        dialog = ThresholdDialog(self.context, today, partial(keep_threshold, self.context, today=today), self)
        dialog.open()
        return dialog

    def remove_maximum(self) -> None:
        """Remove the selected maximum."""
        row = self.maxima.currentRow()
        if 0 <= row < len(self._maxima) and (entry_id := self._maxima[row].id) is not None:
            enter_zones(
                self.context,
                f"remove the maximum of {self._maxima[row].counts_as_bpm:.0f} bpm",
                lambda: zone_store.remove_maximum(self.context.journal, entry_id, self._today()),
            )

    def remove_threshold(self) -> None:
        """Remove the selected threshold pulse."""
        row = self.thresholds.currentRow()
        if 0 <= row < len(self._thresholds) and (entry_id := self._thresholds[row].id) is not None:
            enter_zones(
                self.context,
                f"remove the threshold pulse of {self._thresholds[row].bpm:.0f} bpm",
                lambda: zone_store.remove_threshold(self.context.journal, entry_id, self._today()),
            )

    # Inside

    def _chosen(self) -> None:
        self._say_resting()
        self.changed.emit()

    def _offer(self) -> None:
        """Which resting pulses there are to choose from."""
        before = self.resting_choice if self.resting_from.count() else ""
        kept = None if self._kept is None else self._kept.zones.anchors.resting_bpm
        known = self.known.resting
        from_journal = "not known yet" if known is None else f"{known.bpm:.0f} bpm, from the journal"
        offers = [] if kept is None else [(f"{kept:.0f} bpm, as saved", AS_SAVED)]
        self.resting_from.offer([*offers, (from_journal, FROM_JOURNAL), ("entered", ENTERED)])
        if before == ENTERED:
            self.resting_from.setCurrentIndex(self.resting_from.findData(ENTERED))
        self._say_resting()

    def _say_resting(self) -> None:
        choice = self.resting_choice
        self.resting.setVisible(choice == ENTERED)
        if choice == AS_SAVED and self._kept is not None:
            said = f"Of the zones in force since {short_day(self._kept.from_date)}."
            if self.known.resting is not None:
                said += f" The journal says {self.known.resting.label}."
        elif choice == ENTERED:
            said = "Counted by you. The mornings of the journal are more reliable, as they are many."
        elif self.known.resting is not None:
            said = f"{capital(self.known.resting.label)}."
        else:
            said = "It takes three usable mornings in one posture, or three counts by hand; or choose “entered”."
        self.resting_words.setText(said)

    def _fill(self) -> None:
        counts = self.known.maximum
        rows: list[tuple[str, ...]] = []
        for each in self._maxima:
            added = f", {each.added_bpm} added" if each.added_bpm else ""
            counted = ", counts" if counts is not None and each.id == counts.id else ""
            bpm = f"{each.counts_as_bpm:.0f} bpm{added}{counted}"
            rows.append((each.date.isoformat(), bpm, each.kind, each.note))
        write_rows(self.maxima, rows)
        self.maxima.setVisible(bool(rows))
        for row, each in enumerate(self._maxima):
            give_tip(self.maxima, row, 2, KIND_WORDS[each.kind])
        if counts is None:
            said = "None yet. The best is one measured in a race or a test; a formula by age is a last resort."
        elif counts.measured:
            said = f"Counts now: {counts.label}. The highest measured in the last three years counts."
        else:
            said = (
                f"Counts now: {counts.label}, by a formula of age. Its standard error is 10 to 12 bpm, so zones may be "
                "well off; a measured maximum is better."
            )
        self.maxima_words.setText(said)
        rows = []
        units = zone_store.chosen_units(self.context.journal)
        for entry in self._thresholds:
            known = entry.pace_s_per_km is not None
            pace = bare_pace(1000.0, entry.pace_s_per_km or 0.0, units) if known else UNKNOWN
            rows.append((entry.date.isoformat(), f"{entry.bpm:.0f} bpm", pace, entry.note))
        self.thresholds.setHorizontalHeaderLabels(["Day", "Pulse", f"Pace, {PACE_UNIT[units]}", "Note"])
        write_rows(self.thresholds, rows)
        self.thresholds.setVisible(bool(rows))
        newest = self.known.threshold
        self.thresholds_words.setText(
            "None yet: the mean pulse of the last 20 minutes of a 30-minute test."
            if newest is None
            else f"Counts now: {newest.bpm:.0f} bpm of {short_day(newest.date)}, the newest."
        )
        self._selected()

    def _selected(self) -> None:
        self.drop_maximum.setEnabled(self.maxima.currentRow() >= 0 and bool(self._maxima))
        self.drop_threshold.setEnabled(self.thresholds.currentRow() >= 0 and bool(self._thresholds))

    def _lay_out(self) -> None:
        resting_pulse = flow_of(self.resting_from, self.resting)
        maximum_tools = flow_of(self.add_maximum, self.drop_maximum)
        threshold_tools = flow_of(self.add_threshold, self.drop_threshold)
        columns = (
            ("Resting pulse", 5, (resting_pulse, self.resting_words, flow_of(self.count_button))),
            ("Maximum", 8, (self.maxima_words, self.maxima, maximum_tools)),
            ("Threshold pulse", 7, (self.thresholds_words, self.thresholds, threshold_tools)),
        )
        self._columns = row_of(
            *((column_of(label("soft", words, words), *parts, None, gap=6), share) for words, share, parts in columns),
            gap=20,
        )
        stack(self, self._columns)

    def arrange(self) -> None:
        """Beside one another where there is room, else one below the other."""
        turn(self._columns, self.width() >= self.context.theme.px(1300))
