"""The journal's folder: where it lies, what stands in it, and what interrupted work left there.

A restored journal takes the place of the present one so that a power cut in between does no harm: a marker is written
before the first move and removed after the last; whoever opens the journal next finishes a restore that was cut short.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import platformdirs

from dawnbeat.shared.errors import DawnbeatError, one_line, plain_errors
from dawnbeat.shared.private_files import FOLDER_MODE, private_folder, replacing, sync_folder

HOME_VARIABLE = "DAWNBEAT_HOME"
DATABASE = "journal.sqlite3"
RECORDINGS = "recordings"
BACKUPS = "backups"
MARKER = "restore-under-way.json"
ASIDE = "kept-aside"
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


def swap_in(home: Path, new: Path, step: Callable[[str], None]) -> Path:
    """Move the present journal aside and the one in `new`, a folder inside `home`, into its place.

    Returns the folder that keeps the present journal. OSError passes through; the next call of
    `finish_restore` goes on from there.
    """
    stamp = datetime.now().astimezone().strftime("%Y-%m-%dT%H-%M-%S")
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
    """Finish a restore that was cut short; does nothing where there is none. OSError passes through."""
    marker = home / MARKER
    if not marker.exists():
        return
    try:
        names = json.loads(marker.read_text(encoding="utf-8"))
        new, aside = home / Path(names["new"]).name, home / ASIDE / Path(names["aside"]).name
    except (ValueError, KeyError, TypeError) as error:
        raise DawnbeatError(
            f"{one_line(marker)} can't be read, so a restore can't be finished: run `dawnbeat restore` again "
            "after moving that file away"
        ) from error
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


def _move(source: Path, target: Path) -> None:
    if source.exists():
        os.replace(source, target)
