"""Files that are the user's alone: whole or not there, on the disk, and closed to others; and the cells of CSV files.

In a CSV no spreadsheet takes a text for a formula: one that begins with = + - @, their full-width forms, a blank, a
control character or an apostrophe gets one apostrophe in front. Reading takes one apostrophe away from a text that
begins with one. So every text comes back as it was.
"""

from __future__ import annotations

import contextlib
import csv
import errno
import io
import itertools
import os
import stat
import sys
import tempfile
import unicodedata
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import IO

from dawnbeat.shared.errors import DawnbeatError, one_line, plain_errors

FOLDER_MODE = 0o700
FILE_MODE = 0o600
STANDARD_OUTPUT = Path("-")
# Some file systems have nothing to sync in a folder.
_NOT_FOR_FOLDERS = (errno.EINVAL, errno.ENOTSUP)


def private_folder(folder: Path) -> None:
    """Create a folder and its missing parents, 0700 whatever the umask; one that is there stays as it is."""
    missing = []
    while not folder.exists():
        missing.append(folder)
        folder = folder.parent
    for each in reversed(missing):
        each.mkdir(mode=FOLDER_MODE, exist_ok=True)
        each.chmod(FOLDER_MODE)


def sync_folder(folder: Path) -> None:
    """Write a folder's own entries to the disk, where the system lets folders be synced. OSError passes through."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in _NOT_FOR_FOLDERS:
            raise
    finally:
        os.close(handle)


def sync_file(path: Path) -> None:
    """Write a file's content to the disk."""
    handle = os.open(path, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextlib.contextmanager
def replacing(path: Path) -> Iterator[IO[bytes]]:
    """Write a file under a temporary name beside `path`, sync it, then rename it: whole or not there, 0600.

    What was under that name before stays until the new file is complete. OSError passes through.
    """
    handle, name = tempfile.mkstemp(prefix=f".{path.name[:40]}.", suffix=".part", dir=path.parent)
    part = Path(name)
    try:
        with os.fdopen(handle, "w+b") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        part.chmod(FILE_MODE)
        os.replace(part, path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def write_private(path: Path, content: bytes) -> None:
    """Write a file whole or not at all, 0600, synced. OSError passes through."""
    with replacing(path) as file:
        file.write(content)


def open_private(path: Path) -> int:
    """Create a file, 0600, and return its descriptor. Raises OSError, also if it is there."""
    return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), FILE_MODE)


def refuse_special(path: Path) -> None:
    """Raise DawnbeatError for a pipe or a device, before it is opened: it may never end, or wait for ever.

    OSError passes through, as where nothing is there.
    """
    mode = path.stat().st_mode
    if not stat.S_ISREG(mode) and not stat.S_ISDIR(mode):
        raise DawnbeatError(f"{one_line(path)} is a pipe or device and no file: save it to a file first")


def refuse_existing(path: Path, overwrite: bool) -> None:
    """Raise DawnbeatError where a new file would replace one that nobody said may go, or something that is no file."""
    try:
        mode = path.lstat().st_mode
    except OSError:
        return  # Whoever writes it will be told.
    if stat.S_ISLNK(mode) and path.exists():
        mode = path.stat().st_mode
    if stat.S_ISDIR(mode):
        raise DawnbeatError(f"{one_line(path)} is a folder: name a file in it")
    if not stat.S_ISREG(mode) and not stat.S_ISLNK(mode):
        raise DawnbeatError(f"{one_line(path)} is no ordinary file: name one, or - for standard output")
    if not overwrite:
        raise DawnbeatError(f"{one_line(path)} exists already: choose another name, or say --overwrite")


def write_export(out: Path, text: str, doing: str, overwrite: bool) -> None:
    """Write what a user asked for: a whole file, 0600, or on standard output where `out` is "-".

    Raises DawnbeatError where something of that name is there and overwrite is False, or it can't be written; `doing`
    completes "can't ...".
    """
    if out == STANDARD_OUTPUT:
        sys.stdout.write(text)
        sys.stdout.flush()
        return
    refuse_existing(out, overwrite)
    with plain_errors(doing, out):
        write_private(out, text.encode("utf-8"))


GUARD = "'"
_STARTERS = frozenset("=+-@＝＋－＠" + GUARD)


def guard(text: str) -> str:
    """The text as a CSV cell may hold it."""
    return GUARD + text if text and _is_risky(text[0]) else text


def unguard(cell: str) -> str:
    """The text that `guard` made this cell of; a cell that was never guarded stays as it is."""
    return cell[1:] if cell.startswith(GUARD) else cell


def _is_risky(letter: str) -> bool:
    # Some programs skip blanks before they look for a formula.
    return letter in _STARTERS or letter.isspace() or unicodedata.category(letter) in ("Cc", "Cf")


def csv_text(header: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """The text of a CSV file (RFC 4180); what could be a formula goes through `guard` before."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(header)
    writer.writerows(rows)
    return text.getvalue()


def text_of_csv(data: bytes) -> tuple[str, str]:
    """The text of a CSV file, and what separates its cells: a comma, a semicolon or a tab, by its first line.

    Raises DawnbeatError, with the line, where it is not UTF-8.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise DawnbeatError(f"line {line} is not UTF-8: save the file as UTF-8") from error
    return text, max(",;\t", key=text.split("\n", 1)[0].count)


def numbered(name: str) -> Iterator[str]:
    """A name, then the same with -2, -3 and so on behind it, to choose one that is free."""
    yield name
    yield from (f"{name}-{number}" for number in itertools.count(2))
