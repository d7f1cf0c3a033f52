"""The tables, how older journals are brought up to date, and the check before a journal is used."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from dawnbeat.journal.columns import COLUMNS, FIRST_SCHEMA, Column
from dawnbeat.journal.earlier_journals import convert
from dawnbeat.journal.faults import damaged, is_damage
from dawnbeat.journal.folder import BACKUPS, RECORDINGS
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.files import FILE_MODE, private_folder, sync_file, sync_folder

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

# What a journal of the time before the first release may hold besides.
_EARLIER_TABLES: frozenset[str] = frozenset()

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
    # Nothing that a journal brings along may run functions, should any be in it.
    connection.execute("PRAGMA trusted_schema = OFF")
    return connection


def connect_for_reading(path: Path, busy_s: float) -> sqlite3.Connection:
    """Open a journal where nothing may or can be written: not the database, not its folder.

    A journal that is older, or whose last changes still lie in the log, is read through a copy in memory. Raises
    DawnbeatError as `check` does, and where the file is empty.
    """
    log = path.with_name(f"{path.name}-wal")
    if log.exists() and log.stat().st_size:
        with tempfile.TemporaryDirectory(prefix="dawnbeat-") as folder:
            for each in (path, log):
                shutil.copyfile(each, Path(folder, each.name))
            connection = _in_memory(connect(Path(folder, path.name), busy_s))
    else:
        connection = sqlite3.connect(f"{path.absolute().as_uri()}?immutable=1", uri=True, isolation_level=None)
    try:
        version = check(connection, path)
        if version == 0:
            raise DawnbeatError(f"{one_line(path)} is empty, and a journal can't be begun there: choose another folder")
        if version < SCHEMA:
            connection = _in_memory(connection)
            bring_up_to_date(connection, None)
        connection.execute("PRAGMA query_only = ON")
    except BaseException:
        connection.close()
        raise
    return connection


def _in_memory(connection: sqlite3.Connection) -> sqlite3.Connection:
    """A copy that changes nothing on the disk; closes the original."""
    copy = sqlite3.connect(":memory:", isolation_level=None)
    try:
        connection.backup(copy)
    finally:
        connection.close()
    return copy


def check(connection: sqlite3.Connection, path: Path, steps: Sequence[tuple[str, ...]] = STEPS) -> int:
    """The schema version of a sound journal; 0 for a new, empty one. Writes nothing.

    Raises DawnbeatError when the file is damaged, is not a journal, was written by a newer version, or holds what no
    journal has: triggers, views, or other tables, which could do things that nobody asked for.
    """
    newest = FIRST_SCHEMA + len(steps) - 1
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
    strange = _strange(connection, steps)
    if strange is not None:
        raise DawnbeatError(
            f"{one_line(path)} holds {strange}, which no journal has, and was left as it is: restore a backup of your "
            "own"
        )
    return version


def _strange(connection: sqlite3.Connection, steps: Sequence[tuple[str, ...]]) -> str | None:
    """The first thing in a database that doesn't belong into a journal, in words."""
    model = sqlite3.connect(":memory:")
    try:
        for statement in (each for step in steps for each in step):
            model.execute(statement)
        known = set(model.execute("SELECT type, name FROM sqlite_master"))
    finally:
        model.close()
    known |= {("table", name) for name in _EARLIER_TABLES}
    for kind, name, sql in connection.execute("SELECT type, name, sql FROM sqlite_master"):
        if name.startswith("sqlite_"):
            # SQLite's own: nobody else can give such a name.
            continue
        if (kind, name) not in known or "VIRTUAL" in (sql or "").upper().split()[:2]:
            return f"a {kind} {one_line(name)!r}"
    return None


def bring_up_to_date(
    connection: sqlite3.Connection, path: Path | None, steps: Sequence[tuple[str, ...]] = STEPS
) -> list[Path]:
    """Make the tables of a new journal, or run the steps that an older one lacks, each in one transaction and after a
    backup of its own.

    path: None for a copy in memory, which needs no backup. Returns the backups made; a new journal needs none.
    sqlite3.Error passes through, with the step undone.
    """
    backups = []
    begun_empty = _version(connection) == 0
    while (version := _version(connection)) < FIRST_SCHEMA + len(steps) - 1:
        target = max(FIRST_SCHEMA, version + 1)
        if not begun_empty and path is not None:
            backups.append(copy_aside(connection, path, f"before-schema-{target}"))
        connection.execute("BEGIN IMMEDIATE")
        try:
            # Another process may have migrated while this one waited for the lock.
            if _version(connection) == version:
                if 0 < version < FIRST_SCHEMA:
                    convert(connection, steps[0])
                else:
                    for statement in steps[target - FIRST_SCHEMA]:
                        connection.execute(statement)
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                connection.execute(f"PRAGMA user_version = {target}")
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
