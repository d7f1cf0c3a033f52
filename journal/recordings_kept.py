"""Recordings beside the journal, by date: complete and on the disk before a row speaks of them."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path, PurePosixPath

from dawnbeat.journal.folder import RECORDINGS
from dawnbeat.shared.errors import DawnbeatError, one_line
from dawnbeat.shared.files import FILE_MODE, FOLDER_MODE, private_folder, sync_file, sync_folder

PART = ".part"
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
_RELATIVE = re.compile(rf"{RECORDINGS}/\d{{4}}-\d{{2}}-\d{{2}}/[^/\\:\x00-\x1f]+(/[^/\\:\x00-\x1f]+)?")

Step = Callable[[str], None]


def no_step(name: str) -> None:
    """Does nothing; tests put something else here to stop between two steps."""


@dataclass(frozen=True)
class Orphan:
    """A recording in the journal's folder that no reading speaks of, such as one whose saving was cut short.

    path: absolute. finished: False for a copy that was cut short, whose original lies elsewhere.
    """

    path: Path
    finished: bool


def new_folder(home: Path, began: datetime) -> Path:
    """Make an empty folder recordings/DATE/TIME for a recording that begins now; never one that is there.

    OSError passes through.
    """
    day = home / RECORDINGS / began.date().isoformat()
    private_folder(day)
    name = began.strftime("%H-%M-%S")
    for attempt in range(1, 10_000):
        folder = day / (name if attempt == 1 else f"{name}-{attempt}")
        try:
            folder.mkdir(mode=FOLDER_MODE)
        except FileExistsError:
            continue
        folder.chmod(FOLDER_MODE)
        return folder
    raise DawnbeatError(f"there are thousands of recordings of {name} in {one_line(day)}: check the clock")


def keep(home: Path, recording: Path, began: datetime, step: Step = no_step) -> str:
    """Bring a recording (folder or single file) into the journal's folder and onto the disk.

    One that lies there already is only synced; any other is copied and stays where it was. Returns its path
    relative to `home`, with forward slashes. OSError passes through, and a copy cut short is removed.
    """
    if not recording.exists():
        raise DawnbeatError(f"the recording {one_line(recording)} is not there: the reading was not saved")
    inside = relative_to_home(home, recording)
    if inside is not None:
        _sync_tree(home, recording)
        step("recording synced")
        return inside
    safe_name = re.sub(r"[\\:\x00-\x1f]", "_", recording.name)
    final = new_folder(home, began)
    try:
        part = Path(tempfile.mkdtemp(prefix=f"{final.name}.", suffix=PART, dir=final.parent))
        try:
            if recording.is_dir():
                _copy_tree(recording, part)
            else:
                shutil.copy2(recording, part / safe_name)
            step("recording copied")
            _sync_tree(home, part)
            step("recording synced")
            # The empty folder only reserved the name; Windows doesn't rename over it.
            final.rmdir()
            part.rename(final)
            step("recording renamed")
        except BaseException:
            shutil.rmtree(part, ignore_errors=True)
            raise
    except BaseException:
        if final.exists() and not any(final.iterdir()):
            final.rmdir()
        raise
    sync_folder(final.parent)
    step("recording in place")
    kept = final if recording.is_dir() else final / safe_name
    return kept.relative_to(home).as_posix()


def relative_to_home(home: Path, recording: Path) -> str | None:
    """The path of a recording relative to the journal's folder, or None if it lies elsewhere."""
    try:
        inside = recording.resolve().relative_to(home.resolve()).as_posix()
    except ValueError:
        return None
    return inside if _RELATIVE.fullmatch(inside) else None


def is_safe_path(relative: str) -> bool:
    """True for a path that stays inside recordings/DATE/, as `keep` makes them."""
    return bool(_RELATIVE.fullmatch(relative)) and ".." not in PurePosixPath(relative).parts


def orphans(home: Path, known: set[str]) -> list[Orphan]:
    """Recordings that none of the `known` relative paths names, oldest first; empty folders don't count."""
    claimed = {"/".join(PurePosixPath(path).parts[:3]) for path in known}
    found = []
    for day in sorted((home / RECORDINGS).glob("*")):
        if not _DATE.fullmatch(day.name) or not day.is_dir() or day.is_symlink():
            continue
        for folder in sorted(day.iterdir()):
            relative = folder.relative_to(home).as_posix()
            if relative in claimed or folder.is_symlink() or not folder.is_dir():
                continue
            if any(folder.iterdir()):
                found.append(Orphan(folder, finished=folder.suffix != PART))
    return found


def remove(home: Path, relative: str) -> None:
    """Delete the folder of a recording for good. OSError passes through.

    Only a real folder at the place that `keep` gives: where a link stands on the way, what it leads to isn't ours.
    """
    if not is_safe_path(relative):
        return
    folder = home.joinpath(*PurePosixPath(relative).parts[:3])
    if any(each.is_symlink() for each in (folder, folder.parent, folder.parent.parent)):
        raise DawnbeatError(f"{one_line(folder)} is a link, or lies behind one: delete it by hand")
    if folder.is_dir():
        shutil.rmtree(folder)
        if not any(folder.parent.iterdir()):
            folder.parent.rmdir()


def _copy_tree(source: Path, target: Path) -> None:
    """Copy file by file, because shutil.copytree folds what went wrong into one error without its number."""
    for path in sorted(source.rglob("*")):
        copy = target / path.relative_to(source)
        if path.is_dir():
            copy.mkdir()
        else:
            shutil.copy2(path, copy)


def _sync_tree(home: Path, recording: Path) -> None:
    """Close a recording to others and sync it, with every folder up to `home`."""
    if recording.is_file():
        recording.chmod(FILE_MODE)
        sync_file(recording)
    for folder, _, files in os.walk(recording):
        for name in files:
            path = Path(folder, name)
            if path.is_symlink():
                continue
            path.chmod(FILE_MODE)
            sync_file(path)
        Path(folder).chmod(FOLDER_MODE)
        sync_folder(Path(folder))
    folder_above = recording.parent
    while folder_above != home and home in folder_above.parents:
        sync_folder(folder_above)
        folder_above = folder_above.parent
    sync_folder(home)
