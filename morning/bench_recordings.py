"""Which recordings lie under what was opened or dropped. Nothing here needs Qt."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator
from pathlib import Path

from dawnbeat.capture.recording import BEATS, TRACE, VIDEO, VIDEO_SUFFIXES, Recording, is_video, read_recording
from dawnbeat.capture.trace_csv import read_times_csv

_COLOURS = {"red", "green", "blue"}
_DEEPEST = 4
FILTER = (
    "Recordings (*.csv *.csv.gz " + " ".join(f"*{suffix}" for suffix in sorted(VIDEO_SUFFIXES)) + ");;All files (*)"
)


def recordings_in(paths: Iterable[Path]) -> list[Path]:
    """The recordings that were meant: files as they are, a recording folder as itself, else all that lie below.

    Below a folder, CSV files without the three colours (such as reference beats) and hidden files are passed over.
    """
    found: dict[Path, None] = {}
    for path in paths:
        if path.is_dir():
            found.update(dict.fromkeys(_below(path, _DEEPEST)))
        elif path.name in (TRACE, VIDEO) and (path.parent / "about.json").exists():
            found[path.parent] = None  # the file inside means its folder, whose about and beats are wanted too
        else:
            found[path] = None
    return list(found)


def read_with_reference(path: Path) -> Recording:
    """A recording, with reference beats from `name.beats.csv` beside a bare file where there is one.

    Raises DawnbeatError as `read_recording` does.
    """
    recording = read_recording(path)
    beside = path.with_name(f"{path.name.split('.')[0]}.beats.csv")
    if recording.beats_s is None and path.is_file() and beside != path and beside.is_file():
        recording = dataclasses.replace(recording, beats_s=read_times_csv(beside))
    return recording


def _below(folder: Path, levels: int) -> Iterator[Path]:
    try:
        entries = sorted(folder.iterdir())
    except OSError:
        return
    names = {entry.name for entry in entries}
    if names & {TRACE, VIDEO}:
        yield folder
        return
    for entry in entries:
        if entry.name.startswith("."):
            continue
        if entry.is_dir():
            if levels > 1 and not entry.is_symlink():
                yield from _below(entry, levels - 1)
        elif is_video(entry) or _holds_colours(entry):
            yield entry


def _holds_colours(path: Path) -> bool:
    name = path.name.lower()
    if name == BEATS or not name.endswith((".csv", ".csv.gz")):
        return False
    if name.endswith(".gz"):
        return True  # only reading it all would tell
    try:
        with path.open("rb") as file:
            header = file.readline(4096).decode("utf-8-sig", "replace")
    except OSError:
        return True  # the reader will say what is wrong with it
    return {name.strip().strip('"').lower() for name in header.split(",")} >= _COLOURS
