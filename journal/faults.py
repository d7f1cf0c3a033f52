"""Turns what SQLite complains about into one plain line, beside what the operating system does."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from dawnbeat.shared.errors import DISK_FULL, FREE_SPACE, DawnbeatError, one_line, plain_errors

_CLOSED = (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM)


@contextmanager
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
