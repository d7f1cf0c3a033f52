"""The journal's folder: where it lies, its recordings by date, and what work that was broken off left there.

A recording is complete and on the disk before a row of the journal speaks of it. A restored journal takes the place of
the present one so that a power cut in between does no harm: a marker is written before the first move and removed after
the last; whoever opens the journal next finishes a restore that was cut short.
"""

from __future__ import annotations

import itertools
import json
import os
import re
import shutil
import stat
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path, PurePosixPath

import platformdirs

from dawnbeat.shared.errors import DawnbeatError, one_line, plain_errors
from dawnbeat.shared.files import FILE_MODE, FOLDER_MODE, numbered, private_folder, replacing, sync_file, sync_folder

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
    aside = next(each for each in map(folder.joinpath, numbered(stamp)) if not each.exists())
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
    """The two folders that a marker names: real ones of ours inside the journal's folder, or not there.

    What is to take the journal's place is real too, and no link.
    """
    try:
        if marker.is_symlink() or not marker.is_file() or marker.stat().st_size > _LONGEST_MARKER:
            raise ValueError(marker)
        names = json.loads(marker.read_text(encoding="utf-8"))
        new, aside = str(names["new"]), str(names["aside"])
        if not _RESTORE.fullmatch(new) or not _STAMP.fullmatch(aside):
            raise ValueError(marker)
        folders = (home / new, home / new / RECORDINGS, home / ASIDE, home / ASIDE / aside)
        for each in (*folders, home / new / DATABASE):
            right = each.is_dir() if each in folders else each.is_file()
            if each.is_symlink() or (each.exists() and not right):
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


def new_recording_folder(home: Path, began: datetime) -> Path:
    """Make an empty folder recordings/DATE/TIME for a recording that begins now; never one that is there.

    OSError passes through.
    """
    day = home / RECORDINGS / began.date().isoformat()
    private_folder(day)
    name = began.strftime("%H-%M-%S")
    for folder in map(day.joinpath, itertools.islice(numbered(name), 10_000)):
        try:
            folder.mkdir(mode=FOLDER_MODE)
        except FileExistsError:
            continue
        folder.chmod(FOLDER_MODE)
        return folder
    raise DawnbeatError(f"there are thousands of recordings of {name} in {one_line(day)}: check the clock")


def keep_recording(home: Path, recording: Path, began: datetime, step: Step = no_step) -> str:
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
    final = new_recording_folder(home, began)
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


def remove_recording(home: Path, relative: str) -> None:
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
