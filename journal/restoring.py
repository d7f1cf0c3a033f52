"""Puts a restored journal in the place of the present one, so that a power cut in between does no harm.

A marker is written before the first move and removed after the last; whoever opens the journal next finishes
a restore that was cut short.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from dawnbeat.journal.place import DATABASE, RECORDINGS, private_folder, replacing, sync_folder
from dawnbeat.shared.errors import DawnbeatError, one_line

MARKER = "restore-under-way.json"
ASIDE = "kept-aside"
_SIDE_FILES = (f"{DATABASE}-wal", f"{DATABASE}-shm")


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
