"""Files and folders that are the user's alone: whole or not there, on the disk, and closed to others."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from dawnbeat.shared.errors import DawnbeatError, one_line

FOLDER_MODE = 0o700
FILE_MODE = 0o600


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
    """Write a folder's own entries to the disk, where the system lets folders be synced (not on Windows)."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
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


def refuse_another_file(path: Path, text: str) -> None:
    """Raise DawnbeatError where `path` is a file that doesn't begin like `text`: somebody's own, not to be replaced.

    Files are compared by what stands before the first comma or line end; one that begins with a digit is like another
    that does. An empty file may be replaced.
    """
    try:
        with path.open("rb") as file:
            found = file.read(200).decode("utf-8", errors="replace")
    except (FileNotFoundError, IsADirectoryError, PermissionError):
        return
    if found and _kind(found) != _kind(text):
        raise DawnbeatError(f"{one_line(path)} exists and is another file: choose another name")


def _kind(text: str) -> str:
    first = text.lstrip("\ufeff").split("\n")[0].split(",")[0].strip()
    return "a number" if first[:1].isdigit() else first
