"""The tables, how older journals are brought up to date, and the check before a journal is used."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from dawnbeat.journal.faults import damaged, is_damage
from dawnbeat.journal.place import BACKUPS, FILE_MODE, RECORDINGS, private_folder, sync_file, sync_folder
from dawnbeat.shared.errors import DawnbeatError, one_line

# "DAWN" in ASCII; tells a journal from any other SQLite file.
APPLICATION_ID = 0x4441574E

Migration = tuple[str, ...]

_VERSION_1: Migration = (
    """CREATE TABLE analysed_with (
        id INTEGER PRIMARY KEY,
        version TEXT NOT NULL,
        settings_json TEXT NOT NULL,
        UNIQUE (version, settings_json)
    )""",
    """CREATE TABLE readings (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        uid TEXT NOT NULL UNIQUE,
        local_date TEXT NOT NULL,
        began TEXT NOT NULL,
        duration_s REAL NOT NULL,
        posture TEXT NOT NULL CHECK (posture IN ('lying', 'sitting', 'standing')),
        camera TEXT NOT NULL,
        frame_rate_hz REAL,
        channel TEXT,
        mean_hr_bpm REAL, mean_hr_bpm_low REAL, mean_hr_bpm_high REAL,
        mean_nn_ms REAL,
        sdnn_ms REAL, sdnn_ms_low REAL, sdnn_ms_high REAL,
        rmssd_ms REAL, rmssd_ms_low REAL, rmssd_ms_high REAL,
        ln_rmssd REAL, ln_rmssd_low REAL, ln_rmssd_high REAL,
        sdsd_ms REAL,
        nn50 INTEGER,
        pnn50_pct REAL,
        cv_nn_pct REAL,
        min_nn_ms REAL,
        max_nn_ms REAL,
        sd1_ms REAL,
        sd2_ms REAL,
        kept_beats INTEGER NOT NULL,
        kept_share REAL,
        timing_error_ms REAL,
        usable INTEGER NOT NULL CHECK (usable IN (0, 1)),
        reasons_json TEXT NOT NULL,
        recording TEXT,
        picked INTEGER NOT NULL DEFAULT 0 CHECK (picked IN (0, 1)),
        saved_at TEXT NOT NULL,
        binned_at TEXT,
        analysed_with INTEGER NOT NULL REFERENCES analysed_with (id)
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
    """CREATE TABLE context (
        reading_id INTEGER PRIMARY KEY REFERENCES readings (id) ON DELETE CASCADE,
        sleep INTEGER CHECK (sleep BETWEEN 1 AND 7),
        stress INTEGER CHECK (stress BETWEEN 1 AND 7),
        fatigue INTEGER CHECK (fatigue BETWEEN 1 AND 7),
        soreness INTEGER CHECK (soreness BETWEEN 1 AND 7),
        hours_slept REAL CHECK (hours_slept BETWEEN 0 AND 24),
        ill INTEGER CHECK (ill IN (0, 1)),
        alcohol INTEGER CHECK (alcohol IN (0, 1)),
        yesterday_run TEXT,
        note TEXT
    )""",
    """CREATE TABLE hand_counts (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        local_date TEXT NOT NULL,
        beats_in_30_s INTEGER NOT NULL,
        saved_at TEXT NOT NULL
    )""",
)

_VERSION_2: Migration = (
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
        felt_effort REAL CHECK (felt_effort BETWEEN 0 AND 10),
        note TEXT NOT NULL,
        race INTEGER NOT NULL CHECK (race IN (0, 1)),
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
)

_VERSION_3: Migration = (
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

# Entry n brings a journal from schema n to n + 1. Entries are never edited once released, only added.
MIGRATIONS: tuple[Migration, ...] = (_VERSION_1, _VERSION_2, _VERSION_3)
SCHEMA = len(MIGRATIONS)


def connect(path: Path, busy_s: float) -> sqlite3.Connection:
    """Open or create the database file, 0600, waiting up to `busy_s` seconds for other programs' locks.

    SQLite gives its own side files the permissions of the main one.
    """
    # Only a file that isn't there is opened: closing one takes from this process all locks that it has on it
    # (POSIX), and another program would then delete the log that our other connections still write to.
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, FILE_MODE))
    path.chmod(FILE_MODE)
    connection = sqlite3.connect(path, timeout=busy_s, isolation_level=None)
    connection.execute("PRAGMA foreign_keys = ON")
    return connection


def check(connection: sqlite3.Connection, path: Path, newest: int = SCHEMA) -> int:
    """The schema version of a sound journal; 0 for a new, empty one. Writes nothing.

    Raises DawnbeatError when the file is damaged, is not a journal, or was written by a newer version.
    """
    try:
        found = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
        version = int(connection.execute("PRAGMA user_version").fetchone()[0])
        tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        application = connection.execute("PRAGMA application_id").fetchone()[0]
    except sqlite3.DatabaseError as error:
        if is_damage(error):
            raise DawnbeatError(damaged(path, error)) from error
        raise
    if found != "ok":
        raise DawnbeatError(damaged(path, found))
    if not tables:
        recordings = path.parent / RECORDINGS
        if recordings.is_dir() and any(recordings.iterdir()):
            # A new journal here would look as if the mornings had never been.
            raise DawnbeatError(
                f"the journal {one_line(path)} is missing or empty, though recordings lie beside it: restore "
                f"a backup with `dawnbeat restore`, or move the folder {RECORDINGS} away to begin a new "
                "journal"
            )
        return 0
    if application != APPLICATION_ID:
        raise DawnbeatError(f"{one_line(path)} is not a Dawnbeat journal: choose another folder")
    if version > newest:
        raise DawnbeatError(
            f"the journal {one_line(path)} has schema {version}, and this version of Dawnbeat knows up to "
            f"{newest}: install the newer version that wrote it; nothing was changed"
        )
    return version


def bring_up_to_date(
    connection: sqlite3.Connection, path: Path, migrations: Sequence[Migration] = MIGRATIONS
) -> list[Path]:
    """Run the missing migrations, each in one transaction and after a backup of its own.

    Returns the backups made; a new journal needs none. sqlite3.Error passes through, with the migration
    undone.
    """
    backups = []
    begun_empty = _version(connection) == 0
    while (version := _version(connection)) < len(migrations):
        if not begun_empty:
            backups.append(copy_aside(connection, path, f"before-schema-{version + 1}"))
        connection.execute("BEGIN IMMEDIATE")
        try:
            # Another process may have migrated while this one waited for the lock.
            if _version(connection) == version:
                for statement in migrations[version]:
                    connection.execute(statement)
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                connection.execute(f"PRAGMA user_version = {version + 1}")
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
    return backups


def copy_aside(connection: sqlite3.Connection, path: Path, why: str) -> Path:
    """A whole copy of the database in the backups folder, named by why and when, synced, 0600."""
    folder = path.parent / BACKUPS
    private_folder(folder)
    stamp = datetime.now(UTC).strftime("%Y-%m-%dT%H-%M-%S-%fZ")
    target = folder / f"journal-{why}-{stamp}.sqlite3"
    copy_whole(connection, target)
    sync_folder(folder)
    return target


def copy_whole(connection: sqlite3.Connection, target: Path) -> None:
    """SQLite online backup into one file without side files, synced, 0600."""
    copy = connect(target, busy_s=0)
    try:
        connection.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")
    finally:
        copy.close()
    sync_file(target)


def _version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA user_version").fetchone()[0])
