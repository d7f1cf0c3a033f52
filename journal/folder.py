"""The journal's folder: where it lies, what stands in it, and what work that was broken off left there.

A restored journal takes the place of the present one so that a power cut in between does no harm: a marker is written
before the first move and removed after the last; whoever opens the journal next finishes a restore that was cut short.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import stat
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import platformdirs

from dawnbeat.shared.errors import DawnbeatError, one_line, plain_errors
from dawnbeat.shared.files import FOLDER_MODE, private_folder, replacing, sync_folder

HOME_VARIABLE = "DAWNBEAT_HOME"
DATABASE = "journal.sqlite3"
RECORDINGS = "recordings"
BACKUPS = "backups"
MARKER = "restore-under-way.json"
ASIDE = "kept-aside"
# The names of temporary folders and files, as tempfile makes them from our prefixes, and of what is kept aside.
_RESTORE = re.compile(r"\.restore-[a-z0-9_]{8}")
_BACKUP = re.compile(r"\.backup-[a-z0-9_]{8}")
_PART = re.compile(rf"\.{re.escape(MARKER)}\.[a-z0-9_]{{8}}\.part")
_STAMP = re.compile(r"\d{4}-\d\d-\d\dT\d\d-\d\d-\d\d(-\d{1,3})?")
_LONGEST_MARKER = 1000
_AT_WORK_S = 3600.0
_SIDE_FILES = (f"{DATABASE}-wal", f"{DATABASE}-shm")


def data_folder(chosen: Path | None = None) -> Path:
    """The journal's folder, not created here: the one chosen, DAWNBEAT_HOME, or the user's data folder."""
    if chosen is not None:
        return expanded(chosen)
    named = os.environ.get(HOME_VARIABLE)
    if named:
        return expanded(named)
    return platformdirs.user_data_path("dawnbeat", appauthor=False)


def expanded(folder: Path | str) -> Path:
    """The absolute path with ~ filled in; raises DawnbeatError where nobody has that home, or it can't be a path."""
    try:
        return Path(folder).expanduser().absolute()
    except (RuntimeError, ValueError):
        raise DawnbeatError(f"{one_line(folder)} can't be a folder: check --journal and {HOME_VARIABLE}") from None


def make_home(home: Path) -> None:
    """Create the journal's folder, for the user alone.

    A folder that was there before and holds other things but no journal keeps its permissions: it is
    somebody's documents, not ours to close. Raises DawnbeatError when the folder can't be made.
    """
    with plain_errors("open the journal's folder", home):
        if home.exists() and not home.is_dir():
            raise DawnbeatError(f"{one_line(home)} is a file: name a folder for the journal")
        if not home.exists():
            private_folder(home)
        elif (home / DATABASE).exists() or not any(home.iterdir()):
            home.chmod(FOLDER_MODE)


def is_read_only(home: Path) -> bool:
    """Whether the folder of a journal, or its database, is closed to writing; it then stays so."""
    for path in (home, home / DATABASE):
        if path.exists() and not (path.stat().st_mode & stat.S_IWUSR and os.access(path, os.W_OK)):
            return True
    return False


def swap_in(home: Path, new: Path, step: Callable[[str], None]) -> Path:
    """Move the present journal aside and the one in `new`, a folder inside `home`, into its place.

    Returns the folder that keeps the present journal. OSError passes through; the next call of
    `finish_restore` goes on from there.
    """
    stamp = datetime.now().strftime("%Y-%m-%dT%H-%M-%S")
    folder = home / ASIDE
    private_folder(folder)
    for attempt in range(1, 1000):
        aside = folder / (stamp if attempt == 1 else f"{stamp}-{attempt}")
        if not aside.exists():
            break
    private_folder(aside)
    with replacing(home / MARKER) as file:
        file.write(json.dumps({"new": new.name, "aside": aside.name}).encode())
    step("marked")
    finish_restore(home, step)
    return aside


def finish_restore(home: Path, step: Callable[[str], None] = lambda name: None) -> None:
    """Finish a restore that was cut short; does nothing where there is none. OSError passes through.

    Raises DawnbeatError, with nothing touched, where the marker is none that `swap_in` writes: a folder that somebody
    sent must not name what else is moved or deleted.
    """
    marker = home / MARKER
    if not marker.exists():
        return
    new, aside = _marked(home, marker)
    private_folder(aside)
    # The database is moved last: while the new one is still in its folder, side files belong to the old one.
    if (new / DATABASE).exists():
        for name in _SIDE_FILES:
            _move(home / name, aside / name)
        for name in (RECORDINGS, DATABASE):
            if (new / name).exists():
                _move(home / name, aside / name)
                step(f"{name} aside")
                os.replace(new / name, home / name)
                step(f"{name} in place")
        sync_folder(aside)
        sync_folder(home)
    shutil.rmtree(new, ignore_errors=True)
    step("cleared")
    marker.unlink()
    sync_folder(home)


def _marked(home: Path, marker: Path) -> tuple[Path, Path]:
    """The two folders that a marker names: real ones of ours inside the journal's folder, or not there."""
    try:
        if marker.is_symlink() or marker.stat().st_size > _LONGEST_MARKER:
            raise ValueError(marker)
        names = json.loads(marker.read_text(encoding="utf-8"))
        new, aside = str(names["new"]), str(names["aside"])
        if not _RESTORE.fullmatch(new) or not _STAMP.fullmatch(aside):
            raise ValueError(marker)
        for each in (home / new, home / ASIDE, home / ASIDE / aside):
            if each.is_symlink() or (each.exists() and not each.is_dir()):
                raise ValueError(marker)
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise DawnbeatError(
            f"{one_line(marker)} is no note of a restore, so it can't be finished: nothing was touched; move that file "
            "away, and run `dawnbeat restore` again if a restore was cut short"
        ) from error
    return home / new, home / ASIDE / aside


def clear_left_overs(home: Path) -> None:
    """Remove what a backup, a restore or a copy that was killed left in the journal's folder; never anything else.

    Only real folders and files with names that we alone give, and only once nothing in them has changed for an hour,
    since another program may be at work. A recording without a reading is no such thing: it is offered to be kept.
    OSError passes through.
    """
    for path in home.iterdir():
        known = _RESTORE.fullmatch(path.name) or _BACKUP.fullmatch(path.name) or _PART.fullmatch(path.name)
        if not known or path.is_symlink() or time.time() - _newest_change_s(path) < _AT_WORK_S:
            continue
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink()


def _newest_change_s(path: Path) -> float:
    inside = list(path.rglob("*")) if path.is_dir() else []
    return max(each.lstat().st_mtime for each in [path, *inside])


def _move(source: Path, target: Path) -> None:
    if source.exists():
        os.replace(source, target)
