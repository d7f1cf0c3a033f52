"""Dated maxima, threshold pulses and zone sets of the journal."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, TypeVar

from dawnbeat.journal.database import insert, journal_errors, utc_now
from dawnbeat.journal.store import Journal
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import UNITS, Units, short_day
from dawnbeat.training.maximum import Maximum, maximum_on
from dawnbeat.training.resting import RestingPulse, resting_pulse
from dawnbeat.training.run import check_note
from dawnbeat.training.run_figures import COEFFICIENTS, Coefficients
from dawnbeat.training.zones import (
    Anchors,
    Scheme,
    Zones,
    default_scheme,
    missing_for,
    scheme_from_json,
    scheme_to_json,
    zones,
)

WORTH_PROPOSING_BPM = 2
_TABLES = ("maxima", "thresholds", "zone_sets")
# Maxima, threshold pulses and zone sets as they are at a moment: the rows of each table, by id.
ZoneSnapshot = tuple[tuple[tuple[Any, ...], ...], ...]


@dataclass(frozen=True)
class Threshold:
    """A dated threshold pulse. pace_s_per_km: of the same test, or None. id: None until it is kept."""

    date: date
    bpm: float
    pace_s_per_km: float | None = None
    note: str = ""
    run_id: int | None = None
    id: int | None = None

    def __post_init__(self) -> None:
        Anchors(threshold_bpm=self.bpm)
        if self.pace_s_per_km is not None and not 100 <= self.pace_s_per_km <= 1800:
            raise DawnbeatError(f"a pace of {self.pace_s_per_km:g} s a km can't be right: give 100 to 1800")


_Entry = TypeVar("_Entry", Maximum, Threshold)


@dataclass(frozen=True)
class ZoneSet:
    """Zones in force from a day on, until the next set. why: one line that says what made it."""

    from_date: date
    zones: Zones
    why: str
    id: int | None = None


@dataclass(frozen=True)
class Standing:
    """What the journal knows on a day; any part may be None."""

    resting: RestingPulse | None
    maximum: Maximum | None
    threshold: Threshold | None

    @property
    def anchors(self) -> Anchors:
        """The same as bare figures."""
        return Anchors(
            None if self.resting is None else self.resting.bpm,
            None if self.maximum is None else self.maximum.counts_as_bpm,
            None if self.threshold is None else self.threshold.bpm,
        )


@dataclass(frozen=True)
class Proposal:
    """A new set that the mornings suggest. moved_bpm: how far the top of easy would move."""

    old: ZoneSet
    new: ZoneSet
    moved_bpm: int

    @property
    def words(self) -> str:
        """The proposal in one plain sentence or two."""
        before, after = self.old.zones.anchors.resting_bpm, self.new.zones.anchors.resting_bpm
        return (
            f"Your mornings now say a resting pulse of {after:.0f} instead of {before:.0f} bpm. "
            "With it the top of easy "
            f"would move from {self.old.zones.top_of_easy_bpm} to {self.new.zones.top_of_easy_bpm} bpm, from "
            f"{short_day(self.new.from_date)} on; earlier runs keep their zones."
        )


def standing(journal: Journal, day: date) -> Standing:
    """Resting pulse, maximum and threshold pulse as they stand on a day."""
    known = [each for each in thresholds(journal) if each.date <= day]
    return Standing(
        resting_pulse(journal, day),
        maximum_on(maxima(journal), day),
        known[-1] if known else None,
    )


def maxima(journal: Journal) -> list[Maximum]:
    """All dated maxima, by date."""
    return _entries(journal, Maximum, "maxima", "local_date AS date, kind, bpm, added_bpm, note, run_id, id")


def add_maximum(journal: Journal, entry: Maximum, today: date) -> ZoneSet | None:
    """Keep a maximum; where it changes the one that counts, a new zone set begins, which is returned.

    The set begins on the entry's own day, or today where a later set stands already: old runs keep theirs.
    """
    return _add(journal, "maxima", "save the maximum", entry, today)


def remove_maximum(journal: Journal, entry_id: int, today: date) -> ZoneSet | None:
    """Delete an entry made by mistake; a new zone set begins today where another maximum counts now."""
    missing = f"there is no maximum {entry_id}: list them with `dawnbeat runs maximum list`"
    return _remove(journal, "maxima", "remove the maximum", entry_id, missing, today)


def thresholds(journal: Journal) -> list[Threshold]:
    """All dated threshold pulses, by date."""
    return _entries(journal, Threshold, "thresholds", "local_date AS date, bpm, pace_s_per_km, note, run_id, id")


def add_threshold(journal: Journal, entry: Threshold, today: date) -> ZoneSet | None:
    """Keep a threshold pulse; zones that hang on it begin anew, as with `add_maximum`."""
    return _add(journal, "thresholds", "save the threshold pulse", entry, today)


def remove_threshold(journal: Journal, entry_id: int, today: date) -> ZoneSet | None:
    """Delete a threshold pulse entered by mistake, as `remove_maximum` does."""
    missing = f"there is no threshold pulse {entry_id}: look at the list again"
    return _remove(journal, "thresholds", "remove the threshold pulse", entry_id, missing, today)


def remove_zone_set(journal: Journal, set_id: int) -> None:
    """Delete a set kept by mistake; its days fall to the set before it, or else to the first."""
    with journal.transaction("remove the zones") as connection:
        if not connection.execute("DELETE FROM zone_sets WHERE id = ?", (set_id,)).rowcount:
            raise DawnbeatError(f"there are no zones number {set_id}: look at the list again")


def zone_sets(journal: Journal) -> list[ZoneSet]:
    """All zone sets, by the day they begin."""
    found = _rows(
        journal,
        "SELECT id, from_date, scheme_json, resting_bpm, maximum_bpm, threshold_bpm, why FROM "
        "zone_sets ORDER BY from_date",
    )
    return [
        ZoneSet(
            date.fromisoformat(row["from_date"]),
            zones(
                Anchors(row["resting_bpm"], row["maximum_bpm"], row["threshold_bpm"]),
                scheme_from_json(json.loads(row["scheme_json"])),
            ),
            row["why"],
            row["id"],
        )
        for row in found
    ]


def set_on(sets: Sequence[ZoneSet], day: date) -> ZoneSet | None:
    """The set in force on a day; for a day before all sets, the first of them."""
    known = [each for each in sets if each.from_date <= day]
    return known[-1] if known else sets[0] if sets else None


def keep_zone_set(journal: Journal, new: ZoneSet) -> ZoneSet:
    """Keep a set; one that began on the same day gives way to it."""
    with journal.transaction("save the zones") as connection:
        return _keep(connection, new)


def set_from_journal(journal: Journal, today: date, scheme: Scheme | None = None) -> ZoneSet:
    """The set that the journal would make today, not kept; by the scheme given, else the present one.

    Raises DawnbeatError when the journal lacks what the method needs.
    """
    known = standing(journal, today)
    if scheme is None:
        present = set_on(zone_sets(journal), today)
        scheme = present.zones.scheme if present is not None else default_scheme("heart-rate reserve")
    missing = missing_for(known.anchors, scheme.method)
    if missing:
        raise DawnbeatError(
            f"the journal does not hold {missing} yet: take morning readings for the resting pulse, add a maximum "
            "with `dawnbeat runs maximum add`, or give them, as in `dawnbeat zones --resting 50 --maximum 190`"
        )
    return ZoneSet(today, zones(known.anchors, scheme), why_words(known))


def present_sets(journal: Journal, today: date) -> list[ZoneSet]:
    """The kept sets; where none is kept, the one that the journal would make today, or nothing."""
    kept = zone_sets(journal)
    if kept:
        return kept
    try:
        return [set_from_journal(journal, today)]
    except DawnbeatError:
        return []


def proposal(journal: Journal, today: date) -> Proposal | None:
    """A new set where the resting pulse of the mornings has moved the top of easy by two beats or more."""
    old = set_on(zone_sets(journal), today)
    resting = resting_pulse(journal, today)
    if old is None or resting is None or old.zones.scheme.method != "heart-rate reserve":
        return None
    new = zones(replace(old.zones.anchors, resting_bpm=resting.bpm), old.zones.scheme)
    moved = new.top_of_easy_bpm - old.zones.top_of_easy_bpm
    if abs(moved) < WORTH_PROPOSING_BPM:
        return None
    return Proposal(old, ZoneSet(today, new, f"resting pulse {resting.label}"), moved)


def setting(journal: Journal, name: str, default: Any = None) -> Any:
    """A setting of the runner, such as "coefficients"."""
    found = _rows(journal, "SELECT value_json FROM training_settings WHERE name = ?", name)
    return json.loads(found[0][0]) if found else default


def set_setting(journal: Journal, name: str, value: Any) -> None:
    """Keep a setting of the runner; the value must be plain enough for JSON."""
    with journal.transaction("save the setting") as connection:
        insert(connection, "training_settings", {"name": name, "value_json": json.dumps(value)}, or_replace=True)


def chosen_units(journal: Journal) -> Units:
    """Kilometres or miles, as the runner chose for this journal."""
    found = setting(journal, "units", UNITS[0])
    return found if found in UNITS else UNITS[0]


def chosen_coefficients(journal: Journal) -> Coefficients | None:
    """Women's or men's coefficients, as the runner chose; None while that was never asked."""
    found = setting(journal, "coefficients")
    return found if found in COEFFICIENTS else None


def why_words(known: Standing, entered_resting_bpm: float | None = None, kept_resting_bpm: float | None = None) -> str:
    """One line that says what a set of zones rests on.

    entered_resting_bpm: typed by the runner; kept_resting_bpm: taken over from the set before; else the journal's.
    """
    parts = []
    if entered_resting_bpm is not None:
        parts.append(f"resting pulse {entered_resting_bpm:.0f} bpm, entered")
    elif kept_resting_bpm is not None:
        parts.append(f"resting pulse {kept_resting_bpm:.0f} bpm as before")
    elif known.resting is not None:
        parts.append(f"resting pulse {known.resting.label}")
    if known.maximum is not None:
        parts.append(f"maximum {known.maximum.label}")
    if known.threshold is not None:
        parts.append(f"threshold pulse {known.threshold.bpm:.0f} bpm of {short_day(known.threshold.date)}")
    return "; ".join(parts)


def snapshot(journal: Journal) -> ZoneSnapshot:
    """What zones rest on, as it stands now."""
    with journal_errors("read the journal", journal.path):
        return _table_rows(journal.connection)


def restore(journal: Journal, wanted: ZoneSnapshot, expected: ZoneSnapshot) -> None:
    """Put everything back as it was in `wanted`, ids included.

    expected: what must be there now. Raises DawnbeatError, with nothing changed, where it is not, as when
    another program has added a maximum meanwhile.
    """
    with journal.transaction("put the zones back") as connection:
        if _table_rows(connection) != expected:
            raise DawnbeatError("the zones have changed elsewhere since then: look at them again; nothing was undone")
        for table, rows in zip(_TABLES, wanted, strict=True):
            connection.execute(f"DELETE FROM {table}")
            if rows:
                connection.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * len(rows[0]))})", rows)


def _entries(journal: Journal, kind: type[_Entry], table: str, columns: str) -> list[_Entry]:
    found = _rows(journal, f"SELECT {columns} FROM {table} ORDER BY local_date, id")
    return [kind(**{**row, "date": date.fromisoformat(row["date"])}) for row in found]


def _add(journal: Journal, table: str, doing: str, entry: Maximum | Threshold, today: date) -> ZoneSet | None:
    check_note(entry.note)
    if entry.date > today:
        raise DawnbeatError(f"{entry.date.isoformat()} lies in the future: give the day of the measurement")
    before = standing(journal, today)
    values = {name: value for name, value in vars(entry).items() if name not in ("date", "id")}
    values |= {"local_date": entry.date.isoformat(), "saved_at": utc_now()}
    with journal.transaction(doing) as connection:
        insert(connection, table, values)
        return _renew(journal, connection, before, entry.date, today)


def _remove(journal: Journal, table: str, doing: str, entry_id: int, missing: str, today: date) -> ZoneSet | None:
    before = standing(journal, today)
    with journal.transaction(doing) as connection:
        if not connection.execute(f"DELETE FROM {table} WHERE id = ?", (entry_id,)).rowcount:
            raise DawnbeatError(missing)
        return _renew(journal, connection, before, today, today)


def _renew(
    journal: Journal, connection: sqlite3.Connection, before: Standing, entry_day: date, today: date
) -> ZoneSet | None:
    """Begin a new set, inside the transaction at hand, where maximum or threshold pulse have changed."""
    known = standing(journal, today)
    kept = zone_sets(journal)
    scheme = kept[-1].zones.scheme if kept else default_scheme("heart-rate reserve")
    old, new = before.anchors, known.anchors
    changed = (old.maximum_bpm, old.threshold_bpm) != (new.maximum_bpm, new.threshold_bpm)
    why = why_words(known)
    if kept and (resting := kept[-1].zones.anchors.resting_bpm) is not None:
        # A resting pulse is never changed in passing: that is what proposals are for.
        new = replace(new, resting_bpm=resting)
        why = why_words(known, kept_resting_bpm=resting)
    if not changed or missing_for(new, scheme.method):
        return None
    begins = entry_day if not kept or entry_day > kept[-1].from_date else max(today, kept[-1].from_date)
    return _keep(connection, ZoneSet(begins, zones(new, scheme), why))


def _keep(connection: sqlite3.Connection, new: ZoneSet) -> ZoneSet:
    values = {
        "from_date": new.from_date.isoformat(),
        "scheme_json": json.dumps(scheme_to_json(new.zones.scheme)),
        **vars(new.zones.anchors),
        "why": new.why,
        "saved_at": utc_now(),
    }
    return replace(new, id=insert(connection, "zone_sets", values, or_replace=True))


def _rows(journal: Journal, query: str, *values: Any) -> list[sqlite3.Row]:
    with journal_errors("read the journal", journal.path):
        return journal.connection.execute(query, values).fetchall()


def _table_rows(connection: sqlite3.Connection) -> ZoneSnapshot:
    return tuple(tuple(map(tuple, connection.execute(f"SELECT * FROM {table} ORDER BY id"))) for table in _TABLES)
