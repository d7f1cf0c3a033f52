"""The database file: opened, checked, brought up to date, copied, and what SQLite complains about in one plain line."""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from dawnbeat.journal.columns import FIRST_SCHEMA
from dawnbeat.journal.folder import BACKUPS, RECORDINGS
from dawnbeat.journal.schema import APPLICATION_ID, SCHEMA, STEPS, convert
from dawnbeat.shared.errors import DISK_FULL, FREE_SPACE, DawnbeatError, one_line, plain_errors
from dawnbeat.shared.files import FILE_MODE, private_folder, sync_file, sync_folder

_CLOSED = (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM)


@contextlib.contextmanager
def journal_errors(doing: str, path: Path) -> Iterator[None]:
    """Raise DawnbeatError in place of sqlite3.Error and OSError; `doing` completes "can't ..."."""
    try:
        with plain_errors(doing, path):
            yield
    except sqlite3.Error as error:
        raise DawnbeatError(_of_sqlite(doing, path, error)) from error


def is_damage(error: sqlite3.Error) -> bool:
    """True where SQLite says that the file itself is damaged or is no database."""
    return _primary_code(error) in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def is_locked(error: sqlite3.Error) -> bool:
    """True where another program holds the database."""
    return _primary_code(error) in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


def cant_write(error: Exception) -> bool:
    """True where the place can't be written to: it is full, read-only, or closed to us."""
    if isinstance(error, sqlite3.Error):
        return _primary_code(error) in (*_CLOSED, sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR)
    return isinstance(error, PermissionError) or (
        isinstance(error, OSError) and error.errno in (*DISK_FULL, errno.EROFS)
    )


def damaged(path: Path, why: object) -> str:
    """What to say about a journal file that is damaged."""
    return (
        f"the journal {one_line(path)} is damaged ({one_line(why)}) and was left as it is: "
        "restore a backup with `dawnbeat restore`, which keeps the damaged file aside; the recordings beside "
        "it are still there"
    )


def _primary_code(error: sqlite3.Error) -> int:
    code = getattr(error, "sqlite_errorcode", None)
    return code & 0xFF if isinstance(code, int) else sqlite3.SQLITE_ERROR


def _of_sqlite(doing: str, path: Path, error: sqlite3.Error) -> str:
    code = _primary_code(error)
    if is_locked(error):
        return (
            f"can't {doing}: another program is using the journal {one_line(path)}; close it, or wait until "
            "it is done, and try again"
        )
    if code == sqlite3.SQLITE_FULL:
        return f"can't {doing}: the disk that holds {one_line(path)} is full; {FREE_SPACE}"
    if code == sqlite3.SQLITE_IOERR:
        return (
            f"can't {doing}: writing or reading {one_line(path)} failed ({one_line(error)}), so the disk may "
            "be full or failing; nothing that was saved before is lost; free some space or check the disk "
            "and try again"
        )
    if code in _CLOSED:
        return f"can't {doing}: {one_line(path)} can't be written; check that the folder exists and is yours"
    if is_damage(error):
        return damaged(path, error)
    return f"can't {doing}: {one_line(path)}: {one_line(error)}"


def connect(path: Path, busy_s: float) -> sqlite3.Connection:
    """Open or create the database file, 0600, waiting up to `busy_s` seconds for other programs' locks.

    SQLite gives its own side files the permissions of the main one.
    """
    # Only a file that isn't there is opened: closing one takes from this process all locks that it has on it
    # (POSIX), and another program would then delete the log that our other connections still write to.
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, FILE_MODE))
    path.chmod(FILE_MODE)
    connection = _connected(path, timeout=busy_s)
    connection.execute("PRAGMA foreign_keys = ON")
    # Nothing that a journal brings along may run functions, should any be in it.
    connection.execute("PRAGMA trusted_schema = OFF")
    return connection


def _connected(database: Path | str, **how: Any) -> sqlite3.Connection:
    """Transactions are begun by ourselves, and rows are read by the names of their columns."""
    connection: sqlite3.Connection = sqlite3.connect(database, isolation_level=None, **how)
    connection.row_factory = sqlite3.Row
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
        connection = _connected(f"{path.absolute().as_uri()}?immutable=1", uri=True)
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
    copy = _connected(":memory:")
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
    for kind, name, sql in connection.execute("SELECT type, name, sql FROM sqlite_master"):
        if name.startswith("sqlite_"):
            # SQLite's own: nobody else can give such a name.
            continue
        if (kind, name) not in known or "VIRTUAL" in (sql or "").upper().split()[:2]:
            return f"{'an' if kind == 'index' else 'a'} {kind} {one_line(name)!r}"
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


def insert(connection: sqlite3.Connection, table: str, values: Mapping[str, Any], or_replace: bool = False) -> int:
    """Insert a row by the names of its columns, in place of the one it collides with where told; returns its number."""
    added = connection.execute(
        f"INSERT {'OR REPLACE ' if or_replace else ''}INTO {table} ({', '.join(values)}) "
        f"VALUES ({', '.join('?' * len(values))})",
        tuple(values.values()),
    )
    assert added.lastrowid is not None
    return added.lastrowid


def update(connection: sqlite3.Connection, table: str, row_id: int, values: Mapping[str, Any]) -> None:
    """Change columns of one row by their names."""
    changes = ", ".join(f"{name} = ?" for name in values)
    connection.execute(f"UPDATE {table} SET {changes} WHERE id = ?", (*values.values(), row_id))


def _version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def utc_now() -> str:
    """This moment in UTC, as the tables hold it."""
    return datetime.now(UTC).isoformat()
