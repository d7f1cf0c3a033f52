"""The tables of the journal, and what brings older schemas to newer ones, those before the first release included."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from typing import Any

from dawnbeat.journal.columns import COLUMNS, FIRST_SCHEMA, Column

# "DAWN" in ASCII; tells a journal from any other SQLite file.
APPLICATION_ID = 0x4441574E

_TABLES = (
    """CREATE TABLE analysed_with (
        id INTEGER PRIMARY KEY,
        version TEXT NOT NULL,
        settings_json TEXT NOT NULL,
        UNIQUE (version, settings_json)
    )""",
    "CREATE INDEX readings_by_date ON readings (local_date, id)",
    """CREATE TABLE intervals (
        reading_id INTEGER NOT NULL REFERENCES readings (id) ON DELETE CASCADE,
        position INTEGER NOT NULL,
        start_s REAL NOT NULL,
        interval_ms REAL NOT NULL,
        kept INTEGER NOT NULL,
        reason TEXT,
        PRIMARY KEY (reading_id, position),
        CHECK (kept = (reason IS NULL))
    ) WITHOUT ROWID""",
    """CREATE TABLE hand_counts (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        local_date TEXT NOT NULL,
        beats_in_30_s INTEGER NOT NULL,
        saved_at TEXT NOT NULL
    )""",
    """CREATE TABLE runs (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        local_date TEXT NOT NULL,
        began TEXT NOT NULL,
        began_utc_s INTEGER NOT NULL,
        elapsed_s REAL NOT NULL,
        duration_s REAL NOT NULL,
        measured_s REAL NOT NULL,
        missing_json TEXT NOT NULL,
        distance_m REAL,
        mean_bpm REAL,
        peak_bpm REAL,
        drift_pct REAL,
        ms_at_bpm BLOB NOT NULL,
        minutes BLOB,
        felt_effort REAL CHECK (felt_effort BETWEEN 0 AND 10),
        note TEXT NOT NULL,
        race INTEGER NOT NULL CHECK (race IN (0, 1)),
        sport TEXT NOT NULL DEFAULT 'running',
        counts INTEGER NOT NULL DEFAULT 1 CHECK (counts IN (0, 1)),
        notes_json TEXT NOT NULL DEFAULT '[]',
        talk TEXT,
        source TEXT NOT NULL,
        format TEXT NOT NULL,
        sha256 TEXT UNIQUE,
        saved_at TEXT NOT NULL,
        binned_at TEXT
    )""",
    "CREATE INDEX runs_by_date ON runs (local_date, began_utc_s)",
    "CREATE INDEX runs_by_start ON runs (began_utc_s)",
    """CREATE TABLE run_samples (
        run_id INTEGER PRIMARY KEY REFERENCES runs (id) ON DELETE CASCADE,
        samples BLOB NOT NULL
    )""",
    """CREATE TABLE run_marks (
        run_id INTEGER NOT NULL REFERENCES runs (id) ON DELETE CASCADE,
        position INTEGER NOT NULL,
        kind TEXT NOT NULL,
        start_s REAL NOT NULL,
        end_s REAL NOT NULL,
        overruled INTEGER NOT NULL CHECK (overruled IN (0, 1)),
        PRIMARY KEY (run_id, position)
    ) WITHOUT ROWID""",
    """CREATE TABLE maxima (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        local_date TEXT NOT NULL,
        kind TEXT NOT NULL,
        bpm REAL NOT NULL,
        added_bpm INTEGER NOT NULL,
        note TEXT NOT NULL,
        run_id INTEGER REFERENCES runs (id) ON DELETE SET NULL,
        saved_at TEXT NOT NULL
    )""",
    """CREATE TABLE thresholds (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        local_date TEXT NOT NULL,
        bpm REAL NOT NULL,
        pace_s_per_km REAL,
        note TEXT NOT NULL,
        run_id INTEGER REFERENCES runs (id) ON DELETE SET NULL,
        saved_at TEXT NOT NULL
    )""",
    """CREATE TABLE zone_sets (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        from_date TEXT NOT NULL UNIQUE,
        scheme_json TEXT NOT NULL,
        resting_bpm REAL,
        maximum_bpm REAL,
        threshold_bpm REAL,
        why TEXT NOT NULL,
        saved_at TEXT NOT NULL
    )""",
    """CREATE TABLE training_settings (
        name TEXT PRIMARY KEY,
        value_json TEXT NOT NULL
    ) WITHOUT ROWID""",
    """CREATE TABLE hand_edits (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        reading_id INTEGER NOT NULL REFERENCES readings (id) ON DELETE CASCADE,
        changes_json TEXT NOT NULL,
        before_json TEXT NOT NULL,
        analysed_with INTEGER NOT NULL,
        made_at TEXT NOT NULL,
        taken_back_at TEXT
    )""",
    "CREATE INDEX hand_edits_by_reading ON hand_edits (reading_id, id)",
)

# Entry n brings a journal from schema FIRST_SCHEMA + n to the next, beside the columns of a reading that are new in it
# (`since`). Entries are never edited once released, only added.
LATER: tuple[tuple[str, ...], ...] = ()


def steps(columns: Sequence[Column] = COLUMNS, later: Sequence[tuple[str, ...]] = LATER) -> tuple[tuple[str, ...], ...]:
    """The statements that make the first schema, and those that bring each schema to the next."""
    newest = max([FIRST_SCHEMA + len(later), *(each.since for each in columns)])
    made = [_first_schema([each for each in columns if each.since == FIRST_SCHEMA])]
    for number in range(FIRST_SCHEMA + 1, newest + 1):
        new = [_adding(each) for each in columns if each.since == number and each.part != "derived"]
        made.append((*new, *(later[number - FIRST_SCHEMA - 1] if number - FIRST_SCHEMA <= len(later) else ())))
    return tuple(made)


def _first_schema(columns: Sequence[Column]) -> tuple[str, ...]:
    def defined(*parts: str) -> str:
        return ",\n        ".join(each.definition for each in columns if each.part in parts)

    return (
        f"""CREATE TABLE readings (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        {defined("taken", "analysed")},
        saved_at TEXT NOT NULL,
        analysed_with INTEGER NOT NULL REFERENCES analysed_with (id)
    )""",
        f"""CREATE TABLE context (
        reading_id INTEGER PRIMARY KEY REFERENCES readings (id) ON DELETE CASCADE,
        {defined("context")}
    )""",
        *_TABLES,
    )


def _adding(column: Column) -> str:
    table = "context" if column.part == "context" else "readings"
    return f"ALTER TABLE {table} ADD COLUMN {column.definition}"


STEPS = steps()
SCHEMA = FIRST_SCHEMA + len(STEPS) - 1


def convert(connection: sqlite3.Connection, first: Sequence[str]) -> None:
    """Bring a journal of the time before the first release to the first schema; nothing in it is lost.

    Columns and tables that it lacks are added. Reasons were sentences then: each becomes a finding that keeps it, in
    the readings and in what edits by hand would bring back.
    """
    connection.execute("ALTER TABLE readings RENAME COLUMN reasons_json TO findings")
    model = sqlite3.connect(":memory:")
    try:
        for statement in first:
            model.execute(statement)
        wanted = model.execute("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL").fetchall()
        there = {name for (name,) in connection.execute("SELECT name FROM sqlite_master")}
        for kind, name, sql in wanted:
            if name not in there:
                connection.execute(sql)
            elif kind == "table" and not name.startswith("sqlite_"):
                has = {row[1] for row in connection.execute(f"PRAGMA table_info({name})")}
                for definition in _definitions(model, name):
                    if definition.split()[0] not in has:
                        connection.execute(f"ALTER TABLE {name} ADD COLUMN {definition}")
    finally:
        model.close()
    for reading_id, usable, reasons in connection.execute("SELECT id, usable, findings FROM readings").fetchall():
        connection.execute(
            "UPDATE readings SET findings = :findings, pulse_usable = :pulse_usable, irregular = :irregular"
            " WHERE id = :id",
            {"id": reading_id, **_verdict_of(usable, reasons)},
        )
    for edit_id, before_json in connection.execute("SELECT id, before_json FROM hand_edits").fetchall():
        before = json.loads(before_json)
        before |= _verdict_of(before["usable"], before.pop("reasons_json"))
        connection.execute("UPDATE hand_edits SET before_json = ? WHERE id = ?", (json.dumps(before), edit_id))


def _verdict_of(usable: int, reasons_json: str) -> dict[str, Any]:
    """The columns of a verdict that was stored as sentences, or as one object.

    A sentence becomes the code of a finding, since a code that nobody knows is shown as it stands.
    """
    told = json.loads(reasons_json)
    if isinstance(told, list):
        # Before there were two verdicts, what was usable was so in both.
        told = {
            "pulse_usable": usable,
            "irregular": False,
            "findings": [{"code": sentence, "values": {}} for sentence in told],
        }
    return {
        "pulse_usable": int(told["pulse_usable"]),
        "irregular": int(told["irregular"]),
        "findings": json.dumps(told["findings"]),
    }


def _definitions(model: sqlite3.Connection, table: str) -> list[str]:
    """Each column of a table as ALTER TABLE ADD COLUMN takes it."""
    told = {each.sql_name: each.definition for each in COLUMNS} if table in ("readings", "context") else {}
    found = []
    for _, name, kind, not_null, default, _ in model.execute(f"PRAGMA table_info({table})"):
        plain = f"{name} {kind}{' NOT NULL' if not_null else ''}{f' DEFAULT {default}' if default is not None else ''}"
        found.append(told.get(name, plain))
    return found
