"""The list of runs: what each column shows, edits in place, the bin; and the changes that Ctrl+Z takes back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QPushButton

from dawnbeat.shared.checked_fields import one_of
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import PACE_UNIT, Units, bare_pace, clock, long_day, number, percent, short_day, way
from dawnbeat.training import run_store, zone_store
from dawnbeat.training.periods import JudgedRun
from dawnbeat.training.run import TALKS, Run
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.journal_table import RowsTable
from dawnbeat.ui.window.parts.rows import Column, RowsModel, all_rows

ALL, WITH_PULSE, WITHOUT_PULSE, RACES, UNRATED = "all runs", "with pulse", "without pulse", "races", "not rated yet"
KINDS: dict[str, Callable[[Sequence[JudgedRun]], Sequence[JudgedRun]]] = {
    ALL: all_rows,
    WITH_PULSE: lambda rows: [each for each in rows if each.run.has_pulse],
    WITHOUT_PULSE: lambda rows: [each for each in rows if not each.run.has_pulse],
    RACES: lambda rows: [each for each in rows if each.run.race],
    UNRATED: lambda rows: [each for each in rows if each.run.felt_effort is None],
}
_EMPTY = (
    "No runs yet. Drop files or folders here, press “Import…” (Ctrl+O), or enter a run by hand (N). FIT, TCX, "
    "GPX and CSV are read; nothing leaves this computer."
)
NO_ZONES = "No zones yet: the page Zones says what is missing."


def _easy_hint(each: JudgedRun) -> str:
    if each.judged is None or each.zone_set is None:
        return ""
    older = ", the first there are" if each.before_sets else ""
    begun = each.zone_set.from_date.isoformat()
    return f"at or below {each.judged.top_of_easy_bpm} bpm, by the zones from {begun} on{older}"


def _missing(each: JudgedRun) -> float:
    figures = each.run.figures
    return 0.0 if figures.duration_s <= 0 else 1 - figures.measured_s / figures.duration_s


def _missing_hint(each: JudgedRun) -> str:
    if not each.run.has_pulse:
        return ""
    parts = (f"{kind} {clock(seconds)}" for kind, seconds in each.run.figures.missing_s.items())
    return "; ".join(parts) or "nothing is missing"


def _pace_s(each: JudgedRun) -> float:
    figures = each.run.figures
    # Slower is greater; no distance comes last.
    return figures.duration_s / figures.distance_m if figures.distance_m else float("inf")


def _what(each: JudgedRun) -> str:
    """What the row is, where it is no plain run that counts."""
    return "" if each.run.counts else "not counted"


def _figure(
    title: str,
    tip: str,
    value: Callable[[JudgedRun], float | None],
    shown: Callable[[float | None], str],
    widest: str,
    hint: Callable[[JudgedRun], str] | None = None,
    item: str = "",
    stays: bool = False,
) -> Column[JudgedRun]:
    def key(each: JudgedRun) -> float:
        found = value(each)
        return float("-inf") if found is None else found

    return Column(title, tip, lambda e: shown(value(e)), key, item, None, True, widest, stays, hint)


_BEFORE: tuple[Column[JudgedRun], ...] = (
    Column(
        "Day",
        "the day of the run, by the clock of the place",
        lambda e: e.run.local_date.isoformat(),
        lambda e: e.run.began.timestamp(),
        hint=lambda e: f"{long_day(e.run.local_date)} (Enter opens it)",
    ),
    Column(
        "What",
        "what does not count as a run in weeks, months and findings",
        _what,
        _what,
        hint=lambda e: "" if e.run.counts else f"{e.run.sport}: open it to let it count as a run after all",
    ),
    Column(
        "Began",
        "when it began, local time",
        lambda e: f"{e.run.began:%H:%M}",
        lambda e: f"{e.run.began:%H:%M}",
        right=True,
    ),
    _figure("Time", "duration without pauses", lambda e: e.run.figures.duration_s, clock, "1:02:30"),
)


def _ways(units: Units) -> tuple[Column[JudgedRun], ...]:
    return (
        _figure(
            units, "distance", lambda e: e.run.figures.distance_m, lambda way_m: way(way_m, units), "42.20", stays=True
        ),
        Column(
            PACE_UNIT[units],
            "pace without pauses",
            lambda e: bare_pace(e.run.figures.distance_m, e.run.figures.duration_s, units),
            _pace_s,
            right=True,
            widest="10:30",
        ),
    )


_AFTER: tuple[Column[JudgedRun], ...] = (
    _figure(
        "Pulse, bpm",
        "mean of the measured pulse; – where there is none",
        lambda e: e.run.figures.mean_bpm,
        number,
        "142",
        stays=True,
    ),
    _figure(
        "Easy",
        "share of the measured time at or below the top of easy of that day",
        lambda e: None if e.judged is None else e.judged.easy_share,
        percent,
        "100 %",
        _easy_hint,
        stays=True,
    ),
    _figure("Missing", "share of the duration without a pulse that counts", _missing, percent, "100 %", _missing_hint),
    _figure(
        "Felt, 0 to 10",
        "session rating: how hard the whole run felt, 0 to 10",
        lambda e: e.run.felt_effort,
        lambda felt: "" if felt is None else f"{felt:g}",
        "10",
        item="felt_effort",
    ),
    _figure(
        "Above easy",
        "measured time above the top of easy",
        lambda e: None if e.judged is None else e.judged.above_s,
        clock,
        "1:02:30",
    ),
    Column(
        "Race",
        "whether it was a race",
        lambda e: "yes" if e.run.race else "",
        lambda e: e.run.race,
        "race",
        ("no", "yes"),
    ),
    Column(
        "Note",
        "anything else",
        lambda e: e.run.note,
        lambda e: e.run.note.casefold(),
        "note",
        widest=16 * "n",
        hint=lambda e: e.run.note,
    ),
    Column("From", "the file it came from", lambda e: e.run.source or "by hand", lambda e: e.run.source),
)


def columns_for(units: Units) -> tuple[Column[JudgedRun], ...]:
    """All columns, with distance and pace in kilometres or miles."""
    return (*_BEFORE, *_ways(units), *_AFTER)


COLUMNS = columns_for("km")


class RunsTable(RowsTable[JudgedRun]):
    """All runs. read, read_bin: give them judged by the zones of their day."""

    def __init__(
        self, context: AppContext, read: Callable[[], Sequence[JudgedRun]], read_bin: Callable[[], Sequence[JudgedRun]]
    ) -> None:
        self._read, self._read_bin = read, read_bin
        self.miles_button = controls.button(
            "Miles", "", "Miles and min/mile instead of km and min/km, everywhere", self._choose_units, "Runs"
        )
        self.miles_button.setCheckable(True)
        model = RowsModel(COLUMNS, lambda each: each.run.id, self._edit, also=lambda e: long_day(e.run.local_date))
        super().__init__(context, model, KINDS, "run", "Runs", "a date, a weekday, a word of a note, a file", _EMPTY)

    def select_day(self, day: date) -> None:
        """Select the first run of a day, where it is shown."""
        row = next((row for row, each in enumerate(self.model.rows) if each.run.local_date == day), None)
        if row is not None:
            self.go_to(row)

    def more_tools(self) -> Sequence[QPushButton]:  # noqa: D102
        return [self.miles_button]

    def show_rows(self, rows: Sequence[JudgedRun]) -> None:
        """Show these, in the units chosen."""
        units = zone_store.chosen_units(self.context.journal)
        if self.miles_button.isChecked() != (units == "miles"):
            self.miles_button.setChecked(units == "miles")
            self.model.columns = columns_for(units)
            self.model.headerDataChanged.emit(Qt.Orientation.Horizontal, 0, len(self.model.columns) - 1)
        super().show_rows(rows)

    def _choose_units(self) -> None:
        units: Units = "miles" if self.miles_button.isChecked() else "km"
        # show_rows changes the columns where the button and the choice differ.
        self.miles_button.setChecked(units != "miles")
        with self.context.saying("Not changed: "):
            zone_store.set_setting(self.context.journal, "units", units)
        self.context.journal_changed.emit()

    def listed(self) -> Sequence[JudgedRun]:  # noqa: D102
        return self._read()

    def binned(self) -> Sequence[JudgedRun]:  # noqa: D102
        return self._read_bin()

    def bin_one(self, row: JudgedRun) -> None:  # noqa: D102
        run_store.put_in_bin(self.context.journal, row.run.id)

    def back_one(self, row: JudgedRun) -> None:  # noqa: D102
        run_store.restore_from_bin(self.context.journal, row.run.id)

    def named(self, row: JudgedRun) -> str:  # noqa: D102
        return f"the run of {short_day(row.run.local_date)}, {row.run.began:%H:%M}"

    def delete(self, rows: Sequence[JudgedRun]) -> int:  # noqa: D102
        return run_store.empty_bin(self.context.journal, [each.run.id for each in rows])

    def _edit(self, each: JudgedRun, column: Column[JudgedRun], text: str) -> bool:
        return change(self.context, each.run, column.item, text)


# Changes of single runs


def rating_from(text: str) -> float | None:
    """A session rating as typed, None for nothing; raises DawnbeatError for what is no number."""
    text = text.strip().replace(",", ".")
    if not text:
        return None
    try:
        return float(text)
    except ValueError as error:
        raise DawnbeatError(f"a felt effort of {text[:40]!r} is no number: give 0 to 10") from error


_TYPED: dict[str, Callable[[str], object]] = {
    "felt_effort": rating_from,
    "race": lambda text: text == "yes",
    "counts": lambda text: text == "yes",
    "talk": lambda text: one_of("talk", text, TALKS) if text else None,
    "note": str,
}


def change(context: AppContext, run: Run, item: str, text: str) -> bool:
    """Change felt_effort, race, counts, talk or note as typed, undoable; returns whether it was done."""
    journal = context.journal
    with context.saying("Not changed: "):
        after, before = _TYPED[item](text.strip()), getattr(run, item)
        if after == before:
            return False
        return context.do(
            f"change {item.replace('_', ' ')} of the run of {short_day(run.local_date)}",
            lambda: run_store.set_items(journal, run.id, **{item: after}),
            lambda: run_store.set_items(journal, run.id, **{item: before}),
        )
    return False


def overrule(context: AppContext, run: Run, number: int, overruled: bool) -> bool:
    """Let a marked pulse count after all, or no longer, undoable. number: of the mark, from 1."""
    journal = context.journal
    which = f"mark {number} of the run of {short_day(run.local_date)}"
    return context.do(
        f"overrule {which}" if overruled else f"let {which} hold again",
        lambda: run_store.overrule(journal, run.id, number, overruled),
        lambda: run_store.overrule(journal, run.id, number, not overruled),
    )
